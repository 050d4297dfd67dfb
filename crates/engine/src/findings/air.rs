//! What `hot-room` and `damp-room` share: a quantity of the air that stands above its limit for ten minutes (contract, section 6; the
//! limits are common practice, no source).
//!
//! Judged by the mean of three minutes: such sensors are noisy, and a door stands open for less. While its own channel pauses, the room is
//! unknown: what is open stays open, what was beginning begins anew.

use model::{Channel, Span, Timestamp};
use serde::{Deserialize, Serialize};

use super::around::{Around, Pace};
use super::watch::{Condition, Edge, Watch};

const FOR: Span = Span::from_mins(10);
const LEVEL_WINDOW: Span = Span::from_mins(3);
/// A mean of three minutes passes a limit about so much later than the room does: half of its window on a slow rise, less on a quick one.
const SEEN_LATE: Span = Span::from_mins(1);

/// Which quantity, and from where on it is too much.
pub(super) struct Limit {
    pub(super) channel: Channel,
    pub(super) most: f64,
    pub(super) deadband: f64,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Air {
    watch: Watch,
    pace: Pace,
    known_since: Option<Timestamp>,
    /// No value above the limit has been seen since then; not saved, so that after a restart it is looked for anew.
    #[serde(skip)]
    below_since: Option<Timestamp>,
}

impl Air {
    /// What became of it, with the level that it was judged by.
    pub(super) fn step(&mut self, a: &Around<'_>, limit: &Limit) -> (Edge, f64) {
        let nothing = (Edge::None, 0.0);
        let Some(value) = a.tick.other(limit.channel) else { return nothing };
        let gap = self.pace.gap(a.at);
        if gap {
            self.known_since = None;
        }
        let known_since = *self.known_since.get_or_insert(a.at);
        let known_for = a.known - known_since;
        if self.stays_below(a, value, limit) {
            return (self.watch.step(a.at, a.known, Condition::Clear, gap, FOR), value);
        }
        let Some(level) = a.mean_of(limit.channel, LEVEL_WINDOW.min(known_for)) else { return nothing };
        let condition = Condition::above(level, limit.most, limit.deadband);
        let passed = (a.at - SEEN_LATE).max(known_since);
        (self.watch.step(passed, a.known, condition, gap, FOR), level)
    }

    /// Nothing is open, and without a value above the limit no mean can be.
    fn stays_below(&mut self, a: &Around<'_>, value: f64, limit: &Limit) -> bool {
        if value > limit.most {
            self.below_since = None;
            return false;
        }
        let since = *self.below_since.get_or_insert(a.at);
        !self.watch.is_open() && a.known - since >= LEVEL_WINDOW
    }
}
