//! Why a service cannot start or go on.

use std::io;
use std::path::PathBuf;

/// What went wrong, and in which part.
#[derive(Debug, thiserror::Error)]
pub enum ServiceError {
    /// The data folder cannot be made.
    #[error("cannot make the data folder {}", path.display())]
    Folder {
        /// Which.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// The plant file cannot be kept beside what is recorded by it.
    #[error("cannot write {}", path.display())]
    PlantFile {
        /// Which.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// The journal.
    #[error(transparent)]
    Journal(#[from] journal::JournalError),
    /// The readings.
    #[error(transparent)]
    Store(#[from] store::StoreError),
    /// Batches, findings, events.
    #[error(transparent)]
    Records(#[from] records::RecordsError),
    /// The broker.
    #[error(transparent)]
    Intake(#[from] intake::IntakeError),
    /// The pages.
    #[error(transparent)]
    Web(#[from] web::WebError),
    /// The watch cannot save its state.
    #[error("cannot save the state of the watch")]
    State(#[from] engine::StateError),
    /// Late readings cannot be put in order.
    #[error(transparent)]
    Frames(#[from] frames::FrameError),
    /// A part has broken in a way that it should not have.
    #[error("{part} has stopped unexpectedly")]
    Stopped {
        /// Which.
        part: &'static str,
    },
    /// Nobody can be told of alarms.
    #[error(transparent)]
    Reach(#[from] reach::ReachError),
}
