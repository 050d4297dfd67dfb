//! How often a channel that holds between messages is told: every so many minutes, or only when it changes.

use model::{Span, Timestamp};
use serde::{Deserialize, Serialize};

use crate::bounded::remember;

/// The newest so many are remembered.
const KEPT: usize = 6;
/// What is told less often is told when it changes ...
const MOST_APART: Span = Span::from_mins(15);
/// ... and what is told more often says near enough when it does.
const LEAST_APART: Span = Span::from_secs(90);

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Regular {
    told: Vec<Timestamp>,
    /// The newest that came sooner than their turn.
    sooner: Vec<Timestamp>,
}

impl Regular {
    /// It was told in the tick that begins at `tick`.
    pub(crate) fn note(&mut self, tick: Timestamp) {
        let Some(apart) = self.told.last().map(|last| tick - *last) else {
            return self.told.push(tick);
        };
        if apart == Span::ZERO {
            return;
        }
        if apart * 5 < self.every() * 4 {
            remember(&mut self.sooner, tick, KEPT);
        }
        remember(&mut self.told, tick, KEPT);
    }

    /// How long before it was told in the tick that begins at `tick` it may have changed: not at all where it was told out of turn.
    pub(crate) fn unsaid_before(&self, tick: Timestamp) -> Span {
        if self.sooner.contains(&tick) { Span::ZERO } else { self.every() }
    }

    /// How far apart it is told as a rule; nothing where it is told only when it changes, so often that it does not matter, or that is not clear yet.
    fn every(&self) -> Span {
        let mut apart: Vec<Span> = self.told.windows(2).map(|pair| pair[1] - pair[0]).collect();
        apart.sort();
        let usual = apart.get(apart.len() / 2).copied().filter(|_| self.told.len() == KEPT);
        usual.filter(|usual| LEAST_APART <= *usual && *usual <= MOST_APART).unwrap_or(Span::ZERO)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn every(minutes: &[i64]) -> Span {
        let mut regular = Regular::default();
        minutes.iter().for_each(|minute| regular.note(Timestamp::from_millis(minute * 60_000)));
        regular.every()
    }

    #[test]
    fn what_is_told_every_few_minutes_is_told_by_the_clock() {
        assert_eq!(every(&[0, 5, 10, 15, 20, 25, 30]), Span::from_mins(5));
        assert_eq!(every(&[0, 5, 10, 40, 45, 50, 55]), Span::from_mins(5), "with a pause");
        assert_eq!(every(&[0, 5, 10]), Span::ZERO, "not clear yet");
    }

    #[test]
    fn what_is_told_out_of_turn_was_told_when_it_changed() {
        let minute = |minute: i64| Timestamp::from_millis(minute * 60_000);
        let mut regular = Regular::default();
        [0, 5, 10, 15, 20, 25, 27, 30].into_iter().for_each(|told| regular.note(minute(told)));
        assert_eq!(regular.unsaid_before(minute(27)), Span::ZERO);
        assert_eq!(regular.unsaid_before(minute(25)), Span::from_mins(5));
    }

    #[test]
    fn what_is_told_when_it_changes_says_when() {
        assert_eq!(every(&[0, 600, 660, 663, 1_200, 1_440]), Span::ZERO);
        assert_eq!(every(&[1, 2, 3, 4, 5, 6]), Span::ZERO, "or by the minute");
    }
}
