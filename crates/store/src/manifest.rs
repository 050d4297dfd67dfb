//! The list of parts: a table in the journal's file. It alone says what counts.
//!
//! ```text
//! parts  machine | day (ms UTC of its first moment) | n | first_t, last_t | readings | rows | channels (bits) | bytes | crc32
//! ```
//! Beside it stand `aside`, what was taken off because it cannot be read, and `notes`, the list's format.
//!
//! Of a machine's day the part with the higher `n` holds what came later. A number is not used again within a day: a
//! part that takes others in gets a number above theirs.

use std::path::PathBuf;

use model::{MachineId, Timestamp};
use rusqlite::{Connection, Row};

use crate::UtcDay;

pub(crate) mod aside;
pub(crate) mod notes;

const TABLE: &str = "
    CREATE TABLE IF NOT EXISTS parts (
        machine TEXT NOT NULL, day INTEGER NOT NULL, n INTEGER NOT NULL,
        first_t INTEGER NOT NULL, last_t INTEGER NOT NULL, readings INTEGER NOT NULL, rows INTEGER NOT NULL,
        channels INTEGER NOT NULL, bytes INTEGER NOT NULL, crc32 INTEGER NOT NULL,
        PRIMARY KEY (machine, day, n)) STRICT, WITHOUT ROWID;
";

/// One part in the list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Part {
    pub(crate) machine: MachineId,
    pub(crate) day: UtcDay,
    pub(crate) n: i64,
    pub(crate) first_t: i64,
    pub(crate) last_t: i64,
    pub(crate) readings: i64,
    pub(crate) rows: i64,
    pub(crate) channels: i32,
    pub(crate) bytes: i64,
    pub(crate) crc32: i64,
}

impl Part {
    /// Where it stands in the data folder.
    pub(crate) fn path(&self) -> PathBuf {
        let Part { machine, day, n, .. } = self;
        [format!("machine={machine}"), format!("date={day}"), format!("part-{n}.parquet")]
            .iter()
            .fold(PathBuf::from(crate::READINGS), |path, name| path.join(name))
    }

    /// Where it goes in the data folder if it is damaged. The checksum keeps two files of the same place apart.
    pub(crate) fn path_aside(&self) -> PathBuf {
        let Part { machine, day, n, crc32, .. } = self;
        PathBuf::from(crate::SET_ASIDE).join(format!("{machine}_{day}_part-{n}_{crc32:08x}.parquet"))
    }

    fn from_row(row: &Row<'_>) -> rusqlite::Result<Part> {
        Ok(Part {
            machine: machine_id(row, 0)?,
            day: UtcDay::of(Timestamp::from_millis(row.get(1)?)),
            n: row.get(2)?,
            first_t: row.get(3)?,
            last_t: row.get(4)?,
            readings: row.get(5)?,
            rows: row.get(6)?,
            channels: row.get(7)?,
            bytes: row.get(8)?,
            crc32: row.get(9)?,
        })
    }
}

fn machine_id(row: &Row<'_>, column: usize) -> rusqlite::Result<MachineId> {
    let machine: String = row.get(column)?;
    let not_an_id = |error: model::IdError| {
        rusqlite::Error::FromSqlConversionFailure(column, rusqlite::types::Type::Text, Box::new(error))
    };
    machine.parse().map_err(not_an_id)
}

/// Makes the tables where there are none.
pub(crate) fn prepare(connection: &Connection) -> rusqlite::Result<()> {
    connection.execute_batch(TABLE)?;
    notes::prepare(connection)?;
    aside::prepare(connection)
}

/// Is there a list? A journal that no store has opened yet has none.
pub(crate) fn exists(connection: &Connection) -> rusqlite::Result<bool> {
    connection.table_exists(None, "parts")
}

/// Every part, by machine, day and age.
pub(crate) fn all(connection: &Connection) -> rusqlite::Result<Vec<Part>> {
    let mut statement = connection.prepare("SELECT * FROM parts ORDER BY machine, day, n")?;
    statement.query_map([], Part::from_row)?.collect()
}

/// The parts of a machine that hold something from `from` on and before `to`, by day and age.
pub(crate) fn between(
    connection: &Connection,
    machine: &MachineId,
    from: Timestamp,
    to: Timestamp,
) -> rusqlite::Result<Vec<Part>> {
    let sql =
        "SELECT * FROM parts WHERE machine = ?1 AND ?2 <= day AND day < ?3 AND ?4 <= last_t AND first_t < ?3
               ORDER BY day, n";
    let first_day = UtcDay::of(from).start().as_millis();
    let mut statement = connection.prepare_cached(sql)?;
    let bounds = (machine.as_str(), first_day, to.as_millis(), from.as_millis());
    statement.query_map(bounds, Part::from_row)?.collect()
}

/// The parts of a machine's day, by age.
pub(crate) fn of_day(
    connection: &Connection,
    machine: &MachineId,
    day: UtcDay,
) -> rusqlite::Result<Vec<Part>> {
    between(connection, machine, day.start(), day.end())
}

/// The days before `before` that have more than one part.
pub(crate) fn in_pieces(
    connection: &Connection,
    before: UtcDay,
) -> rusqlite::Result<Vec<(MachineId, UtcDay)>> {
    let sql = "SELECT machine, day FROM parts WHERE day < ?1 GROUP BY machine, day HAVING 1 < count(*)";
    let mut statement = connection.prepare(sql)?;
    let rows = statement.query_map([before.start().as_millis()], |row| {
        Ok((machine_id(row, 0)?, UtcDay::of(Timestamp::from_millis(row.get(1)?))))
    })?;
    rows.collect()
}

/// The newest moment of all parts.
pub(crate) fn newest_moment(connection: &Connection) -> rusqlite::Result<Option<Timestamp>> {
    let newest: Option<i64> = connection.query_row("SELECT max(last_t) FROM parts", [], |row| row.get(0))?;
    Ok(newest.map(Timestamp::from_millis))
}

/// Adds a part.
pub(crate) fn add(connection: &Connection, part: &Part) -> rusqlite::Result<()> {
    let sql = "INSERT INTO parts VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)";
    let Part { machine, day, n, first_t, last_t, readings, rows, channels, bytes, crc32 } = part;
    let day = day.start().as_millis();
    connection.prepare_cached(sql)?.execute((
        machine.as_str(),
        day,
        n,
        first_t,
        last_t,
        readings,
        rows,
        channels,
        bytes,
        crc32,
    ))?;
    Ok(())
}

/// Takes a part off the list.
pub(crate) fn remove(connection: &Connection, part: &Part) -> rusqlite::Result<()> {
    let sql = "DELETE FROM parts WHERE machine = ?1 AND day = ?2 AND n = ?3";
    connection.prepare_cached(sql)?.execute((part.machine.as_str(), part.day.start().as_millis(), part.n))?;
    Ok(())
}
