//! `spikes`, low: three or more lone jumps of over 2 °C in 10 min (at most two readings or 5 s, back to within 1 °C); they never trigger a
//! temperature finding (contract, section 6).
//!
//! A contactor or a bad joint, not the chocolate (common practice, no source). The [`SpikeFilter`] holds a reading that jumps
//! until the next ones show whether it was alone; what was alone is doubted and goes no further, all else goes on in its order.

use std::collections::VecDeque;

use model::{Channel, FindingKind, Priority, Span, Timestamp};
use serde::{Deserialize, Serialize};

use super::{Report, Verdict, number};

const JUMP: f64 = 2.0;
const BACK: f64 = 1.0;
const LONGEST: Span = Span::from_secs(5);
const MOST_READINGS: usize = 2;
const WITHIN: Span = Span::from_mins(10);
/// A logger that speaks by the minute is some milliseconds early or late; the tenth minute counts all the same.
const JITTER: Span = Span::from_secs(1);
const MANY: usize = 3;

/// A reading on its way to the ticks.
pub(crate) type Passing = (Timestamp, Channel, f64);

/// Holds back what may be a lone jump, and everything behind it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct SpikeFilter {
    good: Option<(Timestamp, f64)>,
    held: Vec<Passing>,
}

impl SpikeFilter {
    /// Takes a reading and adds to `passed` what may go on; says when a lone jump was seen. A step over more than `longest_gap`, behind which
    /// this probe's readings are missing, may well be the chocolate.
    pub(crate) fn insert(
        &mut self,
        reading: Passing,
        longest_gap: Span,
        passed: &mut Vec<Passing>,
    ) -> Option<Timestamp> {
        let (at, channel, value) = reading;
        if channel != Channel::Chocolate {
            if self.held.is_empty() {
                passed.push(reading);
            } else {
                self.held.push(reading);
            }
            return None;
        }
        let Some((good_at, good)) = self.good else {
            self.pass(reading, passed);
            return None;
        };
        let Some(jumped_at) = self.held.first().map(|&(at, _, _)| at) else {
            if (value - good).abs() > JUMP && at - good_at <= longest_gap {
                self.held.push(reading);
            } else {
                self.pass(reading, passed);
            }
            return None;
        };
        // What it did while nothing came is not known: it may have stood there.
        if at - self.held_to().unwrap_or(jumped_at) > longest_gap {
            self.pass(reading, passed);
            return None;
        }
        if (value - good).abs() <= BACK {
            self.held.retain(|&(_, channel, _)| channel != Channel::Chocolate);
            self.pass(reading, passed);
            return Some(jumped_at);
        }
        let jumped = self.held.iter().filter(|(_, channel, _)| *channel == Channel::Chocolate).count();
        if jumped < MOST_READINGS || at - jumped_at < LONGEST {
            self.held.push(reading);
        } else {
            self.pass(reading, passed);
        }
        None
    }

    /// The newest good reading, °C, if nothing is held back.
    pub(crate) fn calm_at(&self) -> Option<f64> {
        self.good.filter(|_| self.held.is_empty()).map(|(_, good)| good)
    }

    /// Would a reading behind `good` go on at once?
    #[inline]
    pub(crate) fn goes_on(good: f64, value: f64) -> bool {
        (value - good).abs() <= JUMP
    }

    /// A reading went on at once.
    #[inline]
    pub(crate) fn went_on(&mut self, at: Timestamp, value: f64) {
        self.good = Some((at, value));
    }

    /// Nothing more will come for a while: what is held goes on.
    pub(crate) fn release(&mut self, passed: &mut Vec<Passing>) {
        if let Some(&(at, _, value)) =
            self.held.iter().rfind(|(_, channel, _)| *channel == Channel::Chocolate)
        {
            self.good = Some((at, value));
        }
        passed.append(&mut self.held);
    }

    /// The newest chocolate reading that is held.
    fn held_to(&self) -> Option<Timestamp> {
        self.held.iter().rfind(|(_, channel, _)| *channel == Channel::Chocolate).map(|&(at, _, _)| at)
    }

    fn pass(&mut self, reading: Passing, passed: &mut Vec<Passing>) {
        passed.append(&mut self.held);
        self.good = Some((reading.0, reading.2));
        passed.push(reading);
    }
}

/// Counts lone jumps.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Spikes {
    recent: VecDeque<Timestamp>,
    open: bool,
}

impl Spikes {
    /// At `known` it became clear that the probe had jumped at `jumped`.
    pub(crate) fn jumped(&mut self, jumped: Timestamp, known: Timestamp) -> Verdict {
        self.recent.push_back(jumped);
        self.forget(jumped);
        let Some(&from) = self.recent.front() else { return Verdict::Quiet };
        if self.open || self.recent.len() < MANY {
            return Verdict::Quiet;
        }
        self.open = true;
        Report {
            kind: FindingKind::Spikes,
            priority: Priority::Low,
            from,
            raised_at: known,
            says: format!("The chocolate probe has jumped {} times within ten minutes and come back at once.", MANY),
            evidence: vec![number("jumps", MANY as f64)],
            advice: "Have plug, cable and shield of the probe looked at by qualified people; the jumps are left out of everything else.",
        }
        .raise()
    }

    /// Without one open, another reading changes nothing.
    pub(crate) fn is_calm(&self) -> bool {
        !self.open
    }

    /// A reading came; whether it comes back from a jump is seen afterwards.
    pub(crate) fn step(&mut self, at: Timestamp) -> Verdict {
        let last = self.recent.back().copied().filter(|&last| self.open && at - last > WITHIN + JITTER);
        self.open &= last.is_none();
        last.map_or(Verdict::Quiet, Verdict::Over)
    }

    fn forget(&mut self, now: Timestamp) {
        while self.recent.front().is_some_and(|&jump| now - jump > WITHIN + JITTER) {
            self.recent.pop_front();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn filtered(values: &[f64]) -> (Vec<f64>, usize) {
        apart(5_000, values)
    }

    fn apart(millis: i64, values: &[f64]) -> (Vec<f64>, usize) {
        let (mut filter, mut passed, mut jumps) = (SpikeFilter::default(), Vec::new(), 0);
        let longest_gap = Span::from_mins(1).max(Span::from_millis(5 * millis));
        for (i, &value) in values.iter().enumerate() {
            let reading = (Timestamp::from_millis(i as i64 * millis), Channel::Chocolate, value);
            jumps += usize::from(filter.insert(reading, longest_gap, &mut passed).is_some());
        }
        filter.release(&mut passed);
        (passed.into_iter().map(|(_, _, value)| value).collect(), jumps)
    }

    #[test]
    fn a_lone_jump_is_left_out_and_a_step_is_not() {
        assert_eq!(filtered(&[31.0, 40.0, 31.2]), (vec![31.0, 31.2], 1));
        assert_eq!(filtered(&[31.0, 40.0, 38.0, 31.2]), (vec![31.0, 31.2], 1));
        assert_eq!(filtered(&[34.0, 31.0, 31.1, 31.2, 31.3]), (vec![34.0, 31.0, 31.1, 31.2, 31.3], 0));
        assert_eq!(filtered(&[31.0, 40.0]), (vec![31.0, 40.0], 0));
    }

    #[test]
    fn a_logger_that_speaks_once_a_minute_jumps_alone_too() {
        assert_eq!(apart(60_015, &[31.0, 40.0, 31.2]), (vec![31.0, 31.2], 1));
        assert_eq!(apart(120_000, &[31.0, 31.0, 25.0, 31.2]), (vec![31.0, 31.0, 31.2], 1));
    }

    #[test]
    fn a_jump_that_is_followed_by_a_gap_is_not_known_to_be_lone() {
        let (mut filter, mut passed) = (SpikeFilter::default(), Vec::new());
        for (second, value) in [(0, 31.0), (5, 34.0), (10, 34.0), (135, 31.1), (140, 31.0)] {
            let reading = (Timestamp::from_millis(second * 1000), Channel::Chocolate, value);
            assert_eq!(filter.insert(reading, Span::from_mins(1), &mut passed), None, "at {second} s");
        }
        assert_eq!(passed.len(), 5);
    }

    #[test]
    fn the_third_in_the_tenth_minute_counts() {
        let at = |millis: i64| Timestamp::from_millis(millis);
        let mut spikes = Spikes::default();
        spikes.jumped(at(0), at(60_000));
        spikes.jumped(at(300_000), at(360_000));
        spikes.step(at(660_020));
        assert!(matches!(spikes.jumped(at(600_040), at(660_020)), Verdict::Raise(_)));
    }

    #[test]
    fn three_in_ten_minutes_are_told_once_and_over_after_ten_quiet_ones() {
        let at = |minute: i64| Timestamp::from_millis(minute * 60_000);
        let mut spikes = Spikes::default();
        assert_eq!(spikes.jumped(at(0), at(0)), Verdict::Quiet);
        assert_eq!(spikes.jumped(at(11), at(11)), Verdict::Quiet);
        assert_eq!(spikes.jumped(at(15), at(15)), Verdict::Quiet);
        assert!(matches!(spikes.jumped(at(16), at(16)), Verdict::Raise(report) if report.from == at(11)));
        assert_eq!(spikes.jumped(at(17), at(17)), Verdict::Quiet);
        assert_eq!(spikes.step(at(26)), Verdict::Quiet);
        assert_eq!(spikes.step(at(28)), Verdict::Over(at(17)));
    }
}
