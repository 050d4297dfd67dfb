//! The data folder: one place that knows what stands where in it.
//!
//! ```text
//! DIR/journal.db      readings and events as they came, and the list of parts
//! DIR/plant.toml      the plant file as the service last read it, so that a review knows limits and names
//! DIR/records.db      batches, findings, events, the watch's saved state
//! DIR/readings/       the parts, one a machine and UTC day
//! DIR/set-aside/      parts that cannot be read, for a person to look at
//! ```

use std::fs::{self, File};
use std::io::Write;
use std::path::{Path, PathBuf};

use journal::{Journal, JournalError, JournalReader, Recovery};
use records::Records;
use store::{Store, StoreReader};
use tracing::warn;

use crate::ServiceError;

/// The plant file's name in the data folder and in a backup of it.
pub(crate) const PLANT_FILE: &str = "plant.toml";
/// Where it is written before it gets its name.
const PLANT_FILE_UNFINISHED: &str = "plant.toml.unfinished";

/// Where a service keeps everything.
#[derive(Debug, Clone)]
pub struct DataFolder {
    pub(crate) path: PathBuf,
}

impl DataFolder {
    /// The folder itself.
    pub fn path(&self) -> &Path {
        &self.path
    }

    pub(crate) fn journal_path(&self) -> PathBuf {
        self.path.join(journal::FILE_NAME)
    }

    /// Where the records lie.
    pub fn records_path(&self) -> PathBuf {
        self.path.join(records::FILE_NAME)
    }

    /// Told in the journal's own words.
    pub(crate) fn open_journal_reader_alone(&self) -> Result<JournalReader, JournalError> {
        JournalReader::open(self.journal_path())
    }

    pub(crate) fn open_journal(&self) -> Result<(Journal, Recovery), ServiceError> {
        fs::create_dir_all(&self.path)
            .map_err(|source| ServiceError::Folder { path: self.path.clone(), source })?;
        Ok(Journal::open(self.journal_path())?)
    }

    pub(crate) fn open_journal_reader(&self) -> Result<JournalReader, ServiceError> {
        Ok(self.open_journal_reader_alone()?)
    }

    /// The plant file as the service last read it.
    pub fn plant_file(&self) -> PathBuf {
        self.path.join(PLANT_FILE)
    }

    /// Keeps the plant file beside what is recorded by it; for the one service that has the folder. Whoever reads it
    /// meanwhile, or after a crash, finds the old one or the new one.
    pub(crate) fn keep_plant_file(&self, text: &str) -> Result<(), ServiceError> {
        let (path, beside) = (self.plant_file(), self.path.join(PLANT_FILE_UNFINISHED));
        let write = || {
            let mut file = File::create(&beside)?;
            file.write_all(text.as_bytes())?;
            file.sync_all()?;
            fs::rename(&beside, &path)?;
            File::open(&self.path)?.sync_all()
        };
        write().map_err(|source| ServiceError::PlantFile { path: path.clone(), source })
    }

    /// Opens the records; a service may be running on the folder.
    ///
    /// # Errors
    /// When they cannot be opened.
    pub fn open_records(&self) -> Result<Records, ServiceError> {
        Ok(Records::open(self.records_path())?)
    }

    /// Opens the records, and makes the folder if it is not there: users are added before the first start.
    ///
    /// # Errors
    /// When they cannot be opened.
    pub fn open_or_make_records(&self) -> Result<Records, ServiceError> {
        fs::create_dir_all(&self.path)
            .map_err(|source| ServiceError::Folder { path: self.path.clone(), source })?;
        self.open_records()
    }

    /// Is there anybody who may sign in?
    ///
    /// # Errors
    /// When the records cannot be read.
    pub fn has_users(&self) -> Result<bool, ServiceError> {
        if !self.records_path().exists() {
            return Ok(false);
        }
        Ok(self.open_records()?.users()?.iter().any(|user| user.is_enabled))
    }

    /// Opens the readings for the one service that has the folder.
    pub(crate) fn open_store(&self) -> Result<Store, ServiceError> {
        let (store, recovery) = Store::open(&self.path)?;
        for damaged in &recovery.set_aside {
            warn!(%damaged, "a part is damaged and has been set aside");
        }
        for path in &recovery.adopted {
            warn!(path = %path.display(), "a part had been lost from the list and counts again");
        }
        Ok(store)
    }

    /// Opens the readings to be read, moved ones and those still in the journal; a service may be running on the folder.
    ///
    /// # Errors
    /// When there is no journal in the folder, or it cannot be read.
    pub fn open_readings(&self) -> Result<StoreReader, ServiceError> {
        Ok(StoreReader::open(&self.path)?)
    }
}
