//! The journal's tables, and how a connection to them is opened.
//!
//! ```text
//! blocks            seq INTEGER PRIMARY KEY | first_at, last_at (ms UTC, readings' own times) | arrivals | payload
//! blocks_set_aside  the same, with the reason: what could not be read, kept for a person to look at
//! moved             one row: up_to, the newest block that has been moved into a part
//! held              messages that wait for another: number INTEGER PRIMARY KEY | arrived (ms UTC) | topic | payload
//! ```
//! The next number is one past everything in the first three tables, so that a number is never used again even when all
//! blocks are gone. `user_version` is the format; a newer one is refused before anything is written. A table that a file of this format does
//! not have yet (`held` came later than the others) is made when it is opened to write.

use std::path::Path;
use std::time::Duration;

use rusqlite::{Connection, OpenFlags, TransactionBehavior};

use crate::{BlockSeq, JournalError};

const FORMAT: i64 = 1;

/// How long a connection waits for another one's transaction. Moving a large stretch of blocks takes well under a
/// second; past this somebody holds the file for good.
const PATIENCE: Duration = Duration::from_secs(5);

/// Pages that a connection keeps, in KiB (negative by SQLite's own rule). Blocks are written and read once, one after the other, and up to
/// twenty connections with SQLite's usual 2 MB each would never give them back.
const CACHE: i64 = -256;

/// What the write-ahead log is cut back to after a burst.
const LOG_BYTES_KEPT: i64 = 64 * 1024 * 1024;

const TABLES: &str = "
    CREATE TABLE IF NOT EXISTS blocks (
        seq INTEGER PRIMARY KEY, first_at INTEGER NOT NULL, last_at INTEGER NOT NULL,
        arrivals INTEGER NOT NULL, payload BLOB NOT NULL) STRICT;
    CREATE TABLE IF NOT EXISTS blocks_set_aside (
        seq INTEGER PRIMARY KEY, first_at INTEGER NOT NULL, last_at INTEGER NOT NULL,
        arrivals INTEGER NOT NULL, payload BLOB NOT NULL, reason TEXT NOT NULL) STRICT;
    CREATE TABLE IF NOT EXISTS moved (one INTEGER PRIMARY KEY CHECK (one = 1), up_to INTEGER NOT NULL) STRICT;
    INSERT OR IGNORE INTO moved VALUES (1, 0);
    CREATE TABLE IF NOT EXISTS held (
        number INTEGER PRIMARY KEY, arrived INTEGER NOT NULL, topic TEXT NOT NULL, payload BLOB NOT NULL) STRICT;
";

/// Opens the file to write, and makes the tables where there are none.
pub(crate) fn open_to_write(path: &Path) -> Result<Connection, JournalError> {
    let fail = |source| JournalError::from_sqlite("open", path, source);
    let mut connection = Connection::open(path).map_err(fail)?;
    connection.busy_timeout(PATIENCE).map_err(fail)?;
    connection.pragma_update(None, "cache_size", CACHE).map_err(fail)?;
    refuse_newer(&connection, path)?;
    connection.pragma_update(None, "journal_mode", "wal").map_err(fail)?;
    connection.pragma_update(None, "synchronous", "full").map_err(fail)?;
    connection.pragma_update(None, "journal_size_limit", LOG_BYTES_KEPT).map_err(fail)?;
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate).map_err(fail)?;
    transaction.execute_batch(TABLES).map_err(fail)?;
    transaction.pragma_update(None, "user_version", FORMAT).map_err(fail)?;
    transaction.commit().map_err(fail)?;
    Ok(connection)
}

/// Opens the file to read; it must be there.
pub(crate) fn open_to_read(path: &Path) -> Result<Connection, JournalError> {
    let fail = |source| JournalError::from_sqlite("open", path, source);
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = Connection::open_with_flags(path, flags).map_err(fail)?;
    connection.busy_timeout(PATIENCE).map_err(fail)?;
    connection.pragma_update(None, "cache_size", CACHE).map_err(fail)?;
    refuse_newer(&connection, path)?;
    Ok(connection)
}

fn refuse_newer(connection: &Connection, path: &Path) -> Result<(), JournalError> {
    let found: i64 = connection
        .pragma_query_value(None, "user_version", |row| row.get(0))
        .map_err(|source| JournalError::from_sqlite("open", path, source))?;
    if FORMAT < found {
        return Err(JournalError::Newer { path: path.to_owned(), found, known: FORMAT });
    }
    Ok(())
}

/// The newest number that was ever used.
pub(crate) fn newest(connection: &Connection) -> rusqlite::Result<BlockSeq> {
    let sql = "SELECT max(coalesce((SELECT max(seq) FROM blocks), 0),
                          coalesce((SELECT max(seq) FROM blocks_set_aside), 0),
                          (SELECT up_to FROM moved))";
    connection.query_row(sql, [], |row| row.get(0)).map(BlockSeq::from_sql)
}

/// The newest block that has been moved into a part.
pub(crate) fn moved_up_to(connection: &Connection) -> rusqlite::Result<BlockSeq> {
    connection.query_row("SELECT up_to FROM moved", [], |row| row.get(0)).map(BlockSeq::from_sql)
}

/// Puts a block that cannot be read out of the way, for a person to look at.
pub(crate) fn set_aside(connection: &Connection, seq: BlockSeq, reason: &str) -> rusqlite::Result<()> {
    let copy = "INSERT OR REPLACE INTO blocks_set_aside
                SELECT seq, first_at, last_at, arrivals, payload, ?2 FROM blocks WHERE seq = ?1";
    connection.execute(copy, (seq.to_sql(), reason))?;
    connection.execute("DELETE FROM blocks WHERE seq = ?1", [seq.to_sql()])?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two dozen connections keep what they have read for good, 2 MB each if SQLite may.
    #[test]
    fn a_connection_keeps_little() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(crate::FILE_NAME);
        let writer = open_to_write(&path).unwrap();
        for connection in [writer, open_to_read(&path).unwrap()] {
            let kept: i64 = connection.pragma_query_value(None, "cache_size", |row| row.get(0)).unwrap();
            assert_eq!(kept, -256);
        }
    }
}
