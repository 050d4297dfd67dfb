//! Every call that changes files, behind one small trait, so that a test can fail any of them.
//!
//! A part is written once and published by rename: write beside its place, sync it, rename it, sync the folder. The
//! list of parts alone says what counts, so a file that was left behind by a crash does no harm and is swept.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::Path;

use crate::StoreError;

/// What the store asks of a file system.
pub trait Disk: Send + Sync {
    /// Makes a folder and those above it, and syncs the ones that hold a new name.
    fn make_folder(&self, folder: &Path) -> io::Result<()>;
    /// Writes a new file, or a file of that name anew.
    fn write(&self, path: &Path, bytes: &[u8]) -> io::Result<()>;
    /// Waits until a file's bytes are on disk.
    fn sync(&self, path: &Path) -> io::Result<()>;
    /// Gives a file its final name.
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()>;
    /// Waits until a folder's names are on disk.
    fn sync_folder(&self, folder: &Path) -> io::Result<()>;
    /// Removes a file; one that is not there is as good as removed.
    fn remove(&self, path: &Path) -> io::Result<()>;
}

/// The operating system's.
#[derive(Debug, Clone, Copy)]
pub struct SystemDisk;

impl Disk for SystemDisk {
    fn make_folder(&self, folder: &Path) -> io::Result<()> {
        if folder.is_dir() {
            return Ok(());
        }
        let Some(above) = folder.parent() else { return fs::create_dir_all(folder) };
        self.make_folder(above)?;
        fs::create_dir_all(folder)?;
        self.sync_folder(above)
    }

    fn write(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        File::create(path)?.write_all(bytes)
    }

    fn sync(&self, path: &Path) -> io::Result<()> {
        File::open(path)?.sync_all()
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        fs::rename(from, to)
    }

    fn sync_folder(&self, folder: &Path) -> io::Result<()> {
        File::open(folder)?.sync_all()
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        match fs::remove_file(path) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(()),
            other => other,
        }
    }
}

/// Puts `bytes` at `path` so that after a crash there is all of it or nothing.
pub(crate) fn publish(disk: &dyn Disk, path: &Path, bytes: &[u8]) -> Result<(), StoreError> {
    let folder = path.parent().unwrap_or(Path::new("."));
    let unfinished = path.with_extension("unfinished");
    let fail = |doing| move |source| StoreError::File { doing, path: path.to_owned(), source };
    disk.make_folder(folder).map_err(fail("make the folder of"))?;
    disk.write(&unfinished, bytes).map_err(fail("write"))?;
    disk.sync(&unfinished).map_err(fail("sync"))?;
    disk.rename(&unfinished, path).map_err(fail("name"))?;
    disk.sync_folder(folder).map_err(fail("sync the folder of"))
}
