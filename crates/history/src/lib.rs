//! What many batches say together: how a course usually runs, what is usual in figures, what was different today, and
//! how a week went.
//!
//! "Usual" is the machine's own past with the same couverture, never another machine's and never a standard: kettles
//! differ, and dark, milk and white must not be pooled. Medians and quantiles rather than means, because one bad day
//! must not move them. With fewer than [`FEWEST_BATCHES`] nothing is called usual.
//!
//! - [`is_good`]: which batches are worth being compared with.
//! - [`reference_band`]: median and 10–90 % envelope of their courses, aligned at the start of cooling.
//! - [`usual_measures`]: medians of their figures.
//! - [`concerned`]: what a failed temper test puts in question; [`doubts`]: what a wrong probe does.
//! - [`lots`]: what was in a machine and where a lot went; [`milk`]: milk where none should be.
//! - [`day`]: what was different today, and what may be behind it.
//! - [`week`]: the review of a week.
//!
//! polars does the grouping and the quantiles; its frames stay inside. Never reads a file or a clock: the
//! caller brings the batches and their readings. Only [`gather`] reads records and store, for pages and program alike.

mod band;
mod concerned;
pub mod day;
mod doubt;
mod error;
pub mod gather;
mod good;
pub mod lots;
pub mod milk;
mod stands;
mod usual;
pub mod week;

pub use crate::band::{BandPoint, Course, ReferenceBand, reference_band};
pub use crate::concerned::{Concerned, concerned};
pub use crate::doubt::{Doubt, doubts};
pub use crate::error::HistoryError;
pub use crate::good::{is_good, ran_as_usual};
pub use crate::usual::{Usual, usual_measures};

/// Fewer batches than this say nothing about what is usual: with two, every value is as usual as the other.
pub const FEWEST_BATCHES: usize = 3;
