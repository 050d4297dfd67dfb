//! A copy of the journal as it is at one moment, made beside the running service.

use std::fs::File;
use std::path::Path;

use crate::{JournalError, JournalReader};

impl JournalReader {
    /// Writes the file as it is now to `to`, which must not be there: one file, without a log beside it, on disk when
    /// this returns. The writer goes on meanwhile, and what it adds is not in the copy.
    ///
    /// # Errors
    /// If `to` is there, or there is no room.
    pub fn copy_to(&self, to: &Path) -> Result<(), JournalError> {
        let name = to.to_string_lossy();
        self.connection()
            .execute("VACUUM INTO ?1", [name.as_ref()])
            .map_err(|source| JournalError::from_sqlite("copy to", to, source))?;
        let synced = File::open(to).and_then(|file| file.sync_all());
        synced.map_err(|source| JournalError::File { doing: "sync", path: to.to_owned(), source })
    }
}

#[cfg(test)]
mod tests {
    use model::{Arrival, Channel, Content, Reading, Timestamp};
    use tempfile::tempdir;

    use crate::{BlockSeq, Journal, JournalMover, JournalReader};

    fn arrival(second: i64) -> Arrival {
        let at = Timestamp::from_millis(1_772_427_600_000 + 1000 * second);
        let (machine, channel) = ("alder".parse().unwrap(), Channel::Chocolate);
        let content = Content::Reading(Reading { machine, channel, at, value: Some(31.24) });
        Arrival { arrived: at, retained: false, content }
    }

    #[test]
    fn a_copy_is_a_journal_of_that_moment() {
        let folder = tempdir().unwrap();
        let path = folder.path().join(crate::FILE_NAME);
        let (mut journal, _) = Journal::open(&path).unwrap();
        for second in 0..3 {
            let _ = journal.append(&[arrival(second)]).unwrap();
        }
        JournalMover::open(&path).unwrap().move_out(BlockSeq::new(1), &[], |_| Ok(())).unwrap();
        let copy = folder.path().join("copy.db");
        let reader = JournalReader::open(&path).unwrap();
        reader.copy_to(&copy).unwrap();
        let _ = journal.append(&[arrival(3)]).unwrap();
        let (copied, recovery) = Journal::open(&copy).unwrap();
        assert_eq!((recovery.blocks, recovery.newest), (2, BlockSeq::new(3)));
        assert_eq!(JournalReader::open(&copy).unwrap().moved_up_to().unwrap(), BlockSeq::new(1));
        assert_eq!(copied.blocks_after(BlockSeq::START, 9).unwrap().blocks.len(), 2);
        assert!(reader.copy_to(&copy).is_err(), "a file that is there is left alone");
    }
}
