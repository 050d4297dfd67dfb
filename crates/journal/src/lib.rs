//! Durable blocks of arrivals: what stands here is on disk, and only then may the broker hear of it.
//!
//! A block is one row in an SQLite file of its own (write-ahead log, `synchronous=FULL`). A trusted store was chosen over
//! a log format of our own: it recovers by itself after a crash, and lets `store` keep its list of parts in the same
//! file, so that moving a block into a part is one transaction. [`Journal`] appends and is held by one service alone;
//! [`JournalReader`] reads beside it, from any thread; [`JournalMover`] takes blocks out when `store` has them in a part.
//!
//! Beside the blocks stand messages that cannot be read before another has come ([`Held`]).
//!
//! Only this crate makes a [`Durable`]. A block that does not read back is told and set aside, and the rest goes on.
//!
//! Never reads a clock, never drops what it was given: a full disk or a locked file is an error, and the caller waits.

mod block;
mod codec;
mod copy;
mod durable;
mod error;
mod held;
mod journal;
mod mover;
mod reader;
mod schema;

pub use crate::block::{Block, BlockSeq, Blocks, UnreadableBlock};
pub use crate::durable::Durable;
pub use crate::error::JournalError;
pub use crate::held::{Held, HeldChange};
pub use crate::journal::{Journal, Recovery};
pub use crate::mover::JournalMover;
pub use crate::reader::{JournalReader, Snapshot};

/// The name of the journal's file in the data folder.
pub const FILE_NAME: &str = "journal.db";
