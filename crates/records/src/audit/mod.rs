//! The audit trail: what people changed, in the order in which it was written down, and never changed itself.
//!
//! ```text
//! audit  number | at | who | way | deed | subject_kind | subject | about | old | new | sha256
//! ```
//! `old` and `new` are JSON, null where there is none; `about` is the moment that the entry speaks of, where that is
//! another than the moment at which it was made. `sha256` is taken over the digest of the entry before (64 zeros before
//! the first) and the entry as a JSON array of these columns, so that nothing can be changed, taken out or put in
//! between without every later digest being wrong ([`chain`]). The table refuses changes by itself, too.
//!
//! An entry is made in the transaction of the change that it tells of: one is never there without the other. An event
//! goes into the journal first and becomes a record later; then its entry is made ([`asked`] says who asked for it).
//!
//! What a chain cannot show is that its end was cut off, or that all of it was made anew. Against the first SQLite's own
//! count of numbers is kept; against both it helps to write a number and its digest down elsewhere and to ask for it later.

pub(crate) mod asked;
mod chain;
mod deed;
mod entry;
mod list;
mod verify;

pub use crate::audit::deed::Deed;
pub use crate::audit::entry::{Actor, By, Entry, Subject, Way};
pub use crate::audit::list::EntryQuery;
pub use crate::audit::verify::{Fault, Known, Verdict};

pub(crate) use crate::audit::chain::{TABLES, append};
pub(crate) use crate::audit::entry::Draft;
