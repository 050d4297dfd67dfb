//! The writer: appends blocks, and gives proof that they are on disk.
//!
//! One service alone holds a journal, told by a lock on `journal.lock` beside the file; the system lets go of it when
//! the process ends, however it ends.

use std::fs::{File, TryLockError};
use std::path::{Path, PathBuf};
use std::time::Duration;

use model::{Arrival, Timestamp};
use rusqlite::{Connection, Transaction, TransactionBehavior};

use crate::held::{self, Held, HeldChange};
use crate::reader::blocks_after;
use crate::schema::{self, open_to_write};
use crate::{BlockSeq, Blocks, Durable, JournalError, UnreadableBlock, codec};

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
    /// Opens the journal at `path`, makes it if it is not there, looks at every block and sets aside what is not
    /// as it was written.
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
        self.append_beside(arrivals, &HeldChange::default())
    }

    /// The same, and in the same transaction what begins and ends to wait.
    ///
    /// # Errors
    /// As for [`Journal::append`]: nothing was written, of either.
    pub fn append_beside(
        &mut self,
        arrivals: &[Arrival],
        held: &HeldChange,
    ) -> Result<Durable<BlockSeq>, JournalError> {
        let block = NewBlock::of(arrivals)?;
        if block.is_none() && held.is_empty() {
            return Ok(Durable::new(self.newest));
        }
        let seq = block.as_ref().map_or(self.newest, |_| self.newest.next());
        self.connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .and_then(|transaction| {
                block.map_or(Ok(()), |block| block.write(&transaction, seq))?;
                held.write(&transaction)?;
                transaction.commit()
            })
            .map_err(|source| JournalError::from_sqlite("write", &self.path, source))?;
        self.newest = seq;
        Ok(Durable::new(seq))
    }

    /// The messages that wait, in the order of their numbers.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn held(&self) -> Result<Vec<Held>, JournalError> {
        held::read(&self.connection).map_err(|source| JournalError::from_sqlite("read", &self.path, source))
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
        self.look_at_every_block()
            .and_then(|recovery| {
                self.set_aside(&recovery.set_aside)?;
                Ok(Recovery { newest: schema::newest(&self.connection)?, ..recovery })
            })
            .map_err(|source| JournalError::from_sqlite("open", &self.path, source))
    }

    /// One block at a time, so that a long journal does not have to fit into memory, and by its checksum alone, so that
    /// a start does not wait for it.
    fn look_at_every_block(&self) -> rusqlite::Result<Recovery> {
        let mut recovery = Recovery::default();
        let mut statement =
            self.connection.prepare("SELECT seq, arrivals, payload FROM blocks ORDER BY seq")?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            let arrivals = u64::try_from(row.get::<_, i64>(1)?).unwrap_or(0);
            match codec::check(row.get_ref(2)?.as_blob()?) {
                Ok(()) => {
                    recovery.blocks += 1;
                    recovery.arrivals += arrivals;
                }
                Err(reason) => {
                    let seq = BlockSeq::from_sql(row.get(0)?);
                    recovery.set_aside.push(UnreadableBlock { seq, arrivals, reason });
                }
            }
        }
        Ok(recovery)
    }

    fn set_aside(&mut self, unreadable: &[UnreadableBlock]) -> rusqlite::Result<()> {
        let transaction = self.connection.transaction()?;
        for block in unreadable {
            schema::set_aside(&transaction, block.seq, &block.reason)?;
        }
        transaction.commit()
    }
}

/// A block on its way to the disk.
struct NewBlock {
    first_at: Timestamp,
    last_at: Timestamp,
    arrivals: i64,
    payload: Vec<u8>,
}

impl NewBlock {
    /// `None` without arrivals.
    fn of(arrivals: &[Arrival]) -> Result<Option<NewBlock>, JournalError> {
        let Some((first_at, last_at)) = times(arrivals) else { return Ok(None) };
        let payload = codec::encode(arrivals).map_err(JournalError::Encode)?;
        let arrivals = i64::try_from(arrivals.len()).expect("a slice is never longer than i64::MAX");
        Ok(Some(NewBlock { first_at, last_at, arrivals, payload }))
    }

    fn write(self, transaction: &Transaction<'_>, seq: BlockSeq) -> rusqlite::Result<()> {
        let NewBlock { first_at, last_at, arrivals, payload } = self;
        let row = (seq.to_sql(), first_at.as_millis(), last_at.as_millis(), arrivals, payload);
        transaction.prepare_cached("INSERT INTO blocks VALUES (?1, ?2, ?3, ?4, ?5)")?.execute(row)?;
        Ok(())
    }
}

/// The earliest and the latest moment that the arrivals speak of.
fn times(arrivals: &[Arrival]) -> Option<(Timestamp, Timestamp)> {
    let times = || arrivals.iter().map(Arrival::at);
    Some((times().min()?, times().max()?))
}

/// Whoever has just gone may leave the lock with a child that has not become another program yet: asked so often, so long apart.
const ASKED: u32 = 50;
const APART: Duration = Duration::from_millis(10);

fn take_lock(path: &Path) -> Result<File, JournalError> {
    let lock = path.with_extension("lock");
    let fail = |source| JournalError::File { doing: "lock", path: lock.clone(), source };
    let file = File::create(&lock).map_err(fail)?;
    for _ in 0..ASKED {
        match file.try_lock() {
            Ok(()) => return Ok(file),
            Err(TryLockError::WouldBlock) => std::thread::sleep(APART),
            Err(TryLockError::Error(source)) => return Err(fail(source)),
        }
    }
    Err(JournalError::Locked { path: path.to_owned() })
}

#[cfg(test)]
mod tests {
    use std::fs;

    use model::{Channel, Content, Reading};
    use tempfile::{TempDir, tempdir};

    use super::*;
    use crate::{JournalMover, JournalReader};

    /// Readings of Alder's chocolate, one a second from `first` on.
    fn arrivals(first: i64, count: i64) -> Vec<Arrival> {
        let arrival = |second: i64| {
            let at = Timestamp::from_millis(1_772_427_600_000 + 1000 * second);
            let value = Some(31.0 + second as f64 / 100.0);
            let reading =
                Reading { machine: "alder".parse().unwrap(), channel: Channel::Chocolate, at, value };
            Arrival { arrived: at, retained: false, content: Content::Reading(reading) }
        };
        (first..first + count).map(arrival).collect()
    }

    fn folder() -> (TempDir, PathBuf) {
        let folder = tempdir().unwrap();
        let path = folder.path().join(crate::FILE_NAME);
        (folder, path)
    }

    fn everything(journal: &Journal) -> Vec<Arrival> {
        let found = journal.blocks_after(BlockSeq::START, usize::MAX).unwrap();
        found.blocks.into_iter().flat_map(|block| block.arrivals).collect()
    }

    #[test]
    fn what_was_appended_is_there_after_reopening() {
        let (_folder, path) = folder();
        let (mut journal, recovery) = Journal::open(&path).unwrap();
        assert_eq!(recovery, Recovery::default());
        assert_eq!(journal.append(&[]).unwrap().into_inner(), BlockSeq::START);
        assert_eq!(journal.append(&arrivals(0, 3)).unwrap().into_inner(), BlockSeq::new(1));
        assert_eq!(journal.append(&arrivals(3, 2)).unwrap().into_inner(), BlockSeq::new(2));
        drop(journal);
        let (journal, recovery) = Journal::open(&path).unwrap();
        assert_eq!((recovery.blocks, recovery.arrivals, recovery.newest.get()), (2, 5, 2));
        assert_eq!(everything(&journal), arrivals(0, 5));
        let page = journal.blocks_after(BlockSeq::START, 1).unwrap();
        assert_eq!((page.blocks.len(), page.last), (1, Some(BlockSeq::new(1))));
    }

    #[test]
    fn a_number_is_never_used_again() {
        let (_folder, path) = folder();
        let (mut journal, _) = Journal::open(&path).unwrap();
        let _ = journal.append(&arrivals(0, 1)).unwrap();
        let _ = journal.append(&arrivals(1, 1)).unwrap();
        JournalMover::open(&path).unwrap().move_out(BlockSeq::new(2), &[], |_| Ok(())).unwrap();
        assert!(everything(&journal).is_empty());
        drop(journal);
        let (mut journal, _) = Journal::open(&path).unwrap();
        assert_eq!(journal.append(&arrivals(2, 1)).unwrap().into_inner(), BlockSeq::new(3));
    }

    #[test]
    fn a_second_service_is_turned_away_and_let_in_when_the_first_has_gone() {
        let (_folder, path) = folder();
        let (journal, _) = Journal::open(&path).unwrap();
        let error = Journal::open(&path).unwrap_err();
        assert!(error.to_string().ends_with("is locked; is another service running on it?"), "{error}");
        drop(journal);
        Journal::open(&path).unwrap();
    }

    #[test]
    fn who_is_just_going_is_waited_for() {
        let (_folder, path) = folder();
        let (journal, _) = Journal::open(&path).unwrap();
        let going = std::thread::spawn(move || {
            std::thread::sleep(ASKED * APART / 5);
            drop(journal);
        });
        Journal::open(&path).unwrap();
        going.join().unwrap();
    }

    #[test]
    fn a_locked_file_is_told_and_the_same_arrivals_can_be_tried_again() {
        let (_folder, path) = folder();
        let (mut journal, _) = Journal::open(&path).unwrap();
        journal.connection.busy_timeout(std::time::Duration::ZERO).unwrap();
        let other = Connection::open(&path).unwrap();
        other.execute_batch("BEGIN IMMEDIATE").unwrap();
        assert!(matches!(journal.append(&arrivals(0, 1)), Err(JournalError::Locked { .. })));
        other.execute_batch("COMMIT").unwrap();
        assert_eq!(journal.append(&arrivals(0, 1)).unwrap().into_inner(), BlockSeq::new(1));
        assert_eq!(everything(&journal), arrivals(0, 1));
    }

    #[test]
    fn a_full_disk_is_told_and_goes_on_when_there_is_room() {
        let (_folder, path) = folder();
        let (mut journal, _) = Journal::open(&path).unwrap();
        let pages: i64 = journal.connection.pragma_query_value(None, "page_count", |row| row.get(0)).unwrap();
        journal.connection.pragma_update(None, "max_page_count", pages + 1).unwrap();
        let large = arrivals(0, 5_000);
        assert!(matches!(journal.append(&large), Err(JournalError::Full { .. })));
        assert!(everything(&journal).is_empty());
        journal.connection.pragma_update(None, "max_page_count", 1_000_000).unwrap();
        assert_eq!(journal.append(&large).unwrap().into_inner(), BlockSeq::new(1));
        assert_eq!(everything(&journal), large);
    }

    /// A crash leaves the file and its log as they are at that moment. What was durable by then is there; a log that
    /// was cut in the middle of a later block loses that block alone.
    #[test]
    fn a_crash_loses_nothing_that_was_durable() {
        let (folder, path) = folder();
        let (mut journal, _) = Journal::open(&path).unwrap();
        let log = path.with_extension("db-wal");
        let mut log_bytes = Vec::new();
        for block in 0..6 {
            let _ = journal.append(&arrivals(10 * block, 10)).unwrap();
            log_bytes.push(fs::metadata(&log).unwrap().len());
        }
        let (file, log) = (fs::read(&path).unwrap(), fs::read(&log).unwrap());
        for cut in (0..=log.len()).step_by(997).chain([log.len()]) {
            let crashed = folder.path().join(format!("crashed-{cut}.db"));
            fs::write(&crashed, &file).unwrap();
            fs::write(crashed.with_extension("db-wal"), &log[..cut]).unwrap();
            let durable = log_bytes.iter().filter(|bytes| **bytes <= cut as u64).count() as i64;
            let (recovered, _) = Journal::open(&crashed).unwrap();
            assert_eq!(everything(&recovered), arrivals(0, 10 * durable), "cut at {cut}");
        }
    }

    #[test]
    fn a_damaged_block_is_told_and_set_aside_and_the_rest_goes_on() {
        let (_folder, path) = folder();
        let (mut journal, _) = Journal::open(&path).unwrap();
        for block in 0..3 {
            let _ = journal.append(&arrivals(block, 1)).unwrap();
        }
        let flip =
            "UPDATE blocks SET payload = CAST(substr(payload, 1, 8) || x'ff' AS BLOB) WHERE seq IN (2, 3)";
        journal.connection.execute(flip, []).unwrap();
        let reader = JournalReader::open(&path).unwrap();
        let read = reader.blocks_after(BlockSeq::START, 10).unwrap();
        assert_eq!((read.blocks.len(), read.unreadable.len(), read.last), (1, 2, Some(BlockSeq::new(3))));
        drop(journal);
        let (mut journal, recovery) = Journal::open(&path).unwrap();
        let told: Vec<String> = recovery.set_aside.iter().map(UnreadableBlock::to_string).collect();
        assert_eq!(
            told,
            [
                "block 2 with 1 arrivals: its checksum is wrong",
                "block 3 with 1 arrivals: its checksum is wrong"
            ]
        );
        assert_eq!(everything(&journal), arrivals(0, 1));
        assert_eq!(journal.append(&arrivals(3, 1)).unwrap().into_inner(), BlockSeq::new(4));
    }

    #[test]
    fn what_is_no_journal_or_a_newer_one_is_left_alone() {
        let (folder, path) = folder();
        fs::write(&path, "These are notes about chocolate, not a journal. ".repeat(100)).unwrap();
        assert!(matches!(Journal::open(&path), Err(JournalError::Damaged { .. })));
        let newer = folder.path().join("newer.db");
        drop(Journal::open(&newer).unwrap());
        Connection::open(&newer).unwrap().pragma_update(None, "user_version", 9).unwrap();
        let error = Journal::open(&newer).unwrap_err().to_string();
        assert!(
            error.ends_with("has format 9, and this version reads up to 1; use a newer version"),
            "{error}"
        );
    }

    #[test]
    fn readers_see_whole_blocks_while_the_writer_writes() {
        let (_folder, path) = folder();
        let (mut journal, _) = Journal::open(&path).unwrap();
        let _ = journal.append(&arrivals(0, 1)).unwrap();
        let mut reader = JournalReader::open(&path).unwrap();
        let watching = std::thread::spawn(move || {
            let mut seen = BlockSeq::START;
            while seen < BlockSeq::new(100) {
                let found = reader.blocks_after(seen, 7).unwrap();
                assert!(found.unreadable.is_empty());
                seen = found.last.unwrap_or(seen);
            }
            reader.snapshot().unwrap().blocks_after(BlockSeq::START, 1_000).unwrap().blocks.len()
        });
        for block in 1..100 {
            let _ = journal.append(&arrivals(block, 1)).unwrap();
        }
        assert_eq!(watching.join().unwrap(), 100);
    }
}
