//! For the tests of this crate: a data folder with a journal and a store, and a disk that fails when told to.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use journal::{BlockSeq, Journal};
use model::{Arrival, Channel, Content, Event, EventKind, MachineId, Reading, Timestamp};
use tempfile::TempDir;

use crate::{Disk, Moved, Store, StoreError, SystemDisk};

/// 2026-03-01T00:00:00Z.
pub(crate) const MIDNIGHT: i64 = 1_772_323_200_000;

pub(crate) fn alder() -> MachineId {
    "alder".parse().unwrap()
}

pub(crate) fn at(seconds: i64) -> Timestamp {
    Timestamp::from_millis(MIDNIGHT + 1000 * seconds)
}

pub(crate) fn reading(machine: &MachineId, channel: Channel, at: Timestamp, value: Option<f64>) -> Arrival {
    let reading = Reading { machine: machine.clone(), channel, at, value };
    Arrival { arrived: at, retained: false, content: Content::Reading(reading) }
}

pub(crate) fn chocolate(seconds: i64, value: f64) -> Arrival {
    reading(&alder(), Channel::Chocolate, at(seconds), Some(value))
}

pub(crate) fn note(seconds: i64) -> Arrival {
    let kind = EventKind::Note { text: format!("at {seconds}") };
    let event = Event { machine: alder(), at: at(seconds), by: None, kind, raw: String::new() };
    Arrival { arrived: at(seconds), retained: false, content: Content::Event(event) }
}

/// A data folder in use.
pub(crate) struct Works {
    pub(crate) folder: TempDir,
    pub(crate) journal: Journal,
    pub(crate) store: Store,
}

impl Works {
    pub(crate) fn new() -> Works {
        Works::on(tempfile::tempdir().unwrap(), Box::new(SystemDisk)).unwrap()
    }

    pub(crate) fn on(folder: TempDir, disk: Box<dyn Disk>) -> Result<Works, StoreError> {
        let (journal, _) = Journal::open(folder.path().join(journal::FILE_NAME))?;
        let (store, _) = Store::open_on(folder.path(), disk)?;
        Ok(Works { folder, journal, store })
    }

    pub(crate) fn append(&mut self, arrivals: &[Arrival]) -> BlockSeq {
        self.journal.append(arrivals).unwrap().into_inner()
    }

    pub(crate) fn move_all(&self) -> Result<Moved, StoreError> {
        self.store.move_blocks(self.journal.newest(), |_| Ok(()))
    }

    /// As after a stop and a new start.
    pub(crate) fn reopened(self) -> Works {
        let Works { folder, journal, store } = self;
        drop((journal, store));
        Works::on(folder, Box::new(SystemDisk)).unwrap()
    }

    /// Seconds since midnight and values.
    pub(crate) fn chocolate_seen(&self) -> Vec<(i64, Option<f64>)> {
        let series =
            self.store.read_series(&alder(), Channel::Chocolate, at(-1_000_000), at(1_000_000)).unwrap();
        series.into_iter().map(|(at, value)| ((at.as_millis() - MIDNIGHT) / 1000, value)).collect()
    }

    /// The parts' files, within the folder of readings.
    pub(crate) fn files(&self) -> Vec<String> {
        fn walk(folder: &Path, found: &mut Vec<PathBuf>) {
            for entry in std::fs::read_dir(folder).unwrap() {
                let path = entry.unwrap().path();
                if path.is_dir() { walk(&path, found) } else { found.push(path) }
            }
        }
        let (root, mut found) = (self.folder.path().join(crate::READINGS), Vec::new());
        walk(&root, &mut found);
        let mut names: Vec<String> =
            found.iter().map(|path| path.strip_prefix(&root).unwrap().display().to_string()).collect();
        names.sort();
        names
    }
}

/// 2026-03-01 in two parts, the second over the first, and a whole day behind it. So many readings that the first part
/// is not taken in by what comes later.
pub(crate) fn in_pieces() -> Works {
    let mut works = Works::new();
    let many: Vec<Arrival> = (0..crate::moving::CHEAP_ROWS + 10)
        .map(|n| {
            let at = Timestamp::from_millis(MIDNIGHT + 400 * n);
            reading(&alder(), Channel::Chocolate, at, Some(30.0 + (n % 7) as f64))
        })
        .collect();
    works.append(&many);
    works.append(&[chocolate(90_000, 32.0)]);
    works.move_all().unwrap();
    works.append(&[chocolate(4, 50.0), chocolate(5, 51.0)]);
    works.move_all().unwrap();
    works
}

/// A disk that works until its calls are used up, and then refuses everything.
#[derive(Clone)]
pub(crate) struct FailingDisk {
    pub(crate) calls_left: Arc<AtomicUsize>,
}

impl FailingDisk {
    pub(crate) fn after(calls: usize) -> FailingDisk {
        FailingDisk { calls_left: Arc::new(AtomicUsize::new(calls)) }
    }

    fn count(&self) -> io::Result<()> {
        let one_less = |left: usize| left.checked_sub(1);
        let counted = self.calls_left.fetch_update(Ordering::SeqCst, Ordering::SeqCst, one_less);
        counted.map(drop).map_err(|_| io::Error::other("the disk has failed"))
    }
}

impl Disk for FailingDisk {
    fn make_folder(&self, folder: &Path) -> io::Result<()> {
        self.count()?;
        SystemDisk.make_folder(folder)
    }

    /// Half of the bytes are there when writing fails.
    fn write(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        match self.count() {
            Ok(()) => SystemDisk.write(path, bytes),
            Err(error) => {
                SystemDisk.write(path, &bytes[..bytes.len() / 2])?;
                Err(error)
            }
        }
    }

    fn sync(&self, path: &Path) -> io::Result<()> {
        self.count()?;
        SystemDisk.sync(path)
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.count()?;
        SystemDisk.rename(from, to)
    }

    fn sync_folder(&self, folder: &Path) -> io::Result<()> {
        self.count()?;
        SystemDisk.sync_folder(folder)
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        self.count()?;
        SystemDisk.remove(path)
    }
}
