//! Records as JSON, and back.
//!
//! The JSON is our own file's and carries the format that it was written in; what leaves the program has shapes of its
//! own. When a record changes its shape, `FORMAT` grows and `read` learns to bring the older form up to date.

use std::path::Path;

use serde::Serialize;
use serde::de::DeserializeOwned;

use crate::RecordsError;

/// The shape in which records are written.
pub(crate) const FORMAT: i64 = 1;

/// A record as it lies in its row.
pub(crate) struct Stored {
    pub(crate) id: String,
    pub(crate) format: i64,
    pub(crate) json: String,
}

pub(crate) fn write(what: &'static str, record: &impl Serialize) -> Result<String, RecordsError> {
    serde_json::to_string(record).map_err(|source| RecordsError::Encode { what, source })
}

pub(crate) fn read<T: DeserializeOwned>(
    path: &Path,
    what: &'static str,
    stored: Stored,
) -> Result<T, RecordsError> {
    let Stored { id, format, json } = stored;
    if FORMAT < format {
        return Err(RecordsError::Newer { path: path.join(id), found: format, known: FORMAT });
    }
    serde_json::from_str(&json).map_err(|source| RecordsError::Record { what, id, source })
}
