//! Makes a backup.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use journal::JournalReader;
use model::Timestamp;
use records::Records;
use store::{PartFile, StoreReader};

use super::manifest::{LeftOut, Listed, Manifest};
use super::{BackupError, beside, make_folders, publish, sync_folder};
use crate::DataFolder;
use crate::folder::PLANT_FILE;

/// How often a copy is begun anew because blocks were moved meanwhile. They move every two minutes; a copy takes seconds.
const TRIES: usize = 8;

/// What a backup holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BackedUp {
    /// The newest block of the journal in it: everything that was durable by then is there.
    pub up_to_block: u64,
    /// Files.
    pub files: usize,
    /// Their bytes, those that are only linked too.
    pub bytes: u64,
    /// Parts that were damaged or gone already, each with the reason.
    pub left_out: Vec<String>,
}

/// What one try came to.
enum Try {
    Done(Manifest),
    /// Blocks were moved between the two copies.
    Moved,
    /// A listed part was not there: replaced meanwhile, or lost.
    Gone(PathBuf),
}

/// Copies `data` as it is at one moment into the new folder `out`. A service may be running on it.
///
/// # Errors
/// If `out` is there, `data` is no data folder, or there is no room. Nothing is left at `out` then.
pub fn backup(data: &DataFolder, out: &Path, now: Timestamp) -> Result<BackedUp, BackupError> {
    if out.exists() {
        return Err(BackupError::Exists { path: out.to_owned() });
    }
    if !data.journal_path().is_file() {
        let (path, missing) = (data.path().to_owned(), journal::FILE_NAME);
        return Err(BackupError::NotThere { path, what: "data folder", missing });
    }
    let unfinished = beside(out);
    let made = make(data, &unfinished, now);
    let manifest = match made {
        Ok(manifest) => manifest,
        Err(error) => {
            // What is left of a try that failed is of no use to anybody; the reason is worth more than a second one.
            let _ = fs::remove_dir_all(&unfinished);
            return Err(error);
        }
    };
    publish(&unfinished, out)?;
    Ok(BackedUp {
        up_to_block: manifest.up_to_block,
        files: manifest.files.len(),
        bytes: manifest.files.iter().map(|file| file.bytes).sum(),
        left_out: manifest.left_out.iter().map(|part| format!("{}: {}", part.path, part.reason)).collect(),
    })
}

fn make(data: &DataFolder, unfinished: &Path, now: Timestamp) -> Result<Manifest, BackupError> {
    let mut lost = None;
    for _ in 0..TRIES {
        if unfinished.exists() {
            fs::remove_dir_all(unfinished).map_err(BackupError::file("remove", unfinished))?;
        }
        make_folders(unfinished).map_err(BackupError::file("make", unfinished))?;
        match try_once(data, unfinished, now, lost.as_deref())? {
            Try::Done(manifest) => return Ok(manifest),
            Try::Moved => {}
            Try::Gone(path) => lost = Some(path),
        }
    }
    Err(BackupError::Busy { path: data.path().to_owned() })
}

/// `lost` was not there at the last try; if it is still listed and still not there, it is no longer waited for.
fn try_once(data: &DataFolder, to: &Path, now: Timestamp, lost: Option<&Path>) -> Result<Try, BackupError> {
    let (journal, records) = (to.join(journal::FILE_NAME), to.join(records::FILE_NAME));
    let mut state = None;
    if data.records_path().is_file() {
        Records::copy(data.records_path(), &records)?;
        state = Records::saved_block(&records)?;
    }
    data.open_journal_reader_alone()?.copy_to(&journal)?;
    let copy = JournalReader::open(&journal)?;
    if state.unwrap_or(0) < copy.moved_up_to()?.get() {
        return Ok(Try::Moved);
    }
    let mut manifest = Manifest::new(now, copy.newest()?.get());
    for file in [journal, records].iter().filter(|file| file.is_file()) {
        let name = Path::new(file.file_name().unwrap_or_default());
        manifest.files.push(Listed::of(to, name).map_err(BackupError::file("read", file))?);
    }
    if data.plant_file().is_file() {
        let copied = fs::copy(data.plant_file(), to.join(PLANT_FILE))
            .and_then(|_| File::open(to.join(PLANT_FILE))?.sync_all())
            .and_then(|()| Listed::of(to, Path::new(PLANT_FILE)));
        manifest.files.push(copied.map_err(BackupError::file("copy", data.plant_file()))?);
    }
    for part in StoreReader::open(to)?.part_files()? {
        match copy_part(data.path(), to, &part) {
            Ok(Ok(listed)) => manifest.files.push(listed),
            Ok(Err(reason)) => manifest.left_out.push(left_out(&part, reason)),
            Err(error) if error.kind() == io::ErrorKind::NotFound && lost != Some(part.path.as_path()) => {
                return Ok(Try::Gone(part.path));
            }
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                manifest.left_out.push(left_out(&part, "it is not there".to_owned()));
            }
            Err(source) => return Err(BackupError::file("copy", data.path().join(&part.path))(source)),
        }
    }
    manifest.write(to)?;
    Ok(Try::Done(manifest))
}

fn left_out(part: &PartFile, reason: String) -> LeftOut {
    LeftOut { path: part.path.display().to_string(), reason }
}

/// Links the part into the backup, or copies it where a link cannot be. A damaged one is left out, and the reason told.
fn copy_part(data: &Path, to: &Path, part: &PartFile) -> io::Result<Result<Listed, String>> {
    let (from, place) = (data.join(&part.path), to.join(&part.path));
    let folder = place.parent().unwrap_or(to);
    make_folders(folder)?;
    if let Err(error) = fs::hard_link(&from, &place) {
        if error.kind() == io::ErrorKind::NotFound {
            return Err(error);
        }
        fs::copy(&from, &place)?;
        File::open(&place)?.sync_all()?;
    }
    sync_folder(folder)?;
    let mut crc32 = Crc32::default();
    let listed = Listed::passing_on(to, &part.path, &mut crc32)?;
    if listed.bytes == part.bytes && crc32.0.finalize() == part.crc32 {
        return Ok(Ok(listed));
    }
    fs::remove_file(&place)?;
    Ok(Err("it is damaged".to_owned()))
}

/// The checksum of what is written to it.
#[derive(Default)]
struct Crc32(crc32fast::Hasher);

impl Write for Crc32 {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.update(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}
