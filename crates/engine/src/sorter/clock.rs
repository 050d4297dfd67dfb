//! The clock by which a machine's chocolate is measured: what it shows, whether it is right, and whether it is believed where it is not.

use model::{Span, Timestamp};
use serde::{Deserialize, Serialize};

use super::AHEAD;
use crate::bounded::remember;

/// So many messages in a row ...
pub(super) const STEADY_MESSAGES: usize = 5;
/// ... whose offset lies within this make a clock that is steadily wrong ...
const STEADY_WITHIN: Span = Span::from_secs(10);
/// ... once it has not been right for so long (start value): a logger that starts shows any time for half a minute.
const WRONG_FOR: Span = Span::from_mins(5);
/// No clock that was ever set is off by more; no logger brings readings that are older.
const A_YEAR: Span = Span::from_hours(366 * 24);

/// The clock by which the chocolate is measured.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Clock {
    /// Its newest time that is believed, and when that arrived.
    pub(super) shows: Option<(Timestamp, Timestamp)>,
    /// How far the newest times were from their arrival, and the newest of them.
    offsets: Vec<Span>,
    last: Option<Timestamp>,
    /// The newest arrival at which it was right, or the first at all.
    right_at: Option<Timestamp>,
}

impl Clock {
    /// A message of the chocolate; the same one again says nothing.
    pub(super) fn note(&mut self, at: Timestamp, arrived: Timestamp) {
        if self.last.replace(at) == Some(at) {
            return;
        }
        remember(&mut self.offsets, at - arrived, STEADY_MESSAGES);
        if is_right(at, arrived) || self.right_at.is_none() {
            self.right_at = Some(arrived);
        }
        let is_believed = at - arrived <= AHEAD || self.is_wrong_for_long(at, arrived);
        if is_believed && self.shows.is_none_or(|(newest, _)| newest < at) {
            self.shows = Some((at, arrived));
        }
    }

    /// Can it be so late?
    pub(super) fn believes(&self, at: Timestamp) -> bool {
        self.shows.is_some_and(|(newest, _)| at <= newest)
    }

    pub(super) fn is_steadily_right(&self, at: Timestamp, arrived: Timestamp) -> bool {
        self.is_steady() && is_right(at, arrived)
    }

    fn is_wrong_for_long(&self, at: Timestamp, arrived: Timestamp) -> bool {
        let has_been_set = self.right_at.is_none_or(|right_at| arrived - right_at >= WRONG_FOR);
        self.is_steady() && has_been_set && !is_of_no_clock(at - arrived)
    }

    fn is_steady(&self) -> bool {
        let (low, high) = (self.offsets.iter().min(), self.offsets.iter().max());
        self.offsets.len() == STEADY_MESSAGES
            && matches!((low, high), (Some(&low), Some(&high)) if high - low <= STEADY_WITHIN)
    }

    /// What it shows when something arrives at `arrived`.
    pub(super) fn at(&self, arrived: Timestamp) -> Option<Timestamp> {
        self.shows.map(|(newest, came)| newest + (arrived - came).max(Span::ZERO))
    }
}

/// Is a time so far off that it comes from a clock that nobody has set?
pub(crate) fn is_of_no_clock(off: Span) -> bool {
    off < -A_YEAR || A_YEAR < off
}

fn is_right(at: Timestamp, arrived: Timestamp) -> bool {
    -AHEAD <= at - arrived && at - arrived <= AHEAD
}
