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
}

impl Regular {
    /// It was told in the tick that begins at `tick`.
    pub(crate) fn note(&mut self, tick: Timestamp) {
        if self.told.last() != Some(&tick) {
            remember(&mut self.told, tick, KEPT);
        }
    }

    /// How far apart it is told as a rule; nothing where it is told only when it changes, so often that it does not matter, or that is not clear yet.
    pub(crate) fn every(&self) -> Span {
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
    fn what_is_told_when_it_changes_says_when() {
        assert_eq!(every(&[0, 600, 660, 663, 1_200, 1_440]), Span::ZERO);
        assert_eq!(every(&[1, 2, 3, 4, 5, 6]), Span::ZERO, "or by the minute");
    }
}
