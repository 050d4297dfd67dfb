//! The list's format, and the day before which readings have been forgotten.
//!
//! ```text
//! store_notes  one row: format | forgotten_before (ms UTC of a day's first moment)
//! ```
//! A list without notes is that of format 1, which had none; they are added when it is next opened to write. A list of a
//! later format is refused before anything is written.

use std::path::Path;

use model::Timestamp;
use rusqlite::Connection;

use crate::snapshot::list_failed;
use crate::{StoreError, UtcDay};

/// The newest format that this version knows.
const FORMAT: i64 = 2;

const TABLE: &str = "
    CREATE TABLE IF NOT EXISTS store_notes (
        one INTEGER PRIMARY KEY CHECK (one = 1), format INTEGER NOT NULL, forgotten_before INTEGER NOT NULL) STRICT;
";

/// Makes the table where there is none, and notes this version's format.
pub(crate) fn prepare(connection: &Connection) -> rusqlite::Result<()> {
    connection.execute_batch(TABLE)?;
    let sql = "INSERT INTO store_notes VALUES (1, ?1, ?2) ON CONFLICT DO UPDATE SET format = ?1";
    connection.execute(sql, (FORMAT, i64::MIN)).map(drop)
}

/// Refuses a list that a later version wrote.
pub(crate) fn refuse_newer(connection: &Connection, path: &Path) -> Result<(), StoreError> {
    let format = connection.table_exists(None, "store_notes").and_then(|exists| match exists {
        false => Ok(FORMAT),
        true => connection.query_row("SELECT format FROM store_notes", [], |row| row.get(0)),
    });
    match format.map_err(list_failed)? {
        found if FORMAT < found => Err(StoreError::Newer { path: path.to_owned(), found, known: FORMAT }),
        _known => Ok(()),
    }
}

/// Readings of days before this one have been forgotten on purpose; `None` if none have.
pub(crate) fn forgotten_before(connection: &Connection) -> rusqlite::Result<Option<UtcDay>> {
    let millis: i64 =
        connection.query_row("SELECT forgotten_before FROM store_notes", [], |row| row.get(0))?;
    Ok((millis != i64::MIN).then(|| UtcDay::of(Timestamp::from_millis(millis))))
}

/// Notes that readings of days before `day` are forgotten.
pub(crate) fn forget_before(connection: &Connection, day: UtcDay) -> rusqlite::Result<()> {
    let sql = "UPDATE store_notes SET forgotten_before = max(forgotten_before, ?1)";
    connection.execute(sql, [day.start().as_millis()]).map(drop)
}
