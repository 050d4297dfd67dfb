//! The store, open to move blocks: one process alone holds it.

use std::fs::{File, TryLockError};
use std::ops::Deref;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use journal::JournalMover;
use rusqlite::Connection;

use crate::manifest::{self, Part, aside, notes};
use crate::recovery::StoreRecovery;
use crate::snapshot::Unreadable;
use crate::{Disk, READINGS, SET_ASIDE, StoreError, StoreReader, SystemDisk};

/// Moves blocks into parts, and answers everything that a [`StoreReader`] does.
pub struct Store {
    pub(crate) reader: StoreReader,
    pub(crate) mover: Mutex<JournalMover>,
    pub(crate) disk: Box<dyn Disk>,
    /// Held for as long as the store is open.
    _lock: File,
}

impl Store {
    /// Opens the data folder, makes it if it is not there, puts list and files in agreement and sets aside parts that
    /// are gone or cut. (What is inside a part is checked when it is read.)
    ///
    /// # Errors
    /// [`StoreError::Locked`] if another service has it; [`StoreError::Newer`] if a later version wrote it; or if the
    /// folder or the journal cannot be used.
    pub fn open(folder: impl AsRef<Path>) -> Result<(Store, StoreRecovery), StoreError> {
        Store::open_on(folder, Box::new(SystemDisk))
    }

    /// As [`Store::open`], with another way to change files.
    ///
    /// # Errors
    /// As [`Store::open`].
    pub fn open_on(
        folder: impl AsRef<Path>,
        disk: Box<dyn Disk>,
    ) -> Result<(Store, StoreRecovery), StoreError> {
        let folder = folder.as_ref();
        disk.make_folder(&folder.join(READINGS)).map_err(|source| StoreError::File {
            doing: "make",
            path: folder.join(READINGS),
            source,
        })?;
        let held = take_lock(folder)?;
        let journal = folder.join(journal::FILE_NAME);
        let mut mover = JournalMover::open(&journal)?;
        notes::refuse_newer(mover.connection(), &journal)?;
        mover.change(|transaction| manifest::prepare(transaction))?;
        let reader = StoreReader::open(folder)?;
        let store = Store { reader, mover: Mutex::new(mover), disk, _lock: held };
        let recovery = store.recover()?;
        Ok((store, recovery))
    }

    /// Files of parts that are off the list. One that stays for now is swept at the next start.
    pub(crate) fn remove_files(&self, parts: &[Part]) {
        for part in parts {
            let _left_for_the_sweep = self.disk.remove(&self.folder().join(part.path()));
        }
    }

    /// Puts a damaged part where a person can look at it, and tells where that is in the data folder; `None` if the file
    /// is gone. It stays on the list until the caller takes it off, so that a crash in between finds it again.
    pub(crate) fn put_aside(&self, part: &Part) -> Result<Option<PathBuf>, StoreError> {
        let (path, aside) = (self.folder().join(part.path()), part.path_aside());
        let there = self.folder().join(&aside);
        if !path.exists() {
            return Ok(there.exists().then_some(aside));
        }
        let folder = self.folder().join(SET_ASIDE);
        let moved = self
            .disk
            .make_folder(&folder)
            .and_then(|()| self.disk.rename(&path, &there))
            .and_then(|()| self.disk.sync_folder(&folder));
        moved.map_err(|source| StoreError::File { doing: "set aside", path, source })?;
        Ok(Some(aside))
    }

    /// Puts damaged parts aside, to be struck off the list.
    pub(crate) fn put_all_aside(&self, damaged: Vec<Unreadable>) -> Result<Vec<Struck>, StoreError> {
        let put = |unreadable: Unreadable| Ok(Struck { file: self.put_aside(&unreadable.part)?, unreadable });
        damaged.into_iter().map(put).collect()
    }
}

/// A damaged part whose file has been put aside.
pub(crate) struct Struck {
    pub(crate) unreadable: Unreadable,
    pub(crate) file: Option<PathBuf>,
}

impl Struck {
    /// Takes it off the list, and notes what is missing.
    pub(crate) fn strike(&self, transaction: &Connection) -> rusqlite::Result<()> {
        aside::strike(transaction, &self.unreadable.part, self.file.as_ref(), &self.unreadable.reason)
    }
}

impl Deref for Store {
    type Target = StoreReader;

    fn deref(&self) -> &StoreReader {
        &self.reader
    }
}

impl std::fmt::Debug for Store {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Store").field("folder", &self.folder()).finish_non_exhaustive()
    }
}

fn take_lock(folder: &Path) -> Result<File, StoreError> {
    let path = folder.join("store.lock");
    let fail = |source| StoreError::File { doing: "lock", path: path.clone(), source };
    let file = File::create(&path).map_err(fail)?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => Err(StoreError::Locked { path }),
        Err(TryLockError::Error(source)) => Err(fail(source)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::Works;

    #[test]
    fn a_second_service_is_turned_away_and_a_reader_is_not() {
        let works = Works::new();
        assert!(matches!(Store::open(works.folder.path()), Err(StoreError::Locked { .. })));
        StoreReader::open(works.folder.path()).unwrap();
    }

    #[test]
    fn a_list_of_a_later_format_is_left_alone() {
        let works = Works::new();
        let Works { folder, journal, store } = works;
        drop((journal, store));
        let connection = Connection::open(folder.path().join(journal::FILE_NAME)).unwrap();
        connection.execute("UPDATE store_notes SET format = 9", []).unwrap();
        let error = Store::open(folder.path()).unwrap_err().to_string();
        assert!(
            error.ends_with("has format 9, and this version reads up to 2; use a newer version"),
            "{error}"
        );
        assert!(matches!(StoreReader::open(folder.path()), Err(StoreError::Newer { .. })));
        let format: i64 =
            connection.query_row("SELECT format FROM store_notes", [], |row| row.get(0)).unwrap();
        assert_eq!(format, 9);
    }
}
