//! Reads blocks beside the writer, from any thread.
//!
//! A [`Snapshot`] is one moment of the file: the blocks, and whatever `store` keeps beside them, as they were together.

use std::path::{Path, PathBuf};

use model::{Arrival, Timestamp};
use rusqlite::{Connection, OptionalExtension, Transaction};

use crate::schema::{self, open_to_read};
use crate::{Block, BlockSeq, Blocks, JournalError, UnreadableBlock, codec};

/// A read-only connection. Each thread has its own.
#[derive(Debug)]
pub struct JournalReader {
    connection: Connection,
    path: PathBuf,
}

impl JournalReader {
    /// Opens the journal at `path`, which must be there.
    ///
    /// # Errors
    /// If there is no such file, or it is not a journal that this version reads.
    pub fn open(path: impl AsRef<Path>) -> Result<JournalReader, JournalError> {
        let path = path.as_ref().to_owned();
        Ok(JournalReader { connection: open_to_read(&path)?, path })
    }

    /// At most `limit` blocks behind `after`.
    ///
    /// # Errors
    /// If the file cannot be read. A block that cannot be read is no error: it is among [`Blocks::unreadable`].
    pub fn blocks_after(&self, after: BlockSeq, limit: usize) -> Result<Blocks, JournalError> {
        blocks_after(&self.connection, &self.path, after, limit)
    }

    /// The newest number that was ever used.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn newest(&self) -> Result<BlockSeq, JournalError> {
        schema::newest(&self.connection)
            .map_err(|source| JournalError::from_sqlite("read", &self.path, source))
    }

    /// The newest block that has been moved into a part.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn moved_up_to(&self) -> Result<BlockSeq, JournalError> {
        schema::moved_up_to(&self.connection)
            .map_err(|source| JournalError::from_sqlite("read", &self.path, source))
    }

    pub(crate) fn connection(&self) -> &Connection {
        &self.connection
    }

    /// The file as it is now, until the snapshot is dropped.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn snapshot(&mut self) -> Result<Snapshot<'_>, JournalError> {
        let fail = |source| JournalError::from_sqlite("read", &self.path, source);
        let transaction = self.connection.transaction().map_err(fail)?;
        // The first read is what fixes the moment.
        schema::moved_up_to(&transaction).map_err(fail)?;
        Ok(Snapshot { transaction, path: &self.path })
    }
}

/// One moment of the file.
#[derive(Debug)]
pub struct Snapshot<'reader> {
    transaction: Transaction<'reader>,
    path: &'reader Path,
}

impl Snapshot<'_> {
    /// At most `limit` blocks behind `after`.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn blocks_after(&self, after: BlockSeq, limit: usize) -> Result<Blocks, JournalError> {
        blocks_after(&self.transaction, self.path, after, limit)
    }

    /// The first block behind `after` that holds something measured from `from` on and before `to`.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn next_block_between(
        &self,
        after: BlockSeq,
        from: Timestamp,
        to: Timestamp,
    ) -> Result<Option<Result<Block, UnreadableBlock>>, JournalError> {
        let sql = "SELECT seq, arrivals, payload FROM blocks
                   WHERE ?1 < seq AND ?2 <= last_at AND first_at < ?3 ORDER BY seq LIMIT 1";
        self.transaction
            .prepare_cached(sql)
            .and_then(|mut statement| {
                statement
                    .query_row((after.to_sql(), from.as_millis(), to.as_millis()), |row| {
                        Ok(read_block(row.get(0)?, row.get(1)?, row.get_ref(2)?.as_blob()?))
                    })
                    .optional()
            })
            .map_err(|source| JournalError::from_sqlite("read", self.path, source))
    }

    /// For what `store` keeps in the same file.
    pub fn connection(&self) -> &Connection {
        &self.transaction
    }
}

/// At most `limit` blocks behind `after`, read by any connection to the journal.
pub(crate) fn blocks_after(
    connection: &Connection,
    path: &Path,
    after: BlockSeq,
    limit: usize,
) -> Result<Blocks, JournalError> {
    let fail = |source| JournalError::from_sqlite("read", path, source);
    let sql = "SELECT seq, arrivals, payload FROM blocks WHERE ?1 < seq ORDER BY seq LIMIT ?2";
    let mut statement = connection.prepare_cached(sql).map_err(fail)?;
    let limit = i64::try_from(limit).unwrap_or(i64::MAX);
    let mut rows = statement.query((after.to_sql(), limit)).map_err(fail)?;
    let mut found = Blocks::default();
    while let Some(row) = rows.next().map_err(fail)? {
        let columns = (row.get(0).map_err(fail)?, row.get(1).map_err(fail)?);
        let payload = row.get_ref(2).map_err(fail)?.as_blob().map_err(|error| fail(error.into()))?;
        let block = read_block(columns.0, columns.1, payload);
        found.last = Some(BlockSeq::from_sql(columns.0));
        match block {
            Ok(block) => found.blocks.push(block),
            Err(unreadable) => found.unreadable.push(unreadable),
        }
    }
    Ok(found)
}

fn read_block(seq: i64, written_with: i64, payload: &[u8]) -> Result<Block, UnreadableBlock> {
    let seq = BlockSeq::from_sql(seq);
    let counted = |arrivals: Vec<Arrival>| match i64::try_from(arrivals.len()) {
        Ok(read) if read == written_with => Ok(arrivals),
        Ok(_) | Err(_) => Err(format!("it reads as {} arrivals", arrivals.len())),
    };
    match codec::decode(payload).and_then(counted) {
        Ok(arrivals) => Ok(Block { seq, arrivals }),
        Err(reason) => {
            Err(UnreadableBlock { seq, arrivals: u64::try_from(written_with).unwrap_or(0), reason })
        }
    }
}
