//! The readings of years as Parquet parts, one a machine and day, and the list of what counts.
//!
//! [`StoreReader`] answers: it reads the parts and the journal's tail as one, so that nobody sees a seam. [`Store`] also
//! moves blocks of the journal into parts, and only one process does that. The list of parts lives in the journal's
//! file, so that "this part counts" and "these blocks are gone" are one transaction.
//!
//! A part is written with the `parquet` crate, because it knows the delta encoding that makes a reading small, and read
//! with it. Readings leave as polars frames or plain columns. Events are not readings and never stand here; whoever
//! moves blocks hands them on to `records` first.
//!
//! What cannot be read is put into the folder `set-aside` with a record of the span that is missing, and the rest goes on:
//! [`StoreReader::missing_spans`] tells of it beside every answer.
//!
//! Never reads a clock. A reading is rounded to a thousandth of its unit, and that is all that is lost (see `scale`).

mod compacting;
mod day;
mod disk;
mod envelope;
mod error;
mod export;
mod forgetting;
mod frame;
mod groups;
mod manifest;
mod missing;
mod moving;
mod part;
mod reader;
mod recovery;
mod scale;
mod snapshot;
mod store;
mod table;
#[cfg(test)]
mod testing;

pub use crate::compacting::Compacted;
pub use crate::day::UtcDay;
pub use crate::disk::{Disk, SystemDisk};
pub use crate::envelope::{Bucket, Point};
pub use crate::error::{DamagedPart, MissingSpan, StoreError};
pub use crate::export::{ExportFormat, parquet_of};
pub use crate::frame::{QUALITY, TIME};
pub use crate::moving::Moved;
pub use crate::reader::{Coverage, PartFile, Series, StoreReader};
pub use crate::recovery::StoreRecovery;
pub use crate::store::Store;

/// The folder of parts inside the data folder.
pub const READINGS: &str = "readings";

/// Where damaged parts go, for a person to look at.
const SET_ASIDE: &str = "set-aside";
