//! How far a figure lies from what is usual on its machine.
//!
//! ```text
//! z = (value − median) / max(1.4826·MAD, least spread)        stands out from |z| = 3.5 on (Iglewicz & Hoaglin 1993)
//! ```
//! The spread is never smaller than the figure's least one, so that quiet weeks do not make small things look large.

use maths::statistics::{mad, median};

use super::{DayRecord, Figure};
use crate::FEWEST_BATCHES;

/// The usual cut for robust scores (Iglewicz & Hoaglin 1993, from memory).
pub(crate) const STANDS_OUT: f64 = 3.5;

/// A figure against the machine's own past.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deviation {
    /// Which figure.
    pub figure: Figure,
    /// In this batch.
    pub value: f64,
    /// Median of the earlier batches that are worth comparing with.
    pub usual: f64,
    /// The spread that it was divided by.
    pub spread: f64,
    /// How many batches the usual value comes from.
    pub batches: usize,
    /// The robust score.
    pub z: f64,
}

/// To which side.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// Above the usual.
    High,
    /// Below it.
    Low,
}

impl Deviation {
    /// Of one figure of `record` against `past`; `None` where it, or what is usual, cannot be told.
    pub fn of(figure: Figure, record: &DayRecord, past: &[&DayRecord]) -> Option<Deviation> {
        let value = figure.of(record)?;
        let earlier: Vec<f64> = past.iter().filter_map(|earlier| figure.of(earlier)).collect();
        if earlier.len() < FEWEST_BATCHES {
            return None;
        }
        let (usual, scatter) = (median(&earlier)?, mad(&earlier)?);
        let least = figure.least();
        let spread = scatter.max(least.absolute).max(least.relative * usual.abs());
        let z = (value - usual) / spread;
        z.is_finite().then_some(Deviation { figure, value, usual, spread, batches: earlier.len(), z })
    }

    /// Does it stand out, and to which side?
    pub fn way(&self) -> Option<Way> {
        match self.z {
            z if STANDS_OUT <= z => Some(Way::High),
            z if z <= -STANDS_OUT => Some(Way::Low),
            _ => None,
        }
    }

    /// Value over usual.
    pub fn ratio(&self) -> Option<f64> {
        (0.0 < self.usual.abs()).then(|| self.value / self.usual)
    }
}
