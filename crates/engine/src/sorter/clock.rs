//! The clock by which a machine's chocolate is measured: what it shows, whether it is right, and whether it is believed where it is not.

use model::{Span, Timestamp};
use serde::{Deserialize, Serialize};

use super::AHEAD;
use crate::bounded::remember;
use crate::findings::clock_off::{RUNNING, STEADY_WITHIN};

/// A clock that is steadily wrong, as `clock-off` has it, is believed once it has not gone as before for so long (start value): a logger that starts
/// shows any time for half a minute.
const WRONG_FOR: Span = Span::from_mins(5);
/// No clock that was ever set is off by more; no logger brings readings that are older.
const A_YEAR: Span = Span::from_hours(366 * 24);

/// The clock by which the chocolate is measured.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Clock {
    /// Its newest time that is believed, and when that arrived.
    pub(super) shows: Option<(Timestamp, Timestamp)>,
    /// The newest messages: the newest time in each, and when it arrived.
    messages: Vec<(Timestamp, Timestamp)>,
    /// The newest arrival at which it was right, or as far off as what it shows was; or the first at all.
    usual_at: Option<Timestamp>,
}

impl Clock {
    /// A reading of the chocolate came. Those that come together are one message, and the same one again says nothing.
    pub(super) fn note(&mut self, at: Timestamp, arrived: Timestamp) {
        match self.messages.last_mut() {
            Some((last, _)) if *last == at => return,
            Some((last, came)) if *came == arrived => *last = at.max(*last),
            Some(_) | None => {
                let _forgotten = remember(&mut self.messages, (at, arrived), RUNNING);
            }
        }
        let is_usual = self.is_usual(at, arrived);
        if is_usual || self.usual_at.is_none() {
            self.usual_at = Some(arrived);
        }
        let is_believed = is_usual
            || at - arrived <= AHEAD
            || self.is_live() && self.is_unusual_for_long(arrived) && !is_of_no_clock(at - arrived);
        if is_believed && self.shows.is_none_or(|(newest, _)| newest < at) {
            self.shows = Some((at, arrived));
        }
    }

    /// Can it be so late?
    pub(super) fn believes(&self, at: Timestamp) -> bool {
        self.shows.is_some_and(|(newest, _)| at <= newest)
    }

    /// Does it go as before?
    pub(super) fn is_steadily_usual(&self, at: Timestamp, arrived: Timestamp) -> bool {
        self.is_live() && self.is_usual(at, arrived)
    }

    /// Does it show an earlier time than it did: less wrong, or so for long?
    pub(super) fn is_set_back(&self, at: Timestamp, arrived: Timestamp) -> bool {
        let is_less_wrong = self.off().is_some_and(|off| abs(at - arrived) < abs(off));
        self.is_live() && (is_less_wrong || self.is_unusual_for_long(arrived))
    }

    /// How far what it shows was from its arrival.
    fn off(&self) -> Option<Span> {
        self.shows.map(|(newest, came)| newest - came)
    }

    fn is_usual(&self, at: Timestamp, arrived: Timestamp) -> bool {
        let as_far_off = self.off().is_some_and(|off| abs(at - arrived - off) <= AHEAD);
        as_far_off || abs(at - arrived) <= AHEAD
    }

    fn is_unusual_for_long(&self, arrived: Timestamp) -> bool {
        self.usual_at.is_some_and(|usual_at| arrived - usual_at >= WRONG_FOR)
    }

    /// Are the newest messages all as far off, and not of a heap that was kept and comes at once?
    fn is_live(&self) -> bool {
        let offsets = || self.messages.iter().map(|(at, arrived)| *at - *arrived);
        let (Some(low), Some(high)) = (offsets().min(), offsets().max()) else { return false };
        let ((first, came_first), (last, came_last)) =
            (self.messages[0], self.messages[self.messages.len() - 1]);
        let as_quick = abs(last - first) <= (came_last - came_first) * 2;
        self.messages.len() == RUNNING && high - low <= STEADY_WITHIN && as_quick
    }

    /// What it shows when something arrives at `arrived`.
    pub(super) fn at(&self, arrived: Timestamp) -> Option<Timestamp> {
        self.shows.map(|(newest, came)| newest + (arrived - came).max(Span::ZERO))
    }
}

fn abs(span: Span) -> Span {
    span.max(-span)
}

/// Is a time so far off that it comes from a clock that nobody has set?
pub(crate) fn is_of_no_clock(off: Span) -> bool {
    off < -A_YEAR || A_YEAR < off
}
