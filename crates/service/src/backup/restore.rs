//! Puts a backup back, once every file of it is known to be as it was.

use std::fs::{self, File};
use std::path::Path;

use model::Timestamp;
use records::{Gap, Records};

use super::manifest::{Listed, Manifest, digest};
use super::{BackupError, beside, make_folders, publish, sync_folder};
use crate::DataFolder;

/// What was put back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Restored {
    /// When the backup was made.
    pub taken_at: String,
    /// Files.
    pub files: usize,
    /// Parts that were damaged when the backup was made, each with the reason: what they held is missing.
    pub left_out: Vec<String>,
}

/// Puts the backup `from` into the data folder `data`, which must not be there or be empty. What came between the backup
/// and `now` went to the old folder, and the broker does not send it again; so that time is written down as a possible gap.
///
/// # Errors
/// If a file is not as it was made, or there is no room. The data folder is as it was then.
pub fn restore(from: &Path, data: &DataFolder, now: Timestamp) -> Result<Restored, BackupError> {
    let manifest = Manifest::read(from)?;
    // An empty folder stays until the finished one takes its place.
    if data.path().exists() && !(data.path().is_dir() && is_empty(data.path())?) {
        return Err(BackupError::Exists { path: data.path().to_owned() });
    }
    let unfinished = beside(data.path());
    if unfinished.exists() {
        fs::remove_dir_all(&unfinished).map_err(BackupError::file("remove", &unfinished))?;
    }
    let made = copy_all(from, &unfinished, &manifest).and_then(|()| note_gap(&unfinished, &manifest, now));
    if let Err(error) = made {
        // As with a backup: a part of a folder is of no use to anybody.
        let _ = fs::remove_dir_all(&unfinished);
        return Err(error);
    }
    publish(&unfinished, data.path())?;
    Ok(Restored {
        taken_at: manifest.taken_at,
        files: manifest.files.len(),
        left_out: manifest.left_out.iter().map(|part| format!("{}: {}", part.path, part.reason)).collect(),
    })
}

fn is_empty(folder: &Path) -> Result<bool, BackupError> {
    let mut entries = fs::read_dir(folder).map_err(BackupError::file("list", folder))?;
    Ok(entries.next().is_none())
}

/// Copies every file and tells all that are not as they were.
fn copy_all(from: &Path, to: &Path, manifest: &Manifest) -> Result<(), BackupError> {
    make_folders(to).map_err(BackupError::file("make", to))?;
    let mut faults = Vec::new();
    for listed in &manifest.files {
        if let Some(fault) = copy_one(from, to, listed)? {
            faults.push(format!("{} {fault}", listed.path));
        }
    }
    if faults.is_empty() { Ok(()) } else { Err(BackupError::Changed { faults }) }
}

/// Copies a file; says what is wrong with it, if anything.
fn copy_one(from: &Path, to: &Path, listed: &Listed) -> Result<Option<String>, BackupError> {
    let Some(place) = listed.place() else { return Ok(Some("leads out of the folder".to_owned())) };
    let (source, target) = (from.join(&place), to.join(&place));
    let file = match File::open(&source) {
        Ok(file) => file,
        Err(error) => return Ok(Some(format!("cannot be opened ({error})"))),
    };
    let folder = target.parent().unwrap_or(to);
    let copy = || {
        make_folders(folder)?;
        let new = File::create(&target)?;
        let found = digest(file, &new)?;
        new.sync_all()?;
        sync_folder(folder)?;
        Ok(found)
    };
    let (bytes, sha256) = copy().map_err(BackupError::file("copy", &source))?;
    Ok(match (bytes == listed.bytes, sha256 == listed.sha256) {
        (true, true) => None,
        (false, _) => Some(format!("has {bytes} bytes and had {}", listed.bytes)),
        (true, false) => Some("has another checksum".to_owned()),
    })
}

fn note_gap(folder: &Path, manifest: &Manifest, now: Timestamp) -> Result<(), BackupError> {
    let Ok(from) = manifest.taken_at.parse::<Timestamp>() else { return Ok(()) };
    let reason = "a backup was put back; what came after it was made is not in it".to_owned();
    let records = Records::open(folder.join(records::FILE_NAME))?;
    Ok(records.note_gaps(&[Gap { from, to: now, reason }])?)
}
