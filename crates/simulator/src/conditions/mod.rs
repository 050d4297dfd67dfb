//! What was the matter, whatever caused it: the contract's definitions (section 6) laid over what was true.
//!
//! Definitions only, without deadband: from the first moment past a limit to the last, for stretches that last or weigh as
//! much as the contract asks, with the moment at which the definition was met. Temperatures are those of an instant, quiet
//! probe of the recorded one's calibration; the instruments' own trouble is read off the arrivals themselves
//! ([`crate::instrument_conditions`]).
//!
//! A definition met, or missed, by less than 15 % of its limit, or by less than the probe can tell, is
//! [`Weight::Borderline`]: nobody should be judged by it.

mod plant_wide;
mod readings;
mod temperature;

use model::{FindingKind, Timestamp};

pub use plant_wide::plant_conditions;
pub use readings::instrument_conditions;
pub(crate) use temperature::temperature;

/// How much a condition says about a watch that found it, or did not.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Weight {
    /// A watch should find it.
    Sure,
    /// Too near to the limit, or not to be known from what was sent: neither a miss nor a false finding.
    Borderline,
}

/// A stretch in which something was past a limit.
#[derive(Debug, Clone, PartialEq)]
pub struct Condition {
    /// Which limit.
    pub kind: FindingKind,
    /// First moment past it.
    pub from: Timestamp,
    /// First moment back.
    pub to: Timestamp,
    /// When the definition was met.
    pub due: Timestamp,
    /// How far past it at most, in the unit of the definition; for `temper-loss` the area above it, °C·min.
    pub worst: f64,
    /// What it may be used for.
    pub weight: Weight,
}

impl Condition {
    pub(crate) fn overlaps(&self, other: &Condition) -> bool {
        self.kind == other.kind && self.from < other.to && other.from < self.to
    }
}

/// Limits as they are, or moved by a margin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Ease {
    /// Multiplies whatever a definition asks for.
    pub(crate) factor: f64,
    /// Adds to temperatures, °C.
    pub(crate) celsius: f64,
    /// Adds to lengths, seconds.
    pub(crate) seconds: f64,
}

/// What a definition is met or missed by may be this share of it and still say nothing.
const MARGIN: f64 = 0.15;

impl Ease {
    /// The contract's limits.
    pub(crate) const NONE: Ease = Ease { factor: 1.0, celsius: 0.0, seconds: 0.0 };

    /// The same limits, easier (−1) or harder (1) to meet, for a probe with steps of `resolution_c` that is read every
    /// `sample_s`.
    pub(crate) fn by(sign: f64, resolution_c: f64, sample_s: f64) -> Ease {
        Ease {
            factor: 1.0 + sign * MARGIN,
            celsius: sign * (0.5 * resolution_c + 0.02),
            seconds: sign * 1.5 * sample_s,
        }
    }

    /// A distance of `limit` °C.
    pub(crate) fn away(self, limit: f64) -> f64 {
        limit * self.factor + self.celsius
    }

    /// A length of `seconds`.
    pub(crate) fn long(self, seconds: i64) -> f64 {
        (seconds as f64 * self.factor + self.seconds).max(0.0)
    }
}

/// The conditions of the plain limits, weighed by whether they also hold for harder ones; then the near misses: those
/// that hold for easier limits only.
pub(crate) fn weighed(
    at: impl Fn(Ease) -> Vec<Condition>,
    resolution_c: f64,
    sample_s: f64,
) -> (Vec<Condition>, Vec<Condition>) {
    let (mut plain, hard) = (at(Ease::NONE), at(Ease::by(1.0, resolution_c, sample_s)));
    let mut near = at(Ease::by(-1.0, resolution_c, sample_s));
    for condition in &mut plain {
        if !hard.iter().any(|h| h.overlaps(condition)) {
            condition.weight = Weight::Borderline;
        }
    }
    near.retain(|n| !plain.iter().any(|p| p.overlaps(n)));
    near.iter_mut().for_each(|n| n.weight = Weight::Borderline);
    (plain, near)
}
