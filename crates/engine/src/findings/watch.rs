//! On-delay and deadband: a finding is raised when a condition has lasted, and is over when its opposite has.

use model::{Span, Timestamp};
use serde::{Deserialize, Serialize};

use super::{Report, Verdict};

/// A condition is over when it has been clear for this long.
const OFF_DELAY: Span = Span::from_secs(60);
/// A condition that has to last for so long may be interrupted by single readings that do not get beyond the deadband: a probe that is read twice a
/// minute and flickers by a tenth would otherwise begin anew again and again.
const LONG: Span = Span::from_mins(2);
/// The delay of a condition whose cause is not clear yet.
pub(crate) const NOT_YET: Span = Span::from_hours(24);

/// Watches one condition.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Watch {
    since: Option<Timestamp>,
    /// The last tick interrupted what has lasted since then.
    interrupted: bool,
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
                self.interrupted = false;
                if known - from < on_delay {
                    return Edge::None;
                }
                self.open = true;
                self.clear_since = None;
                Edge::Raise { from }
            }
            (Condition::Between, false) if !self.interrupted && LONG <= on_delay => {
                self.interrupted = true;
                Edge::None
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

#[cfg(test)]
mod tests {
    use super::*;

    /// What a watch says of conditions that come twice a minute, with the half minute at which it does.
    fn said(conditions: &str, on_delay: Span) -> Vec<(usize, Edge)> {
        let mut watch = Watch::default();
        let step = |(n, sign): (usize, char)| {
            let condition = match sign {
                'b' => Condition::Bad,
                '-' => Condition::Between,
                _ => Condition::Clear,
            };
            let at = Timestamp::from_millis(30_000 * n as i64);
            Some((n, watch.step(at, at, condition, false, on_delay))).filter(|(_, edge)| *edge != Edge::None)
        };
        conditions.chars().enumerate().filter_map(step).collect()
    }

    #[test]
    fn single_readings_within_the_deadband_do_not_interrupt_a_long_condition() {
        let raised = [(10, Edge::Raise { from: Timestamp::from_millis(0) })];
        let five_minutes = Span::from_mins(5);
        assert_eq!(said("bbb-bbb-bbb", five_minutes), raised);
        assert_eq!(said("bbbbbbbbbb-", five_minutes), [], "it is not told while it is interrupted");
        assert_eq!(said("bbb--bbbbbb", five_minutes), [], "two in a row are its end");
        assert_eq!(said("bbbcbbbbbbb", five_minutes), [], "and one beyond the deadband");
    }

    #[test]
    fn a_short_condition_is_interrupted_by_any_reading() {
        assert_eq!(said("b-b", Span::from_secs(60)), []);
        assert_eq!(said("bbb", Span::from_secs(60)), [(2, Edge::Raise { from: Timestamp::from_millis(0) })]);
    }
}
