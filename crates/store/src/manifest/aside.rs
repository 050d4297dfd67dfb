//! What has been taken off the list because it cannot be read: which span is missing, why, and where the file is.
//!
//! ```text
//! parts_set_aside  machine | day | n | first_t, last_t | readings | channels (bits) | crc32 | file | reason
//! ```
//! `file` is the place in the data folder, empty where the file was gone. A row stays until its day is forgotten or the
//! same file turns up again.

use std::path::PathBuf;

use model::{MachineId, Timestamp};
use rusqlite::{Connection, Row};

use super::{Part, machine_id};
use crate::UtcDay;

const TABLE: &str = "
    CREATE TABLE IF NOT EXISTS parts_set_aside (
        machine TEXT NOT NULL, day INTEGER NOT NULL, n INTEGER NOT NULL,
        first_t INTEGER NOT NULL, last_t INTEGER NOT NULL, readings INTEGER NOT NULL, channels INTEGER NOT NULL,
        crc32 INTEGER NOT NULL, file TEXT NOT NULL, reason TEXT NOT NULL,
        PRIMARY KEY (machine, day, n, crc32)) STRICT, WITHOUT ROWID;
";

/// A part that was taken off the list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct SetAside {
    pub(crate) machine: MachineId,
    pub(crate) day: UtcDay,
    pub(crate) first_t: i64,
    pub(crate) last_t: i64,
    pub(crate) readings: i64,
    pub(crate) channels: i32,
    /// Where the file is now, in the data folder.
    pub(crate) file: Option<PathBuf>,
    pub(crate) reason: String,
}

/// Makes the table where there is none.
pub(crate) fn prepare(connection: &Connection) -> rusqlite::Result<()> {
    connection.execute_batch(TABLE)
}

/// Takes `part` off the list and notes why, and that its file now stands at `file`.
pub(crate) fn strike(
    connection: &Connection,
    part: &Part,
    file: Option<&PathBuf>,
    reason: &str,
) -> rusqlite::Result<()> {
    super::remove(connection, part)?;
    let sql = "INSERT OR REPLACE INTO parts_set_aside VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)";
    connection.execute(
        sql,
        (
            part.machine.as_str(),
            part.day.start().as_millis(),
            part.n,
            part.first_t,
            part.last_t,
            part.readings,
            part.channels,
            part.crc32,
            file.map_or_else(String::new, |file| file.display().to_string()),
            reason,
        ),
    )?;
    Ok(())
}

/// Everything that is missing, by machine and day.
pub(crate) fn all(connection: &Connection) -> rusqlite::Result<Vec<SetAside>> {
    if !connection.table_exists(None, "parts_set_aside")? {
        return Ok(Vec::new());
    }
    let sql = "SELECT machine, day, first_t, last_t, readings, channels, file, reason FROM parts_set_aside
               ORDER BY machine, day, n";
    let mut statement = connection.prepare(sql)?;
    statement.query_map([], from_row)?.collect()
}

/// The part is on the list again: nothing of it is missing.
pub(crate) fn has_come_back(connection: &Connection, part: &Part) -> rusqlite::Result<()> {
    let sql = "DELETE FROM parts_set_aside WHERE machine = ?1 AND day = ?2 AND n = ?3 AND crc32 = ?4";
    let day = part.day.start().as_millis();
    connection.execute(sql, (part.machine.as_str(), day, part.n, part.crc32)).map(drop)
}

/// Days before `day` are not missed any more.
pub(crate) fn forget_before(connection: &Connection, day: UtcDay) -> rusqlite::Result<()> {
    connection.execute("DELETE FROM parts_set_aside WHERE day < ?1", [day.start().as_millis()]).map(drop)
}

fn from_row(row: &Row<'_>) -> rusqlite::Result<SetAside> {
    let file: String = row.get(6)?;
    Ok(SetAside {
        machine: machine_id(row, 0)?,
        day: UtcDay::of(Timestamp::from_millis(row.get(1)?)),
        first_t: row.get(2)?,
        last_t: row.get(3)?,
        readings: row.get(4)?,
        channels: row.get(5)?,
        file: (!file.is_empty()).then(|| PathBuf::from(file)),
        reason: row.get(7)?,
    })
}
