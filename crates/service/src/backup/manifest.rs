//! `backup.json`: what a backup holds, so that putting it back can tell whether it is still all there.

use std::fs::File;
use std::io::{self, Read, Write};
use std::path::{Component, Path, PathBuf};

use model::Timestamp;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::BackupError;

/// The file's name in the backup.
pub(super) const NAME: &str = "backup.json";

/// The form that this version writes and reads.
const SCHEMA: &str = "halfdegree.backup/1";

/// How every form of ours begins.
const ANY_SCHEMA: &str = "halfdegree.backup/";

/// Read at once: enough for a disk, little for memory.
const PIECE: usize = 256 * 1024;

/// The list of a backup's files.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct Manifest {
    pub(super) schema: String,
    /// When it was made, by the clock of the program that made it.
    pub(super) taken_at: String,
    /// The newest block of the journal that is in it.
    pub(super) up_to_block: u64,
    pub(super) files: Vec<Listed>,
    /// Parts that were damaged or gone already.
    pub(super) left_out: Vec<LeftOut>,
}

/// A file of the backup.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct Listed {
    pub(super) path: String,
    pub(super) bytes: u64,
    pub(super) sha256: String,
}

/// A part that could not be copied.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct LeftOut {
    pub(super) path: String,
    pub(super) reason: String,
}

impl Manifest {
    pub(super) fn new(taken_at: Timestamp, up_to_block: u64) -> Manifest {
        let (schema, taken_at) = (SCHEMA.to_owned(), taken_at.to_string());
        Manifest { schema, taken_at, up_to_block, files: Vec::new(), left_out: Vec::new() }
    }

    pub(super) fn read(folder: &Path) -> Result<Manifest, BackupError> {
        let path = folder.join(NAME);
        if !path.is_file() {
            let path = folder.to_owned();
            return Err(BackupError::NotThere { path, what: "backup", missing: NAME });
        }
        let text = std::fs::read_to_string(&path).map_err(BackupError::file("read", &path))?;
        let unreadable = |source| BackupError::Unreadable { path: path.clone(), source };
        let form: Form = serde_json::from_str(&text).map_err(unreadable)?;
        if form.schema != SCHEMA {
            let (found, known) = (form.schema, SCHEMA);
            return Err(if found.starts_with(ANY_SCHEMA) {
                BackupError::Newer { found, known }
            } else {
                BackupError::Foreign { path, found }
            });
        }
        serde_json::from_str(&text).map_err(unreadable)
    }

    pub(super) fn write(&self, folder: &Path) -> Result<(), BackupError> {
        let path = folder.join(NAME);
        let text = serde_json::to_string_pretty(self).expect("texts and numbers can be written as JSON");
        let write = || {
            let mut file = File::create(&path)?;
            file.write_all(text.as_bytes())?;
            file.sync_all()
        };
        write().map_err(BackupError::file("write", &path))
    }
}

/// What every form of the list has said first, and will.
#[derive(Deserialize)]
struct Form {
    schema: String,
}

impl Listed {
    /// As `path` in `folder` is now.
    pub(super) fn of(folder: &Path, path: &Path) -> io::Result<Listed> {
        Listed::passing_on(folder, path, io::sink())
    }

    /// The same, and what is in it goes to `to` in passing.
    pub(super) fn passing_on(folder: &Path, path: &Path, to: impl Write) -> io::Result<Listed> {
        let (bytes, sha256) = digest(File::open(folder.join(path))?, to)?;
        Ok(Listed { path: path.display().to_string(), bytes, sha256 })
    }

    /// Where it stands in any folder; `None` if it would lead out of it.
    pub(super) fn place(&self) -> Option<PathBuf> {
        let path = PathBuf::from(&self.path);
        let stays_inside = path.components().all(|component| matches!(component, Component::Normal(_)));
        (stays_inside && path.components().next().is_some()).then_some(path)
    }
}

/// Length and SHA-256 of what `from` gives, passed on to `to`.
pub(super) fn digest(mut from: impl Read, mut to: impl Write) -> io::Result<(u64, String)> {
    let (mut hasher, mut piece, mut length) = (Sha256::new(), vec![0; PIECE], 0);
    loop {
        let read = from.read(&mut piece)?;
        if read == 0 {
            to.flush()?;
            let digest = hasher.finalize();
            return Ok((length, digest.iter().map(|byte| format!("{byte:02x}")).collect()));
        }
        hasher.update(&piece[..read]);
        to.write_all(&piece[..read])?;
        length += read as u64;
    }
}
