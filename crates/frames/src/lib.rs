//! Readings made tidy: in the order of their own times, one value a moment, on a regular grid.
//!
//! [`ReadingHeap`] is the polars side: a heap of readings as they came (late, doubled, out of order) becomes sorted columns.
//! [`Ticker`] is the loop side: sorted readings become ticks, one at a time, so that the live watch and the offline
//! analysis see the very same ticks.
//!
//! [`Rows`] are readings that lie still, a row a moment, to be worked through by the column.
//!
//! [`PackedTicks`] are ticks of long ago in a sixth of the room.
//!
//! Knows nothing of phases or findings and never reads a clock.

mod packed;
mod rows;
mod tick;
mod tidy;

pub use crate::packed::PackedTicks;
pub use crate::rows::{ABSENT, Rows};
pub use crate::tick::{OpenTick, Tick, Ticker};
pub use crate::tidy::{FrameError, ReadingHeap, TidyReadings, tidy_frame};
