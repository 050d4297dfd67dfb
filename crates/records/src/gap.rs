//! Possible gaps: times in which messages may have been lost before they reached us.
//!
//! ```text
//! gaps  from_at, to_at (ms UTC): together they are its identity | reason
//! heard_before_import  one row: at (ms UTC, null for never); there from an import on until the broker has let us in again
//! ```
//! Nothing is known to be lost; it is known that nobody can say. Such a time is kept for good, because a batch of that day
//! has to say what it does not know.

use model::Timestamp;
use rusqlite::{Connection, OptionalExtension};

use crate::{Records, RecordsError};

const TABLE: &str = "
    CREATE TABLE IF NOT EXISTS gaps (
        from_at INTEGER NOT NULL, to_at INTEGER NOT NULL, reason TEXT NOT NULL,
        PRIMARY KEY (from_at, to_at)) STRICT, WITHOUT ROWID;
    CREATE TABLE IF NOT EXISTS heard_before_import (one INTEGER PRIMARY KEY CHECK (one = 1), at INTEGER) STRICT;
";

/// A list that a page can show and a person can read; there is one a night at the very worst.
const MOST_LISTED: usize = 1_000;

/// A time in which messages may have been lost.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Gap {
    /// The last moment of which we know.
    pub from: Timestamp,
    /// From here on we know again.
    pub to: Timestamp,
    /// How it came about, in words.
    pub reason: String,
}

impl Records {
    /// Writes gaps down; one that is there already stays.
    ///
    /// # Errors
    /// If the file cannot be written; then none has been written.
    pub fn note_gaps(&self, gaps: &[Gap]) -> Result<(), RecordsError> {
        if gaps.is_empty() {
            return Ok(());
        }
        self.change(|transaction| {
            let mut insert = transaction.prepare_cached("INSERT OR IGNORE INTO gaps VALUES (?1, ?2, ?3)")?;
            for gap in gaps {
                insert.execute((gap.from.as_millis(), gap.to.as_millis(), &gap.reason))?;
            }
            Ok(())
        })
    }

    /// The gaps that have a part in the time from `from` on and before `to`, the latest first: at most a thousand.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn gaps(&self, from: Timestamp, to: Timestamp) -> Result<Vec<Gap>, RecordsError> {
        self.with_reader(|reader| {
            let sql = "SELECT from_at, to_at, reason FROM gaps WHERE ?1 <= to_at AND from_at < ?2
                       ORDER BY from_at DESC, to_at DESC LIMIT ?3";
            let mut statement = reader.prepare_cached(sql)?;
            let bounds = (from.as_millis(), to.as_millis(), MOST_LISTED as i64);
            let gaps = statement.query_map(bounds, |row| {
                Ok(Gap {
                    from: Timestamp::from_millis(row.get(0)?),
                    to: Timestamp::from_millis(row.get(1)?),
                    reason: row.get(2)?,
                })
            })?;
            gaps.collect()
        })
    }

    /// What comes next is from a file. `heard` is the newest moment of which the broker told us; what an earlier import wrote down stays.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn note_import(&self, heard: Option<Timestamp>) -> Result<(), RecordsError> {
        self.change(|transaction| {
            let sql = "INSERT OR IGNORE INTO heard_before_import VALUES (1, ?1)";
            transaction.execute(sql, [heard.map(Timestamp::as_millis)])?;
            Ok(())
        })
    }

    /// The newest moment of which the broker told us, where what came last was imported: `Some(None)` if it never told us anything, `None`
    /// if nothing was imported since it let us in.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn heard_before_import(&self) -> Result<Option<Option<Timestamp>>, RecordsError> {
        self.with_reader(|reader| {
            let sql = "SELECT at FROM heard_before_import";
            let at = |row: &rusqlite::Row<'_>| row.get::<_, Option<i64>>(0);
            Ok(reader.query_row(sql, [], at).optional()?.map(|at| at.map(Timestamp::from_millis)))
        })
    }

    /// The broker has let us in: what is newest comes from it again.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn forget_import(&self) -> Result<(), RecordsError> {
        self.change(|transaction| {
            transaction.execute("DELETE FROM heard_before_import", [])?;
            Ok(())
        })
    }
}

/// Makes the table where there is none.
pub(crate) fn prepare(connection: &Connection) -> rusqlite::Result<()> {
    connection.execute_batch(TABLE)
}

#[cfg(test)]
mod tests {
    use tempfile::tempdir;

    use super::*;

    fn at(minutes: i64) -> Timestamp {
        Timestamp::from_millis(1_772_344_800_000 + 60_000 * minutes)
    }

    fn gap(from: i64, to: i64) -> Gap {
        Gap { from: at(from), to: at(to), reason: "the broker had no session for us".to_owned() }
    }

    #[test]
    fn gaps_are_kept_once_and_found_by_time() {
        let folder = tempdir().unwrap();
        let path = folder.path().join(crate::FILE_NAME);
        let records = Records::open(&path).unwrap();
        records.note_gaps(&[]).unwrap();
        records.note_gaps(&[gap(0, 10), gap(60, 70)]).unwrap();
        records.note_gaps(&[gap(60, 70), gap(90, 95)]).unwrap();
        drop(records);
        let records = Records::open(&path).unwrap();
        assert_eq!(records.gaps(at(-99), at(999)).unwrap(), [gap(90, 95), gap(60, 70), gap(0, 10)]);
        assert_eq!(records.gaps(at(5), at(60)).unwrap(), [gap(0, 10)]);
        assert_eq!(records.gaps(at(71), at(90)).unwrap(), []);
    }

    #[test]
    fn what_was_heard_before_an_import_is_known_until_the_broker_lets_us_in() {
        let folder = tempdir().unwrap();
        let records = Records::open(folder.path().join(crate::FILE_NAME)).unwrap();
        assert_eq!(records.heard_before_import().unwrap(), None);
        records.note_import(None).unwrap();
        records.note_import(Some(at(5))).unwrap();
        assert_eq!(records.heard_before_import().unwrap(), Some(None), "the first of two imports knows");
        records.forget_import().unwrap();
        records.note_import(Some(at(5))).unwrap();
        assert_eq!(records.heard_before_import().unwrap(), Some(Some(at(5))));
    }
}
