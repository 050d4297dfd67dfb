//! How far the parts of the service have come, told by each and read by health and metrics.
//!
//! Numbers only, each written by one part and read by many, so that looking never holds anybody up.

use std::sync::atomic::{AtomicI64, AtomicU64, Ordering};

use model::Timestamp;

/// No arrival has been seen yet.
const NEVER: i64 = i64::MIN;

/// How far everybody is.
#[derive(Debug)]
pub(crate) struct Progress {
    /// The newest block that the watch has worked through.
    seen: AtomicU64,
    /// The newest arrival in it.
    seen_arrival_ms: AtomicI64,
    /// The newest block that has been moved into a part.
    moved: AtomicU64,
    duplicates: AtomicU64,
}

impl Default for Progress {
    fn default() -> Progress {
        Progress {
            seen: AtomicU64::new(0),
            seen_arrival_ms: AtomicI64::new(NEVER),
            moved: AtomicU64::new(0),
            duplicates: AtomicU64::new(0),
        }
    }
}

impl Progress {
    pub(crate) fn note_seen(&self, block: u64, arrival: Option<Timestamp>) {
        self.seen.store(block, Ordering::Relaxed);
        if let Some(arrival) = arrival {
            self.seen_arrival_ms.store(arrival.as_millis(), Ordering::Relaxed);
        }
    }

    pub(crate) fn note_moved(&self, block: u64, duplicates: u64) {
        self.moved.fetch_max(block, Ordering::Relaxed);
        self.duplicates.fetch_add(duplicates, Ordering::Relaxed);
    }

    pub(crate) fn duplicates(&self) -> u64 {
        self.duplicates.load(Ordering::Relaxed)
    }

    /// Blocks that wait to be moved, if `newest` is the newest on disk.
    pub(crate) fn backlog(&self, newest: u64) -> u64 {
        self.newest(newest).saturating_sub(self.moved.load(Ordering::Relaxed))
    }

    /// How far the watch is behind, in milliseconds: nothing if it has seen `newest`, the newest block on disk; else the age of
    /// the newest arrival that it has seen.
    pub(crate) fn lag_ms(&self, newest: u64, now: Timestamp) -> u64 {
        let seen = self.seen_arrival_ms.load(Ordering::Relaxed);
        if newest <= self.seen.load(Ordering::Relaxed) || seen == NEVER {
            return 0;
        }
        u64::try_from((now - Timestamp::from_millis(seen)).as_millis()).unwrap_or(0)
    }

    /// Before the first block of this run the watch knows better than the intake.
    fn newest(&self, newest: u64) -> u64 {
        newest.max(self.seen.load(Ordering::Relaxed))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn who_has_seen_everything_is_not_behind_however_long_ago_it_was() {
        let progress = Progress::default();
        let at = Timestamp::from_millis;
        assert_eq!(progress.lag_ms(5, at(9_000)), 0, "nothing is known yet");
        progress.note_seen(7, Some(at(1_000)));
        assert_eq!(progress.lag_ms(7, at(99_000)), 0);
        assert_eq!(progress.lag_ms(8, at(1_400)), 400);
    }

    #[test]
    fn the_backlog_is_what_has_not_been_moved() {
        let progress = Progress::default();
        progress.note_seen(40, None);
        assert_eq!(progress.backlog(0), 40, "no block has come since the start");
        progress.note_moved(30, 2);
        progress.note_moved(0, 1);
        assert_eq!((progress.backlog(45), progress.duplicates()), (15, 3));
    }
}
