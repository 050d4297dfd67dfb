//! What people ordered about baselines: freeze, learn, reset. Kept for good, since the watch takes them from here, after a restart too.
//!
//! No two orders have the same time, so that "those behind this one" leaves none out: one that comes within the same millisecond is dated one
//! later.

use model::{BaselineDeed, BaselineOrder, Timestamp};
use rusqlite::{OptionalExtension, Row};
use serde_json::{Value, json};

use crate::audit::{By, Deed, Draft, Subject, append};
use crate::{Records, RecordsError, row};

/// Orders handed out at once; who wants more asks again behind the last.
const AT_ONCE: i64 = 1_000;

impl Records {
    /// Writes an order down; on disk when it returns. Answers it with the time that it got.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn order_baseline(&self, by: &By, order: &BaselineOrder) -> Result<BaselineOrder, RecordsError> {
        self.change(|transaction| {
            let newest: Option<i64> =
                transaction.query_row("SELECT max(at) FROM baseline_orders", [], |row| row.get(0))?;
            let at = newest.map_or(order.at, |newest| order.at.max(Timestamp::from_millis(newest + 1)));
            let order = BaselineOrder { at, ..order.clone() };
            let couverture = order.couverture.as_str();
            let before = "SELECT CAST(at AS TEXT), format, json FROM baseline_orders
                          WHERE machine = ?1 AND json ->> '$.couverture' = ?2 ORDER BY at DESC LIMIT 1";
            let before = transaction
                .query_row(before, (order.machine.as_str(), couverture), crate::lists::stored)
                .optional()?;
            let before =
                before.map(|found| row::read::<BaselineOrder>(self.path(), "order", found)).transpose()?;
            let says = |deed: BaselineDeed| json!({ "couverture": couverture, "order": deed.as_str() });
            let draft = Draft::new(by, Deed::BaselineOrdered, Subject::machine(&order.machine));
            let old = before.map_or(Value::Null, |before| says(before.deed));
            append(transaction, &draft.old(old).new_is(says(order.deed)))?;
            let json = row::write("order", &order)?;
            let sql = "INSERT INTO baseline_orders VALUES (?1, ?2, ?3, ?4)";
            transaction.execute(sql, (at.as_millis(), order.machine.as_str(), row::FORMAT, json))?;
            Ok(order)
        })
    }

    /// Orders behind `after`, the oldest first.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn baseline_orders(&self, after: Option<Timestamp>) -> Result<Vec<BaselineOrder>, RecordsError> {
        let after = after.map_or(i64::MIN, Timestamp::as_millis);
        let stored = self.with_reader(|reader| {
            let sql = "SELECT CAST(at AS TEXT), format, json FROM baseline_orders WHERE at > ?1 ORDER BY at LIMIT ?2";
            let mut statement = reader.prepare_cached(sql)?;
            let rows = statement.query_map((after, AT_ONCE), |row: &Row<'_>| crate::lists::stored(row))?;
            rows.collect::<rusqlite::Result<Vec<_>>>()
        })?;
        stored.into_iter().map(|stored| row::read(self.path(), "order", stored)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Actor;

    #[test]
    fn orders_are_kept_in_order_and_none_is_left_out() {
        let folder = tempfile::tempdir().unwrap();
        let records = Records::open(folder.path().join(crate::FILE_NAME)).unwrap();
        let order = |deed, at| BaselineOrder {
            machine: "alder".parse().unwrap(),
            couverture: "dark-64".parse().unwrap(),
            deed,
            by: Some("ana".to_owned()),
            at: Timestamp::from_millis(at),
        };
        let by = By::new(Actor::Loopback, Timestamp::from_millis(100));
        assert_eq!(records.baseline_orders(None).unwrap(), []);
        records.order_baseline(&by, &order(BaselineDeed::Freeze, 100)).unwrap();
        let again = records.order_baseline(&by, &order(BaselineDeed::Reset, 100)).unwrap();
        assert_eq!(again, order(BaselineDeed::Reset, 101));
        assert_eq!(records.baseline_orders(None).unwrap().len(), 2);
        assert_eq!(records.baseline_orders(Some(Timestamp::from_millis(100))).unwrap(), [again]);
        drop(records);
        let records = Records::open(folder.path().join(crate::FILE_NAME)).unwrap();
        assert_eq!(records.baseline_orders(None).unwrap().len(), 2);
    }
}
