//! On-delay and deadband: a finding is raised when a condition has lasted, and is over when its opposite has.

use model::{Span, Timestamp};
use serde::{Deserialize, Serialize};

use super::{Report, Verdict};

/// A condition is over when it has been clear for this long.
const OFF_DELAY: Span = Span::from_secs(60);

/// Watches one condition.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Watch {
    since: Option<Timestamp>,
    open: bool,
    clear_since: Option<Timestamp>,
}

/// What a condition is at a moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Condition {
    /// It holds.
    Bad,
    /// Between the limit and the deadband: neither begins nor ends anything.
    Between,
    /// It does not hold, by more than the deadband.
    Clear,
}

/// What the watch makes of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Edge {
    None,
    /// It has lasted; it began then.
    Raise {
        from: Timestamp,
    },
    /// It is over since then.
    Over {
        at: Timestamp,
    },
}

impl Edge {
    /// What a detector says of it; `report` is asked only if something began.
    pub(crate) fn told(self, report: impl FnOnce(Timestamp) -> Report) -> Verdict {
        match self {
            Edge::None => Verdict::Quiet,
            Edge::Over { at } => Verdict::Over(at),
            Edge::Raise { from } => report(from).raise(),
        }
    }
}

impl Condition {
    /// Bad above `limit`, clear below it by more than `deadband`.
    pub(crate) fn above(value: f64, limit: f64, deadband: f64) -> Condition {
        if value > limit {
            Condition::Bad
        } else if value < limit - deadband {
            Condition::Clear
        } else {
            Condition::Between
        }
    }

    /// Bad below `limit`, clear above it by more than `deadband`.
    pub(crate) fn below(value: f64, limit: f64, deadband: f64) -> Condition {
        Condition::above(-value, -limit, deadband)
    }
}

impl Watch {
    /// Takes the condition of a tick that was measured at `at` and known at `known`. Over a gap nothing is known, so a
    /// condition that had not lasted long enough before it starts anew behind it.
    pub(crate) fn step(
        &mut self,
        at: Timestamp,
        known: Timestamp,
        condition: Condition,
        gap: bool,
        on_delay: Span,
    ) -> Edge {
        if gap && !self.open {
            self.since = None;
        }
        match (condition, self.open) {
            (Condition::Bad, false) => {
                let from = *self.since.get_or_insert(at);
                if known - from < on_delay {
                    return Edge::None;
                }
                self.open = true;
                self.clear_since = None;
                Edge::Raise { from }
            }
            (Condition::Between | Condition::Clear, false) => {
                self.since = None;
                Edge::None
            }
            (Condition::Bad | Condition::Between, true) => {
                self.clear_since = None;
                Edge::None
            }
            (Condition::Clear, true) => {
                let clear = *self.clear_since.get_or_insert(at);
                if known - clear < OFF_DELAY {
                    return Edge::None;
                }
                *self = Watch::default();
                Edge::Over { at: clear }
            }
        }
    }

    pub(crate) fn is_open(&self) -> bool {
        self.open
    }

    /// Ends what is open, for a reason other than the condition itself.
    pub(crate) fn stop(&mut self, at: Timestamp) -> Edge {
        let was_open = self.open;
        *self = Watch::default();
        if was_open { Edge::Over { at } } else { Edge::None }
    }
}
