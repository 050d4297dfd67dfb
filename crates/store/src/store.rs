//! The store, open to move blocks: one process alone holds it.

use std::collections::HashSet;
use std::fs::{self, File, TryLockError};
use std::ops::Deref;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use journal::JournalMover;

use crate::manifest::{self, Part};
use crate::reader::lock;
use crate::snapshot::{Unreadable, list_failed};
use crate::{DamagedPart, Disk, READINGS, SET_ASIDE, StoreError, StoreReader, SystemDisk, UtcDay};

/// Moves blocks into parts, and answers everything that a [`StoreReader`] does.
pub struct Store {
    pub(crate) reader: StoreReader,
    pub(crate) mover: Mutex<JournalMover>,
    pub(crate) disk: Box<dyn Disk>,
    /// Held for as long as the store is open.
    _lock: File,
}

/// What was found when the store was opened.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct StoreRecovery {
    /// Parts that count.
    pub parts: u64,
    /// Readings in them.
    pub readings: u64,
    /// Files that a crash left behind and that counted for nothing; they are gone.
    pub swept: Vec<PathBuf>,
    /// Parts that are not whole, and have been set aside.
    pub set_aside: Vec<DamagedPart>,
}

impl Store {
    /// Opens the data folder, makes it if it is not there, sweeps what a crash left behind and sets aside parts that
    /// are gone or cut. (What is inside a part is checked when it is read.)
    ///
    /// # Errors
    /// [`StoreError::Locked`] if another service has it; or if the folder or the journal cannot be used.
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
        let mut mover = JournalMover::open(folder.join(journal::FILE_NAME))?;
        mover.change(|transaction| manifest::prepare(transaction))?;
        let reader = StoreReader::open(folder)?;
        let store = Store { reader, mover: Mutex::new(mover), disk, _lock: held };
        let recovery = store.recover()?;
        Ok((store, recovery))
    }

    /// Forgets the readings of all days before `day`, and tells how many. What was worked out from them stays in the
    /// records.
    ///
    /// # Errors
    /// If the list cannot be written; then nothing is forgotten.
    pub fn forget_before(&self, day: UtcDay) -> Result<u64, StoreError> {
        let mut mover = lock(&self.mover);
        let mut old = manifest::all(mover.connection()).map_err(list_failed)?;
        old.retain(|part| part.day < day);
        mover.change(|transaction| old.iter().try_for_each(|part| manifest::remove(transaction, part)))?;
        self.remove_files(&old);
        Ok(old.iter().map(|part| u64::try_from(part.readings).unwrap_or(0)).sum())
    }

    /// Files of parts that are off the list. One that stays for now is swept at the next start.
    pub(crate) fn remove_files(&self, parts: &[Part]) {
        for part in parts {
            let _left_for_the_sweep = self.disk.remove(&self.folder().join(part.path()));
        }
    }

    /// Puts a damaged part where a person can look at it. It stays on the list until the caller takes it off, so that a
    /// crash in between finds it again.
    pub(crate) fn put_aside(&self, unreadable: &Unreadable) -> Result<(), StoreError> {
        let (part, folder) = (&unreadable.part, self.folder().join(SET_ASIDE));
        let path = self.folder().join(part.path());
        if !path.exists() {
            return Ok(());
        }
        let name = format!("{}_{}_part-{}_{:08x}.parquet", part.machine, part.day, part.n, part.crc32);
        let moved = self.disk.make_folder(&folder).and_then(|()| self.disk.rename(&path, &folder.join(name)));
        moved.map_err(|source| StoreError::File { doing: "set aside", path, source })
    }

    fn recover(&self) -> Result<StoreRecovery, StoreError> {
        let mut mover = lock(&self.mover);
        let listed = manifest::all(mover.connection()).map_err(list_failed)?;
        let swept = self.sweep(&listed)?;
        let broken: Vec<Unreadable> = listed.iter().filter_map(|part| self.size_is_wrong(part)).collect();
        broken.iter().try_for_each(|unreadable| self.put_aside(unreadable))?;
        mover.change(|transaction| {
            broken.iter().try_for_each(|unreadable| manifest::remove(transaction, &unreadable.part))
        })?;
        let whole = || listed.iter().filter(|part| broken.iter().all(|unreadable| unreadable.part != **part));
        Ok(StoreRecovery {
            parts: whole().count() as u64,
            readings: whole().map(|part| u64::try_from(part.readings).unwrap_or(0)).sum(),
            swept,
            set_aside: broken.iter().map(|unreadable| unreadable.told(self.folder())).collect(),
        })
    }

    fn size_is_wrong(&self, part: &Part) -> Option<Unreadable> {
        let reason = match fs::metadata(self.folder().join(part.path())) {
            Ok(found) if i64::try_from(found.len()) == Ok(part.bytes) => return None,
            Ok(found) => format!("it has {} bytes and was written with {}", found.len(), part.bytes),
            Err(error) => format!("it is not there ({error})"),
        };
        Some(Unreadable { part: part.clone(), reason })
    }

    /// Removes our files that are not on the list; what somebody else put there is left alone.
    fn sweep(&self, listed: &[Part]) -> Result<Vec<PathBuf>, StoreError> {
        let listed: HashSet<PathBuf> = listed.iter().map(|part| self.folder().join(part.path())).collect();
        let mut swept = Vec::new();
        for machine in entries(&self.folder().join(READINGS))? {
            for day in entries(&machine)? {
                let files = entries(&day)?;
                swept.extend(files.into_iter().filter(|file| is_ours(file) && !listed.contains(file)));
            }
        }
        for file in &swept {
            let fail = |source| StoreError::File { doing: "remove", path: file.clone(), source };
            self.disk.remove(file).map_err(fail)?;
        }
        Ok(swept)
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

fn is_ours(file: &Path) -> bool {
    let name = file.file_name().and_then(|name| name.to_str()).unwrap_or_default();
    name.starts_with("part-") && (name.ends_with(".parquet") || name.ends_with(".unfinished"))
}

/// What is in a folder; nothing if it is no folder.
fn entries(folder: &Path) -> Result<Vec<PathBuf>, StoreError> {
    if !folder.is_dir() {
        return Ok(Vec::new());
    }
    let fail = |source| StoreError::File { doing: "list", path: folder.to_owned(), source };
    fs::read_dir(folder).map_err(fail)?.map(|entry| entry.map(|entry| entry.path()).map_err(fail)).collect()
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
    use model::Channel;

    use super::*;
    use crate::testing::{Works, alder, at, chocolate};

    #[test]
    fn opening_sweeps_what_does_not_count_and_leaves_what_is_not_ours() {
        let mut works = Works::new();
        works.append(&[chocolate(0, 30.0)]);
        works.move_all().unwrap();
        let day = works.folder.path().join("readings/machine=alder/date=2026-03-01");
        for name in ["part-7.parquet", "part-8.unfinished", "notes.txt"] {
            fs::write(day.join(name), "x").unwrap();
        }
        let Works { folder, journal, store } = works;
        drop((journal, store));
        let (store, recovery) = Store::open(folder.path()).unwrap();
        let mut swept = recovery.swept;
        swept.sort();
        assert_eq!(swept, [day.join("part-7.parquet"), day.join("part-8.unfinished")]);
        assert_eq!((recovery.parts, recovery.readings, recovery.set_aside.len()), (1, 1, 0));
        assert!(day.join("notes.txt").exists() && day.join("part-1.parquet").exists());
        drop(store);
    }

    #[test]
    fn a_part_that_is_cut_or_gone_is_told_at_the_start() {
        let mut works = Works::new();
        works.append(&[chocolate(0, 30.0), chocolate(86_400, 31.0), chocolate(2 * 86_400, 32.0)]);
        works.move_all().unwrap();
        let readings = works.folder.path().join("readings/machine=alder");
        fs::write(readings.join("date=2026-03-01/part-1.parquet"), "PAR1").unwrap();
        fs::remove_file(readings.join("date=2026-03-02/part-1.parquet")).unwrap();
        let Works { folder, journal, store } = works;
        drop((journal, store));
        let (store, recovery) = Store::open(folder.path()).unwrap();
        let reasons: Vec<&str> = recovery.set_aside.iter().map(|part| &part.reason[..15]).collect();
        assert_eq!(reasons, ["it has 4 bytes ", "it is not there"]);
        let left = store.read_series(&alder(), Channel::Chocolate, at(0), at(1_000_000)).unwrap();
        assert_eq!(left, [(at(2 * 86_400), Some(32.0))]);
    }

    #[test]
    fn a_second_service_is_turned_away_and_a_reader_is_not() {
        let works = Works::new();
        assert!(matches!(Store::open(works.folder.path()), Err(StoreError::Locked { .. })));
        StoreReader::open(works.folder.path()).unwrap();
    }

    #[test]
    fn old_days_are_forgotten_whole() {
        let mut works = Works::new();
        works.append(&[chocolate(0, 30.0), chocolate(1, 30.0), chocolate(86_400, 31.0)]);
        works.move_all().unwrap();
        assert_eq!(works.store.forget_before(UtcDay::of(at(86_400))).unwrap(), 2);
        assert_eq!(works.chocolate_seen(), [(86_400, Some(31.0))]);
        assert_eq!(works.files(), ["machine=alder/date=2026-03-02/part-1.parquet"]);
    }
}
