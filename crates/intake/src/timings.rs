//! How long things take, counted in buckets, so that a page and a monitoring program can see the slow ones and not only
//! a mean.
//!
//! Adding is a few atomic additions and never waits. The bounds fit what is measured: a sync takes one to some tens of
//! milliseconds, and publish to durable should stay below 30.

use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

/// Upper ends of the buckets, in microseconds; a last one holds everything beyond.
const BOUNDS_US: [u64; 12] =
    [1_000, 2_500, 5_000, 10_000, 20_000, 30_000, 50_000, 100_000, 250_000, 1_000_000, 5_000_000, 30_000_000];

/// A running count.
#[derive(Debug, Default)]
pub(crate) struct Timings {
    buckets: [AtomicU64; BOUNDS_US.len() + 1],
    sum_us: AtomicU64,
}

/// The counts at one moment.
#[derive(Debug, Clone, PartialEq)]
pub struct Spread {
    /// Upper end of each bucket in seconds, and how many fell into it alone; the last end is infinite.
    pub buckets: Vec<(f64, u64)>,
    /// All of them together, in seconds.
    pub sum_s: f64,
}

impl Timings {
    pub(crate) fn add(&self, took: Duration) {
        let us = u64::try_from(took.as_micros()).unwrap_or(u64::MAX);
        let place = BOUNDS_US.partition_point(|bound| *bound < us);
        self.buckets[place].fetch_add(1, Ordering::Relaxed);
        self.sum_us.fetch_add(us, Ordering::Relaxed);
    }

    pub(crate) fn spread(&self) -> Spread {
        let ends = BOUNDS_US.iter().map(|us| *us as f64 / 1e6).chain([f64::INFINITY]);
        let counts = self.buckets.iter().map(|count| count.load(Ordering::Relaxed));
        Spread {
            buckets: ends.zip(counts).collect(),
            sum_s: self.sum_us.load(Ordering::Relaxed) as f64 / 1e6,
        }
    }
}

impl Spread {
    /// How many were counted.
    pub fn count(&self) -> u64 {
        self.buckets.iter().map(|(_, count)| count).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_time_falls_into_one_bucket() {
        let timings = Timings::default();
        for us in [0, 1_000, 1_001, 29_000, 3_600_000_000] {
            timings.add(Duration::from_micros(us));
        }
        let spread = timings.spread();
        let filled: Vec<(f64, u64)> =
            spread.buckets.iter().copied().filter(|(_, count)| *count > 0).collect();
        assert_eq!(filled, [(0.001, 2), (0.0025, 1), (0.03, 1), (f64::INFINITY, 1)]);
        assert_eq!((spread.count(), spread.sum_s), (5, 3_600.031_001));
    }
}
