//! Messages that have been acknowledged and cannot be read yet, because they wait for another message.
//!
//! They stand in the journal's file so that "it waits no longer" and "its readings are in a block" are one transaction:
//! after a crash a message waits or has been read, never neither.

use model::Timestamp;
use rusqlite::{Connection, Transaction};

/// A message that waits.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Held {
    /// Whoever holds it gave it this number; no two that wait have the same.
    pub number: u64,
    /// When it reached us.
    pub arrived: Timestamp,
    /// The full topic.
    pub topic: String,
    /// The payload.
    pub payload: Vec<u8>,
}

/// What begins and ends to wait, in this order: what is in both is not kept.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct HeldChange {
    /// From now on these wait.
    pub begins: Vec<Held>,
    /// The numbers of those that wait no longer.
    pub ends: Vec<u64>,
}

impl HeldChange {
    /// Nothing begins or ends.
    pub fn is_empty(&self) -> bool {
        self.begins.is_empty() && self.ends.is_empty()
    }

    pub(crate) fn write(&self, transaction: &Transaction<'_>) -> rusqlite::Result<()> {
        let mut insert = transaction.prepare_cached("INSERT OR REPLACE INTO held VALUES (?1, ?2, ?3, ?4)")?;
        for held in &self.begins {
            let arrived = held.arrived.as_millis();
            insert.execute((to_sql(held.number), arrived, &held.topic, &held.payload))?;
        }
        let mut delete = transaction.prepare_cached("DELETE FROM held WHERE number = ?1")?;
        for number in &self.ends {
            delete.execute([to_sql(*number)])?;
        }
        Ok(())
    }
}

/// All that wait, in the order of their numbers.
pub(crate) fn read(connection: &Connection) -> rusqlite::Result<Vec<Held>> {
    let mut statement =
        connection.prepare("SELECT number, arrived, topic, payload FROM held ORDER BY number")?;
    let held = statement.query_map([], |row| {
        Ok(Held {
            number: row.get::<_, i64>(0)?.cast_unsigned(),
            arrived: Timestamp::from_millis(row.get(1)?),
            topic: row.get(2)?,
            payload: row.get(3)?,
        })
    })?;
    held.collect()
}

fn to_sql(number: u64) -> i64 {
    number.cast_signed()
}

#[cfg(test)]
mod tests {
    use model::{Arrival, Channel, Content, Reading};
    use tempfile::tempdir;

    use super::*;
    use crate::{BlockSeq, Journal, JournalError};

    fn held(number: u64) -> Held {
        let arrived = Timestamp::from_millis(1_772_427_600_000);
        Held {
            number,
            arrived,
            topic: "spBv1.0/hall/DDATA/edge/alder".into(),
            payload: vec![number as u8, 0xff],
        }
    }

    fn begins(numbers: impl IntoIterator<Item = u64>) -> HeldChange {
        HeldChange { begins: numbers.into_iter().map(held).collect(), ends: Vec::new() }
    }

    fn arrival() -> Arrival {
        let at = Timestamp::from_millis(1_772_427_600_000);
        let (machine, channel) = ("alder".parse().unwrap(), Channel::Chocolate);
        let content = Content::Reading(Reading { machine, channel, at, value: Some(31.0) });
        Arrival { arrived: at, retained: false, content }
    }

    fn numbers(journal: &Journal) -> Vec<u64> {
        journal.held().unwrap().iter().map(|held| held.number).collect()
    }

    #[test]
    fn what_waits_is_there_after_reopening_until_it_is_let_go() {
        let folder = tempdir().unwrap();
        let path = folder.path().join(crate::FILE_NAME);
        let (mut journal, _) = Journal::open(&path).unwrap();
        let durable = journal.append_beside(&[], &begins([1, 2, 3])).unwrap().into_inner();
        assert_eq!(durable, BlockSeq::START, "no block is written for them");
        drop(journal);
        let (mut journal, _) = Journal::open(&path).unwrap();
        assert_eq!(journal.held().unwrap(), [held(1), held(2), held(3)]);
        let change = HeldChange { begins: vec![held(4), held(5)], ends: vec![2, 4, 99] };
        let _ = journal.append_beside(&[arrival()], &change).unwrap();
        drop(journal);
        let (journal, recovery) = Journal::open(&path).unwrap();
        assert_eq!((numbers(&journal), recovery.arrivals), (vec![1, 3, 5], 1));
    }

    /// Either the readings are in a block and their messages wait no longer, or neither.
    #[test]
    fn block_and_change_are_one() {
        let folder = tempdir().unwrap();
        let path = folder.path().join(crate::FILE_NAME);
        let (mut journal, _) = Journal::open(&path).unwrap();
        let _ = journal.append_beside(&[], &begins([1])).unwrap();
        let other = Connection::open(&path).unwrap();
        other
            .execute_batch("CREATE TRIGGER no_end BEFORE DELETE ON held BEGIN SELECT RAISE(ABORT, 'no'); END")
            .unwrap();
        let ends = HeldChange { begins: Vec::new(), ends: vec![1] };
        assert!(matches!(journal.append_beside(&[arrival()], &ends), Err(JournalError::Sqlite { .. })));
        assert!(journal.blocks_after(BlockSeq::START, 9).unwrap().blocks.is_empty());
        other.execute_batch("DROP TRIGGER no_end").unwrap();
        assert_eq!(journal.append_beside(&[arrival()], &ends).unwrap().into_inner(), BlockSeq::new(1));
        assert!(numbers(&journal).is_empty());
    }

    /// A file of a version that had no such table.
    #[test]
    fn an_older_file_is_given_the_table() {
        let folder = tempdir().unwrap();
        let path = folder.path().join(crate::FILE_NAME);
        drop(Journal::open(&path).unwrap());
        Connection::open(&path).unwrap().execute_batch("DROP TABLE held").unwrap();
        let (mut journal, _) = Journal::open(&path).unwrap();
        let _ = journal.append_beside(&[], &begins([1])).unwrap();
        assert_eq!(numbers(&journal), [1]);
    }
}
