//! Wires the parts together and owns their start and their end.
//!
//! ```text
//! broker ─▶ intake ─▶ journal ─▶ ack ─▶ broker
//!                        │
//!                        ├─▶ watch (engine) ─▶ board ─▶ web
//!                        │        └─▶ records ────────▲
//!                        └─▶ mover ─▶ store ──────────┘
//! ```
//!
//! **Invariant:** a block leaves the journal only when the watch's saved state contains it. A restart takes up the state and works through
//! the blocks behind it, so that it says what it would have said without a restart.

mod backup;
mod config;
mod correct;
mod desk;
mod displays;
mod doctor;
mod error;
mod folder;
mod health;
mod import;
mod metrics;
mod mover;
mod past;
mod progress;
mod rework;
mod rooms;
mod serve;
mod sink;
mod watch;

pub use crate::backup::{BackedUp, BackupError, Restored, backup, restore};
pub use crate::config::{Broker, Keep, ServiceConfig};
pub use crate::doctor::{Check, Verdict, check_folder};
pub use crate::error::ServiceError;
pub use crate::folder::DataFolder;
pub use crate::import::{Imported, PastAdded, import};
pub use crate::past::fill;
pub use crate::serve::serve;
pub use journal::FILE_NAME as JOURNAL_FILE;
