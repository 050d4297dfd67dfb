//! The tables, and how a connection to them is opened.
//!
//! ```text
//! batches   id | machine, start, end (ms UTC, null while it goes on)        | format | json
//! findings  id | machine, batch, kind, from, to (null while open), raised_at | format | json
//! events    machine, at, kind, raw: together they are its identity          | format | json
//! actions   id | week, opened                                               | format | json
//! sign_offs week | by, role, at, the review's document and its SHA-256; written once, never changed
//! baseline_orders at, machine | what a person ordered about a baseline      | format | json
//! phase_corrections batch, at | what a person said of a phase; only ever added to | format | json
//! corrected_batches id | the engine's own batch and the number of corrections it was made of | format | json
//! audit     number | who did what to what, before and after, digest; only ever added to (`audit`)
//! asked_events machine, at, kind, raw | who asked for an event that is not a record yet
//! users, sessions, tokens | who may sign in, who is signed in where, keys of programs (`people`)
//! once      key | what was answered to a request that may come again; kept for a day (`once`)
//! smears, photos, decisions, probe_checks | what people keep beside events; only ever added to (`kept`)
//! acknowledgements, set_asides  what people say of alarms (`alarms`)
//! told                          who was told of them (`told`)
//! state     one row: block, the newest journal block that went into it      | bytes
//! state_pieces machine, number | what of the state does not change any more   | bytes
//! ```
//! `user_version` is the format of the tables; a newer one is refused before anything is written. `format` is that of
//! the JSON beside it.

use std::fs::OpenOptions;
use std::io;
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;
use std::time::Duration;

use rusqlite::{Connection, OpenFlags, TransactionBehavior};

use crate::RecordsError;

const FORMAT: i64 = 1;

/// How long a connection waits for another one's transaction; each takes milliseconds.
const PATIENCE: Duration = Duration::from_secs(5);

/// Pages that a connection keeps, in KiB (negative by SQLite's own rule). A plant has a dozen connections, the system keeps the file in
/// memory anyway, and SQLite's usual 2 MB for each would never come back.
const CACHE: i64 = -256;

const TABLES: &str = "
    CREATE TABLE IF NOT EXISTS batches (
        id TEXT PRIMARY KEY, machine TEXT NOT NULL, start_at INTEGER NOT NULL, end_at INTEGER,
        format INTEGER NOT NULL, json TEXT NOT NULL) STRICT;
    CREATE INDEX IF NOT EXISTS batches_by_start ON batches (start_at, id);
    CREATE INDEX IF NOT EXISTS batches_by_machine ON batches (machine, start_at, id);
    CREATE INDEX IF NOT EXISTS batches_open ON batches (machine) WHERE end_at IS NULL;

    CREATE TABLE IF NOT EXISTS findings (
        id TEXT PRIMARY KEY, machine TEXT, batch TEXT, kind TEXT NOT NULL, from_at INTEGER NOT NULL, to_at INTEGER,
        raised_at INTEGER NOT NULL, format INTEGER NOT NULL, json TEXT NOT NULL) STRICT;
    CREATE INDEX IF NOT EXISTS findings_by_raised ON findings (raised_at, id);
    CREATE INDEX IF NOT EXISTS findings_by_machine ON findings (machine, raised_at, id);
    CREATE INDEX IF NOT EXISTS findings_by_batch ON findings (batch, raised_at, id);
    CREATE INDEX IF NOT EXISTS findings_open ON findings (raised_at, id) WHERE to_at IS NULL;

    CREATE TABLE IF NOT EXISTS events (
        machine TEXT NOT NULL, at INTEGER NOT NULL, kind TEXT NOT NULL, raw TEXT NOT NULL,
        format INTEGER NOT NULL, json TEXT NOT NULL, UNIQUE (machine, at, kind, raw)) STRICT;
    CREATE INDEX IF NOT EXISTS events_by_time ON events (at);

    CREATE TABLE IF NOT EXISTS actions (
        id TEXT PRIMARY KEY, week TEXT NOT NULL, opened_at INTEGER NOT NULL,
        format INTEGER NOT NULL, json TEXT NOT NULL) STRICT;

    CREATE TABLE IF NOT EXISTS sign_offs (
        week TEXT PRIMARY KEY, signed_by TEXT NOT NULL, role TEXT NOT NULL, signed_at INTEGER NOT NULL,
        document TEXT NOT NULL, sha256 TEXT NOT NULL) STRICT;

    CREATE TABLE IF NOT EXISTS baseline_orders (
        at INTEGER PRIMARY KEY, machine TEXT NOT NULL, format INTEGER NOT NULL, json TEXT NOT NULL) STRICT;

    CREATE TABLE IF NOT EXISTS state (
        one INTEGER PRIMARY KEY CHECK (one = 1), block INTEGER NOT NULL, bytes BLOB NOT NULL) STRICT;

    CREATE TABLE IF NOT EXISTS state_pieces (
        machine TEXT NOT NULL, number INTEGER NOT NULL, bytes BLOB NOT NULL, PRIMARY KEY (machine, number)) STRICT;
";

/// The hashes of passwords are for nobody but whoever runs the service; SQLite gives its other files the same mode.
const FOR_ITS_OWNER: u32 = 0o600;

/// Makes an empty file that its owner alone can read; one that is there is an error.
pub(crate) fn make_for_its_owner(path: &Path) -> io::Result<()> {
    OpenOptions::new().write(true).create_new(true).mode(FOR_ITS_OWNER).open(path).map(drop)
}

/// Opens the file to write, and makes the tables where there are none.
pub(crate) fn open_to_write(path: &Path) -> Result<Connection, RecordsError> {
    let fail = |source| RecordsError::from_sqlite("open", path, source);
    match make_for_its_owner(path) {
        Ok(()) => {}
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
        Err(source) => return Err(RecordsError::File { doing: "make", path: path.to_owned(), source }),
    }
    let mut connection = Connection::open(path).map_err(fail)?;
    connection.busy_timeout(PATIENCE).map_err(fail)?;
    connection.pragma_update(None, "cache_size", CACHE).map_err(fail)?;
    refuse_newer(&connection, path)?;
    connection.pragma_update(None, "journal_mode", "wal").map_err(fail)?;
    connection.pragma_update(None, "synchronous", "full").map_err(fail)?;
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate).map_err(fail)?;
    transaction.execute_batch(TABLES).map_err(fail)?;
    transaction.execute_batch(crate::correction::TABLES).map_err(fail)?;
    transaction.execute_batch(crate::audit::TABLES).map_err(fail)?;
    transaction.execute_batch(crate::audit::asked::TABLES).map_err(fail)?;
    transaction.execute_batch(crate::people::TABLES).map_err(fail)?;
    transaction.execute_batch(crate::once::TABLES).map_err(fail)?;
    crate::gap::prepare(&transaction).map_err(fail)?;
    transaction.execute_batch(crate::kept::TABLES).map_err(fail)?;
    transaction.execute_batch(crate::alarms::TABLES).map_err(fail)?;
    transaction.execute_batch(crate::told::TABLES).map_err(fail)?;
    transaction.pragma_update(None, "user_version", FORMAT).map_err(fail)?;
    transaction.commit().map_err(fail)?;
    Ok(connection)
}

/// Opens the file to read; it must be there.
pub(crate) fn open_to_read(path: &Path) -> Result<Connection, RecordsError> {
    if !path.exists() {
        return Err(RecordsError::NotThere { path: path.to_owned() });
    }
    let fail = |source| RecordsError::from_sqlite("open", path, source);
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = Connection::open_with_flags(path, flags).map_err(fail)?;
    connection.busy_timeout(PATIENCE).map_err(fail)?;
    connection.pragma_update(None, "cache_size", CACHE).map_err(fail)?;
    refuse_newer(&connection, path)?;
    Ok(connection)
}

fn refuse_newer(connection: &Connection, path: &Path) -> Result<(), RecordsError> {
    let found: i64 = connection
        .pragma_query_value(None, "user_version", |row| row.get(0))
        .map_err(|source| RecordsError::from_sqlite("open", path, source))?;
    if FORMAT < found {
        return Err(RecordsError::Newer { path: path.to_owned(), found, known: FORMAT });
    }
    Ok(())
}
