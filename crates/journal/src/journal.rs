//! The writer: appends blocks, and gives proof that they are on disk.
//!
//! One service alone holds a journal, told by a lock on `journal.lock` beside the file; the system lets go of it when
//! the process ends, however it ends.

use std::fs::{File, TryLockError};
use std::path::{Path, PathBuf};

use model::{Arrival, Timestamp};
use rusqlite::Connection;

use crate::reader::blocks_after;
use crate::schema::{self, open_to_write};
use crate::{BlockSeq, Blocks, Durable, JournalError, UnreadableBlock, codec};

/// Blocks looked at in one go while opening, so that a long journal does not have to fit into memory.
const BLOCKS_A_LOOK: usize = 256;

/// The only writer of a journal.
#[derive(Debug)]
pub struct Journal {
    connection: Connection,
    path: PathBuf,
    newest: BlockSeq,
    /// Held for as long as the journal is open.
    _lock: File,
}

/// What was found when the journal was opened.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Recovery {
    /// Blocks that wait to be moved.
    pub blocks: u64,
    /// Arrivals in them.
    pub arrivals: u64,
    /// The newest number that was ever used.
    pub newest: BlockSeq,
    /// Blocks that could not be read, and have been set aside.
    pub set_aside: Vec<UnreadableBlock>,
}

impl Journal {
    /// Opens the journal at `path`, makes it if it is not there, looks at every block and sets aside what does not
    /// read back.
    ///
    /// # Errors
    /// [`JournalError::Locked`] if another service has it; or if the file cannot be used as a whole.
    pub fn open(path: impl AsRef<Path>) -> Result<(Journal, Recovery), JournalError> {
        let path = path.as_ref().to_owned();
        let lock = take_lock(&path)?;
        let connection = open_to_write(&path)?;
        let mut journal = Journal { connection, path, newest: BlockSeq::START, _lock: lock };
        let recovery = journal.recover()?;
        journal.newest = recovery.newest;
        Ok((journal, recovery))
    }

    /// Writes the arrivals as one block and waits until they are on disk. Without arrivals there is nothing to write,
    /// and the newest block is proof enough.
    ///
    /// # Errors
    /// [`JournalError::Full`], [`JournalError::Locked`] and the like. Then nothing was written, and the same arrivals
    /// can be tried again.
    pub fn append(&mut self, arrivals: &[Arrival]) -> Result<Durable<BlockSeq>, JournalError> {
        let Some((first_at, last_at)) = times(arrivals) else { return Ok(Durable::new(self.newest)) };
        let payload = codec::encode(arrivals).map_err(JournalError::Encode)?;
        let seq = self.newest.next();
        let count = i64::try_from(arrivals.len()).expect("a slice is never longer than i64::MAX");
        self.connection
            .prepare_cached("INSERT INTO blocks VALUES (?1, ?2, ?3, ?4, ?5)")
            .and_then(|mut statement| {
                statement.execute((seq.to_sql(), first_at.as_millis(), last_at.as_millis(), count, payload))
            })
            .map_err(|source| JournalError::from_sqlite("write", &self.path, source))?;
        self.newest = seq;
        Ok(Durable::new(seq))
    }

    /// At most `limit` blocks behind `after`.
    ///
    /// # Errors
    /// If the file cannot be read. A block that cannot be read is no error: it is among [`Blocks::unreadable`].
    pub fn blocks_after(&self, after: BlockSeq, limit: usize) -> Result<Blocks, JournalError> {
        blocks_after(&self.connection, &self.path, after, limit)
    }

    /// The newest number that was ever used.
    pub fn newest(&self) -> BlockSeq {
        self.newest
    }

    fn recover(&mut self) -> Result<Recovery, JournalError> {
        let mut recovery = Recovery::default();
        let mut after = BlockSeq::START;
        loop {
            let found = self.blocks_after(after, BLOCKS_A_LOOK)?;
            let Some(last) = found.last else { break };
            after = last;
            recovery.blocks += found.blocks.len() as u64;
            recovery.arrivals += found.blocks.iter().map(|block| block.arrivals.len() as u64).sum::<u64>();
            recovery.set_aside.extend(found.unreadable);
        }
        self.set_aside(&recovery.set_aside)
            .and_then(|()| schema::newest(&self.connection))
            .map(|newest| Recovery { newest, ..recovery })
            .map_err(|source| JournalError::from_sqlite("open", &self.path, source))
    }

    fn set_aside(&mut self, unreadable: &[UnreadableBlock]) -> rusqlite::Result<()> {
        let transaction = self.connection.transaction()?;
        for block in unreadable {
            schema::set_aside(&transaction, block.seq, &block.reason)?;
        }
        transaction.commit()
    }
}

/// The earliest and the latest moment that the arrivals speak of.
fn times(arrivals: &[Arrival]) -> Option<(Timestamp, Timestamp)> {
    let times = || arrivals.iter().map(Arrival::at);
    Some((times().min()?, times().max()?))
}

fn take_lock(path: &Path) -> Result<File, JournalError> {
    let lock = path.with_extension("lock");
    let fail = |source| JournalError::File { doing: "lock", path: lock.clone(), source };
    let file = File::create(&lock).map_err(fail)?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => Err(JournalError::Locked { path: path.to_owned() }),
        Err(TryLockError::Error(source)) => Err(fail(source)),
    }
}
