//! What can go wrong with the records' file.

use std::path::{Path, PathBuf};

use rusqlite::ErrorCode;

/// Why the records cannot do what was asked. A failed change has changed nothing.
#[derive(Debug, thiserror::Error)]
pub enum RecordsError {
    /// No file of that name.
    #[error("there is no {}; name the data folder of a service, or a backup", path.display())]
    NotThere {
        /// The file.
        path: PathBuf,
    },
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
    #[error("{} is damaged or holds no records; put the last backup back (`halfdegree restore`), or move the file away and start without what it held", path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What SQLite says.
        source: rusqlite::Error,
    },
    /// Written by a later version. It has not been touched.
    #[error("{} has format {found}, and this version reads up to {known}; use a newer version", path.display())]
    Newer {
        /// The file, or the record in it.
        path: PathBuf,
        /// The format it has.
        found: i64,
        /// The newest format that this version knows.
        known: i64,
    },
    /// A record's JSON does not read as what it should be.
    #[error("the {what} `{id}` cannot be read")]
    Record {
        /// Batch, finding or event.
        what: &'static str,
        /// Its id.
        id: String,
        /// What the reader of JSON says.
        source: serde_json::Error,
    },
    /// A record cannot be written as JSON.
    #[error("cannot write a {what} as JSON")]
    Encode {
        /// Batch, finding or event.
        what: &'static str,
        /// What the writer of JSON says.
        source: serde_json::Error,
    },
    /// The file is older than the audit trail.
    #[error("{} holds no audit trail: no version that keeps one has written it yet", path.display())]
    NoTrail {
        /// The file.
        path: PathBuf,
    },
    /// Nobody is called so.
    #[error("there is no user `{name}`")]
    NoSuchUser {
        /// The name.
        name: String,
    },
    /// Somebody is called so already.
    #[error("there is a user `{name}` already")]
    UserExists {
        /// The name.
        name: String,
    },
    /// There is a key of that name.
    #[error("there is a key `{name}` already; call this one differently, or withdraw the other first")]
    TokenExists {
        /// The name.
        name: String,
    },
    /// There are as many keys as one person may have.
    #[error("you have {most} keys, and more are not kept; withdraw one first")]
    TooManyTokens {
        /// How many.
        most: i64,
    },
    /// No key or hash can be made.
    #[error("the operating system gives no random numbers, or there is no memory for a hash")]
    NoRandom,
    /// Anything that the operating system refuses.
    #[error("cannot {doing} {}", path.display())]
    File {
        /// What was to be done.
        doing: &'static str,
        /// With which file.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
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

impl RecordsError {
    /// Sorts SQLite's errors by what a person has to do about them.
    pub(crate) fn from_sqlite(doing: &'static str, path: &Path, source: rusqlite::Error) -> RecordsError {
        let path = path.to_owned();
        match source.sqlite_error_code() {
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => RecordsError::Locked { path },
            Some(ErrorCode::DiskFull) => RecordsError::Full { path },
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => {
                RecordsError::Damaged { path, source }
            }
            Some(_) | None => RecordsError::Sqlite { doing, path, source },
        }
    }
}

/// Why a change was given up in the middle of its transaction.
#[derive(Debug)]
pub(crate) enum ChangeError {
    /// SQLite's refusal; the file's name is known where the transaction was begun.
    Sqlite(rusqlite::Error),
    /// Told already.
    Records(RecordsError),
}

impl From<rusqlite::Error> for ChangeError {
    fn from(source: rusqlite::Error) -> ChangeError {
        ChangeError::Sqlite(source)
    }
}

impl From<RecordsError> for ChangeError {
    fn from(error: RecordsError) -> ChangeError {
        ChangeError::Records(error)
    }
}
