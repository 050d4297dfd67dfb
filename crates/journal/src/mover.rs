//! Takes blocks out once their readings stand in a part.
//!
//! `store` keeps its list of parts in the same file, so that "the part counts" and "the blocks are gone" are one
//! transaction: after a crash either both are so or neither.

use std::path::{Path, PathBuf};

use rusqlite::{Connection, Transaction, TransactionBehavior};

use crate::reader::blocks_after;
use crate::schema::{self, open_to_write};
use crate::{BlockSeq, Blocks, JournalError, UnreadableBlock};

/// The connection of whoever moves blocks into parts.
#[derive(Debug)]
pub struct JournalMover {
    connection: Connection,
    path: PathBuf,
}

impl JournalMover {
    /// Opens the journal at `path`; makes it if it is not there.
    ///
    /// # Errors
    /// If the file cannot be opened, or is not a journal that this version reads.
    pub fn open(path: impl AsRef<Path>) -> Result<JournalMover, JournalError> {
        let path = path.as_ref().to_owned();
        Ok(JournalMover { connection: open_to_write(&path)?, path })
    }

    /// At most `limit` blocks behind `after`.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn blocks_after(&self, after: BlockSeq, limit: usize) -> Result<Blocks, JournalError> {
        blocks_after(&self.connection, &self.path, after, limit)
    }

    /// The newest block that has been moved.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn moved_up_to(&self) -> Result<BlockSeq, JournalError> {
        schema::moved_up_to(&self.connection)
            .map_err(|source| JournalError::from_sqlite("read", &self.path, source))
    }

    /// For what `store` keeps in the same file.
    pub fn connection(&self) -> &Connection {
        &self.connection
    }

    /// In one transaction: does `besides`, sets the unreadable blocks aside, and takes out every other block up to
    /// `up_to`. If anything fails, nothing of it has happened.
    ///
    /// # Errors
    /// If `besides` fails or the file cannot be written.
    pub fn move_out(
        &mut self,
        up_to: BlockSeq,
        unreadable: &[UnreadableBlock],
        besides: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<()>,
    ) -> Result<(), JournalError> {
        self.change(|transaction| {
            besides(transaction)?;
            for block in unreadable {
                schema::set_aside(transaction, block.seq, &block.reason)?;
            }
            transaction.execute("DELETE FROM blocks WHERE seq <= ?1", [up_to.to_sql()])?;
            transaction.execute("UPDATE moved SET up_to = max(up_to, ?1)", [up_to.to_sql()])?;
            Ok(())
        })
    }

    /// One transaction on what `store` keeps in the same file.
    ///
    /// # Errors
    /// If `change` fails or the file cannot be written.
    pub fn change<T>(
        &mut self,
        change: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<T>,
    ) -> Result<T, JournalError> {
        self.connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .and_then(|transaction| {
                let result = change(&transaction)?;
                transaction.commit()?;
                Ok(result)
            })
            .map_err(|source| JournalError::from_sqlite("write", &self.path, source))
    }
}
