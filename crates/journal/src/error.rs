//! What can go wrong with the journal's file, told so that a person knows what to do.

use std::io;
use std::path::{Path, PathBuf};

use rusqlite::ErrorCode;

/// Why the journal cannot do what was asked. Nothing that was durable before is lost by any of these.
#[derive(Debug, thiserror::Error)]
pub enum JournalError {
    /// Somebody else holds the file.
    #[error("{} is locked; is another service running on it?", path.display())]
    Locked {
        /// The file.
        path: PathBuf,
    },
    /// No room on the disk. Trying again later is right.
    #[error("the disk that holds {} is full; make room and it goes on by itself", path.display())]
    Full {
        /// The file.
        path: PathBuf,
    },
    /// The file as a whole cannot be used.
    #[error("{} is damaged or not a journal; put the last backup back (`halfdegree restore`), or move the file away and start without what it held", path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What SQLite says.
        source: rusqlite::Error,
    },
    /// Written by a later version. It has not been touched.
    #[error("{} has format {found}, and this version reads up to {known}; use a newer version", path.display())]
    Newer {
        /// The file.
        path: PathBuf,
        /// The format it has.
        found: i64,
        /// The newest format that this version knows.
        known: i64,
    },
    /// The arrivals cannot be written down.
    #[error("cannot encode a block")]
    Encode(#[source] postcard::Error),
    /// Anything else that the operating system refuses.
    #[error("cannot {doing} {}", path.display())]
    File {
        /// What was to be done.
        doing: &'static str,
        /// With which file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// Anything else that SQLite refuses.
    #[error("cannot {doing} {}", path.display())]
    Sqlite {
        /// What was to be done.
        doing: &'static str,
        /// With which file.
        path: PathBuf,
        /// What SQLite says.
        source: rusqlite::Error,
    },
}

impl JournalError {
    /// Sorts SQLite's errors by what a person has to do about them.
    pub fn from_sqlite(doing: &'static str, path: &Path, source: rusqlite::Error) -> JournalError {
        let path = path.to_owned();
        match source.sqlite_error_code() {
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => JournalError::Locked { path },
            Some(ErrorCode::DiskFull) => JournalError::Full { path },
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => {
                JournalError::Damaged { path, source }
            }
            Some(_) | None => JournalError::Sqlite { doing, path, source },
        }
    }
}
