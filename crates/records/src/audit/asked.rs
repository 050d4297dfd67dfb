//! Who asked for an event, until it is a record.
//!
//! An event that a person enters goes three ways: it is asked for here, then it is put into the journal and the person is
//! answered, and within seconds the watch makes it a record. Its entry in the trail is made with the record, in the same
//! transaction. What happens at a crash:
//!
//! | killed | what is there afterwards |
//! | --- | --- |
//! | before the journal has it | nobody was answered, there is no event and no entry; what was asked is forgotten in time |
//! | before it is a record | the journal is worked through again; then event and entry come together |
//!
//! A reading that a person types has its entry before the journal gets it: an entry says that it was asked for, and a crash in between leaves
//! one without its reading. The person was not answered then, and types it again.
//!
//! An event that nobody asked for came through the broker, and its entry says so.

use model::{Event, Reading, Span, Timestamp};
use rusqlite::{OptionalExtension, Transaction};
use serde_json::{Value, json};

use crate::audit::entry::{Actor, By, Draft, Subject};
use crate::audit::{Deed, append};
use crate::digest::sha256_of;
use crate::error::ChangeError;
use crate::{Records, RecordsError};

pub(crate) const TABLES: &str = "
    CREATE TABLE IF NOT EXISTS asked_events (
        machine TEXT NOT NULL, at INTEGER NOT NULL, kind TEXT NOT NULL, raw TEXT NOT NULL,
        who TEXT NOT NULL, way TEXT NOT NULL, asked_at INTEGER NOT NULL, UNIQUE (machine, at, kind, raw)) STRICT;
";

/// An event becomes a record within seconds, after a long stop when the service starts again. What is older never came.
const FORGOTTEN_AFTER: Span = Span::from_hours(30 * 24);

/// A longer report is kept in the trail as its digest; the report itself stands among the events.
const LONGEST_REPORT: usize = 4 * 1024;

impl Records {
    /// Writes down that `by` asks for `event`, before the journal gets it; on disk when it returns.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn ask_for_event(&self, event: &Event, by: &By) -> Result<(), RecordsError> {
        self.change(|transaction| {
            let forgotten = (by.at - FORGOTTEN_AFTER).as_millis();
            transaction.execute("DELETE FROM asked_events WHERE asked_at < ?1", [forgotten])?;
            let sql = "INSERT OR REPLACE INTO asked_events VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)";
            transaction.execute(
                sql,
                (
                    event.machine.as_str(),
                    event.at.as_millis(),
                    event.kind.as_str(),
                    &event.raw,
                    by.actor.name(),
                    by.actor.way(),
                    by.at.as_millis(),
                ),
            )?;
            Ok(())
        })
    }
}

impl Records {
    /// Enters in the trail that `by` types a reading, or takes one back, before the journal gets it; on disk when it returns.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn note_reading(&self, by: &By, reading: &Reading) -> Result<(), RecordsError> {
        let new = json!({ "channel": reading.channel.as_str(), "value": reading.value });
        let draft =
            Draft::new(by, Deed::ReadingEntered, Subject::machine(&reading.machine)).about(reading.at);
        self.change(|transaction| append(transaction, &draft.new_is(new)))
    }
}

/// `event` has become a record: its entry, by whoever asked for it.
pub(crate) fn became_a_record(transaction: &Transaction<'_>, event: &Event) -> Result<(), ChangeError> {
    let sql = "DELETE FROM asked_events WHERE machine = ?1 AND at = ?2 AND kind = ?3 AND raw = ?4
               RETURNING who, way, asked_at";
    let key = (event.machine.as_str(), event.at.as_millis(), event.kind.as_str(), &event.raw);
    let asked: Option<(String, String, i64)> = transaction
        .prepare_cached(sql)?
        .query_row(key, |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))
        .optional()?;
    let by =
        asked.and_then(|(who, way, at)| Some(By::new(Actor::read(&who, &way)?, Timestamp::from_millis(at))));
    let by = by.unwrap_or_else(|| By::new(Actor::Broker, event.at));
    let draft = Draft::new(&by, Deed::EventEntered, Subject::machine(&event.machine))
        .about(event.at)
        .new_is(document(event));
    append(transaction, &draft)
}

/// The report, with its moment; of a long one its kind and digest.
fn document(event: &Event) -> Value {
    let at = event.at.to_string();
    let report = serde_json::from_str(&event.raw).ok().filter(|_| event.raw.len() <= LONGEST_REPORT);
    if let Some(Value::Object(mut report)) = report {
        report.insert("at".to_owned(), json!(at));
        return Value::Object(report);
    }
    json!({ "event": event.kind.as_str(), "at": at, "bytes": event.raw.len(), "sha256": sha256_of(&event.raw) })
}
