//! Looking ahead along a sender that keeps to its interval.

use model::{Span, Timestamp};

use super::Silent;
use super::habit::{BUNDLED, LATE, REMEMBERED, SHORTEST, UNSTEADY, USUAL_INTERVALS};

/// Looks ahead along a sender's arrivals, as long as they change nothing but when the last one was: the sender stays steady and its limit
/// [`SHORTEST`].
///
/// That is so while all intervals but three of any [`REMEMBERED`] lie between [`Steady::low`] and [`Steady::high`]: then the median lies there,
/// and those by which it is judged whether a sender is steady.
#[derive(Debug)]
pub(crate) struct Steady {
    last: Timestamp,
    low: Span,
    high: Span,
    /// From here on two alike may be signs of life.
    pause: Span,
    seen: usize,
    /// Which intervals lay outside, the newest last.
    outside: [Option<usize>; OUTLIERS],
}

/// So many of [`REMEMBERED`] lie above nine in ten.
const OUTLIERS: usize = 3;

impl Steady {
    /// `None` if the sender is not steady yet, or reports too seldom.
    pub(super) fn ahead_of(silent: &Silent) -> Option<Steady> {
        let habit = &silent.habit;
        let (last, usual) = (habit.last?, habit.usual?);
        let learned = habit.intervals.len() == REMEMBERED && habit.came == habit.intervals;
        let (low, high) = (usual * 3 / 4, usual * 7 / 5);
        let calm = habit.last == habit.last_news && !silent.open && !habit.is_unsteady && !habit.is_pausing();
        if !learned || !calm || high * USUAL_INTERVALS > SHORTEST || low < BUNDLED {
            return None;
        }
        let pause = (usual * UNSTEADY).max(usual + LATE);
        let mut steady = Steady { last, low, high, pause, seen: 0, outside: [None; OUTLIERS] };
        habit.intervals.iter().all(|interval| steady.is_usual(*interval)).then_some(steady)
    }

    /// Before this moment the next reading has to come.
    #[inline]
    pub(crate) fn due(&self) -> Timestamp {
        self.last + SHORTEST
    }

    /// The limit that stays.
    pub(crate) fn limit(&self) -> Span {
        SHORTEST
    }

    /// Is the next arrival, before [`Steady::due`], as steady as all before it?
    #[inline]
    pub(crate) fn goes_on(&mut self, at: Timestamp) -> bool {
        let interval = at - self.last;
        self.last = at;
        self.is_usual(interval)
    }

    #[inline]
    fn is_usual(&mut self, interval: Span) -> bool {
        self.seen += 1;
        if self.low <= interval && interval <= self.high {
            return true;
        }
        let oldest = self.outside[0];
        self.outside.rotate_left(1);
        self.outside[OUTLIERS - 1] = Some(self.seen);
        (BUNDLED..self.pause).contains(&interval)
            && oldest.is_none_or(|oldest| oldest + REMEMBERED <= self.seen)
    }
}
