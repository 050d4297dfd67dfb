//! What every channel did while a batch ran, in means of two minutes.
//!
//! A day is compared with ten others on five channels. Two minutes are short enough for a seed dip and long enough that
//! a batch fits into a few kilobytes. Set-point and stirrer hold between messages, because senders report them on
//! change; nothing else is ever carried over a gap.

use std::collections::BTreeMap;

use model::{Channel, Span, Timestamp};

/// Length of a mean.
pub const STEP: Span = Span::from_mins(2);

/// A set-point that was told half a day ago is no longer known.
const HELD_AT_MOST: Span = Span::from_hours(12);

/// Means a channel, sorted by time; each stands at the beginning of its two minutes.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Courses(BTreeMap<Channel, Vec<(Timestamp, f64)>>);

impl Courses {
    /// Adds the readings of `channel`, sorted by time; `None` is a missing reading.
    #[must_use]
    pub fn with(mut self, channel: Channel, readings: &[(Timestamp, Option<f64>)]) -> Courses {
        let mut means: Vec<(Timestamp, f64)> = Vec::new();
        let mut open: Option<(Timestamp, f64, u32)> = None;
        for (at, value) in readings {
            let Some(value) = value.filter(|value| value.is_finite()) else { continue };
            let place = at.floor(STEP);
            open = match open {
                Some((from, sum, n)) if from == place => Some((from, sum + value, n + 1)),
                Some((from, sum, n)) => {
                    means.push((from, sum / f64::from(n)));
                    Some((place, value, 1))
                }
                None => Some((place, value, 1)),
            };
        }
        means.extend(open.map(|(from, sum, n)| (from, sum / f64::from(n))));
        if matches!(channel, Channel::Setpoint | Channel::Stirrer) {
            means = held(&means);
        }
        self.0.insert(channel, means);
        self
    }

    /// The means of `channel`.
    pub fn of(&self, channel: Channel) -> &[(Timestamp, f64)] {
        self.0.get(&channel).map_or(&[], Vec::as_slice)
    }

    /// The means of `channel` that begin from `from` on and before `to`.
    pub fn between(&self, channel: Channel, from: Timestamp, to: Timestamp) -> &[(Timestamp, f64)] {
        let means = self.of(channel);
        let first = means.partition_point(|(at, _)| *at < from);
        let last = means.partition_point(|(at, _)| *at < to);
        &means[first..last.max(first)]
    }

    /// Values alone.
    pub(crate) fn values(&self, channel: Channel, from: Timestamp, to: Timestamp) -> Vec<f64> {
        self.between(channel, from, to).iter().map(|(_, value)| *value).collect()
    }
}

/// Fills the steps between two messages with the earlier one's value.
fn held(means: &[(Timestamp, f64)]) -> Vec<(Timestamp, f64)> {
    let mut filled = Vec::with_capacity(means.len());
    for (place, (at, value)) in means.iter().enumerate() {
        filled.push((*at, *value));
        let next = means.get(place + 1).map_or(*at, |(next, _)| *next);
        let mut step = *at + STEP;
        while step < next && step - *at < HELD_AT_MOST {
            filled.push((step, *value));
            step += STEP;
        }
    }
    filled
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> Timestamp {
        "2026-03-02T06:00:00Z".parse::<Timestamp>().unwrap() + Span::from_secs(seconds)
    }

    #[test]
    fn two_minutes_become_one_mean_and_a_gap_stays_a_gap() {
        let readings: Vec<_> =
            [(0, 31.0), (60, 32.0), (130, 40.0), (600, 30.0)].map(|(s, v)| (at(s), Some(v))).to_vec();
        let courses = Courses::default().with(Channel::Chocolate, &readings);
        assert_eq!(courses.of(Channel::Chocolate), [(at(0), 31.5), (at(120), 40.0), (at(600), 30.0)]);
        assert_eq!(courses.values(Channel::Chocolate, at(1), at(600)), [40.0]);
        assert_eq!(courses.of(Channel::Jacket), []);
    }

    #[test]
    fn a_set_point_holds_until_the_next_message() {
        let courses =
            Courses::default().with(Channel::Setpoint, &[(at(0), Some(45.0)), (at(480), Some(31.5))]);
        let values = courses.values(Channel::Setpoint, at(0), at(9_999));
        assert_eq!(values, [45.0, 45.0, 45.0, 45.0, 31.5]);
    }
}
