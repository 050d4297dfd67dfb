//! The relational side: batches, findings, events and the engine's saved state, in one SQLite file.
//!
//! A row holds the columns that are asked for, and the whole record as JSON with a format version. One [`Update`] is one
//! transaction: what the engine found and the state that it found it in go together, so that after a crash the engine
//! goes on from exactly what is written here. Everything is written under its own id, so that doing it twice is the same
//! as doing it once.
//!
//! Lists are newest first and bounded, and go on behind a [`Mark`], never by counting rows. Readers have connections of
//! their own and do not hold up the writer.
//!
//! What people change is also in the audit trail (`audit`), in the same transaction; who they are is in `people`.
//!
//! Never reads a clock, and never forgets: a batch or finding is replaced by its newer form, not removed. Only what was
//! answered to the key of a request goes after a day.

mod alarms;
mod audit;
mod copy;
mod correction;
mod digest;
mod error;
mod gap;
mod kept;
mod lists;
mod once;
mod order;
mod people;
mod query;
mod records;
mod review;
mod row;
mod schema;
mod told;
mod update;

pub use crate::audit::{Actor, By, Deed, Entry, EntryQuery, Fault, Known, Subject, Verdict, Way};
pub use crate::correction::Due;
pub use crate::error::RecordsError;
pub use crate::gap::Gap;
pub use crate::kept::StoredPhoto;
pub use crate::once::{KeptAnswer, Once, digest_of};
pub use crate::people::{
    Attempt, Key, LONGEST_KEY_NAME, NotAName, Password, Pin, Role, Session, TakeOver, Throttle, Token,
    TooWeak, UnknownRole, User, UserName,
};
pub use crate::query::{BatchQuery, EventQuery, FindingQuery, Life, Mark};
pub use crate::records::Records;
pub use crate::review::{Action, SignOff};
pub use crate::told::Told;
pub use crate::update::{SavedState, StatePiece, Update};

/// The name of the records' file in the data folder.
pub const FILE_NAME: &str = "records.db";
