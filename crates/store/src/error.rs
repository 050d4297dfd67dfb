//! What can go wrong with the store, told so that a person knows what to do.

use std::io;
use std::path::PathBuf;

use journal::JournalError;
use model::{Channel, MachineId, Timestamp};
use parquet::errors::ParquetError;
use polars::error::PolarsError;

/// Why the store cannot do what was asked. No reading is lost by any of these: what is not in a part is in the journal.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// Another process moves blocks of this folder.
    #[error("{} is locked; is another service running on it?", path.display())]
    Locked {
        /// The lock's file.
        path: PathBuf,
    },
    /// The parts are being rewritten faster than they can be read.
    #[error("the parts of {} were replaced again and again while they were read; try again", folder.display())]
    Busy {
        /// The data folder.
        folder: PathBuf,
    },
    /// Written by a later version. It has not been touched.
    #[error("{} has format {found}, and this version reads up to {known}; use a newer version", path.display())]
    Newer {
        /// The part, or the file that holds the list of parts.
        path: PathBuf,
        /// The format it has.
        found: i64,
        /// The newest format that this version knows.
        known: i64,
    },
    /// The operating system refuses something.
    #[error("cannot {doing} {}", path.display())]
    File {
        /// What was to be done.
        doing: &'static str,
        /// With what.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// The journal's file, which holds the list of parts too.
    #[error(transparent)]
    Journal(#[from] JournalError),
    /// Readings cannot be written as Parquet.
    #[error("cannot write readings as parquet")]
    Encode(#[source] ParquetError),
    /// A column operation failed.
    #[error("cannot work on columns of readings")]
    Columns(#[from] PolarsError),
    /// An export's receiver does not take it.
    #[error("cannot write the export")]
    Export(#[source] io::Error),
    /// Whoever receives the events of moved blocks could not keep them; nothing has been moved.
    #[error("the events of the blocks could not be handed over")]
    HandOver(#[source] Box<dyn std::error::Error + Send + Sync>),
}

/// A part that cannot be read. It no longer counts; what it held is missing from every answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DamagedPart {
    /// Where it was.
    pub path: PathBuf,
    /// How many readings it held.
    pub readings: u64,
    /// What is wrong with it, in words.
    pub reason: String,
}

/// Readings that were stored and cannot be read any more, because their part is damaged or gone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MissingSpan {
    /// Whose.
    pub machine: MachineId,
    /// Of which channels; none where that is not known either.
    pub channels: Vec<Channel>,
    /// The first moment of the part.
    pub from: Timestamp,
    /// Its last moment.
    pub to: Timestamp,
    /// How many readings it held; 0 where that is not known.
    pub readings: u64,
    /// Where the file is now, if it is anywhere.
    pub path: Option<PathBuf>,
    /// What is wrong with it, in words.
    pub reason: String,
}

impl std::fmt::Display for MissingSpan {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let MissingSpan { machine, from, to, readings, reason, .. } = self;
        write!(f, "readings of {machine} from {from} to {to} are missing ({readings} of them): {reason}")?;
        match &self.path {
            Some(path) => write!(f, "; the file stands at {}", path.display()),
            None => Ok(()),
        }
    }
}

impl std::fmt::Display for DamagedPart {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} with {} readings: {}", self.path.display(), self.readings, self.reason)
    }
}
