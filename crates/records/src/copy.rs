//! A copy of the records as they are at one moment, made beside the running service, and what can be asked of such a file
//! without opening it to write.

use std::fs::File;
use std::path::Path;

use rusqlite::OptionalExtension;

use crate::schema::{make_for_its_owner, open_to_read};
use crate::{Records, RecordsError};

impl Records {
    /// Writes the records at `path` as they are now to `to`, which must not be there: one file, without a log beside it,
    /// on disk when this returns. A service may be writing them meanwhile; what it adds is not in the copy.
    ///
    /// # Errors
    /// If there are no records at `path`, `to` is there, or there is no room.
    pub fn copy(path: impl AsRef<Path>, to: impl AsRef<Path>) -> Result<(), RecordsError> {
        let (path, to) = (path.as_ref(), to.as_ref());
        let name = to.to_string_lossy();
        let reader = open_to_read(path)?;
        make_for_its_owner(to).map_err(|source| RecordsError::File {
            doing: "make",
            path: to.to_owned(),
            source,
        })?;
        reader
            .execute("VACUUM INTO ?1", [name.as_ref()])
            .map_err(|source| RecordsError::from_sqlite("copy to", to, source))?;
        let synced = File::open(to).and_then(|file| file.sync_all());
        synced.map_err(|source| RecordsError::File { doing: "sync", path: to.to_owned(), source })
    }

    /// The newest journal block that the state saved at `path` contains; `None` if none has been saved.
    ///
    /// # Errors
    /// If there are no records at `path`, or they cannot be read.
    pub fn saved_block(path: impl AsRef<Path>) -> Result<Option<u64>, RecordsError> {
        let path = path.as_ref();
        let block = open_to_read(path)?
            .query_row("SELECT block FROM state", [], |row| row.get::<_, i64>(0))
            .optional()
            .map_err(|source| RecordsError::from_sqlite("read", path, source))?;
        Ok(block.map(|block| u64::try_from(block).unwrap_or(0)))
    }

    /// Has SQLite look through the file at `path`; its complaint if it is damaged.
    ///
    /// # Errors
    /// If there are no records at `path`, a later version wrote them, or they cannot be read.
    pub fn complaint(path: impl AsRef<Path>) -> Result<Option<String>, RecordsError> {
        let path = path.as_ref();
        let says: String = open_to_read(path)?
            .query_row("PRAGMA quick_check(1)", [], |row| row.get(0))
            .map_err(|source| RecordsError::from_sqlite("read", path, source))?;
        Ok((says != "ok").then_some(says))
    }
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::PermissionsExt;

    use model::Timestamp;
    use tempfile::tempdir;

    use super::*;
    use crate::{Gap, SavedState, Update};

    #[test]
    fn a_copy_is_the_records_of_that_moment() {
        let folder = tempdir().unwrap();
        let (path, copy) = (folder.path().join(crate::FILE_NAME), folder.path().join("copy.db"));
        let records = Records::open(&path).unwrap();
        assert_eq!(Records::saved_block(&path).unwrap(), None);
        let save = |block| {
            let state = Some(SavedState { block, bytes: vec![1], ..SavedState::default() });
            records.commit(&Update { state, ..Update::default() }).unwrap();
        };
        let (from, to) = (Timestamp::from_millis(0), Timestamp::from_millis(10));
        let gaps = [Gap { from, to, reason: "restored".to_owned() }];
        save(7);
        records.note_gaps(&gaps).unwrap();
        Records::copy(&path, &copy).unwrap();
        save(8);
        assert_eq!(Records::saved_block(&copy).unwrap(), Some(7));
        assert_eq!(Records::open(&copy).unwrap().gaps(from, to).unwrap(), gaps);
        assert!(Records::copy(&path, &copy).is_err(), "a file that is there is left alone");
        for file in [&path, &copy] {
            let mode = std::fs::metadata(file).unwrap().permissions().mode();
            assert_eq!(mode & 0o777, 0o600, "it holds the hashes of passwords");
        }
        assert!(Records::copy(folder.path().join("none.db"), folder.path().join("other.db")).is_err());
    }
}
