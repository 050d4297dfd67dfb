//! The detectors of what is around the charge: they are asked at each tick, whether or not it has chocolate.
//!
//! A channel that has paused for longer than it usually does is unknown in between: that begins nothing and ends nothing ([`Pace`]).

use frames::Tick;
use model::{Channel, FindingKind, Phase, Span, Timestamp};
use serde::{Deserialize, Serialize};

use super::Told;
use super::damp_room::DampRoom;
use super::heater_stuck::HeaterStuck;
use super::hot_room::HotRoom;
use super::stirrer_stopped::StirrerStopped;
use crate::bounded::remember;
use crate::history::{History, mean};

/// What a detector of the surroundings sees at a tick.
pub(crate) struct Around<'a> {
    /// The tick's first moment.
    pub(crate) at: Timestamp,
    /// The tick's end: when a live watch knew of it.
    pub(crate) known: Timestamp,
    pub(crate) tick: &'a Tick,
    /// All ticks, this one included.
    pub(crate) history: &'a History,
    /// `None` while the beginning of the history is unclear.
    pub(crate) phase: Option<Phase>,
    /// Newest set-point, °C.
    pub(crate) setpoint: Option<f64>,
}

impl Around<'_> {
    /// Mean of a channel over the last `back`, this tick included.
    pub(crate) fn mean_of(&self, channel: Channel, back: Span) -> Option<f64> {
        mean(self.last(back, channel))
    }

    /// Newest value of a channel, if it is not older than `back`.
    pub(crate) fn newest_of(&self, channel: Channel, back: Span) -> Option<f64> {
        self.last(back, channel).next_back()
    }

    fn last(&self, back: Span, channel: Channel) -> impl DoubleEndedIterator<Item = f64> {
        self.history.values(self.known - back, self.known, move |tick| value_of(tick, channel))
    }
}

/// What a channel said in a tick.
pub(crate) fn value_of(tick: &Tick, channel: Channel) -> Option<f64> {
    match channel {
        Channel::Chocolate => tick.chocolate(),
        Channel::Jacket
        | Channel::Room
        | Channel::Humidity
        | Channel::Setpoint
        | Channel::Stirrer
        | Channel::Motor => tick.other(channel),
    }
}

/// The detectors of one machine's surroundings, in the order in which they are asked.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct AroundFindings {
    stirrer_stopped: StirrerStopped,
    heater_stuck: HeaterStuck,
    hot_room: HotRoom,
    damp_room: DampRoom,
}

impl AroundFindings {
    /// Asks every detector.
    pub(crate) fn step(&mut self, around: &Around<'_>, told: &mut Told) {
        told.note(FindingKind::StirrerStopped, self.stirrer_stopped.step(around));
        told.note(FindingKind::HeaterStuck, self.heater_stuck.step(around));
        told.note(FindingKind::HotRoom, self.hot_room.step(around));
        told.note(FindingKind::DampRoom, self.damp_room.step(around));
    }
}

/// Enough for a median that neither a burst nor a pause moves.
const REMEMBERED: usize = 9;
/// A pause is a gap from here on, or from five usual intervals if that is longer (as in `silent`).
const SHORTEST_GAP: Span = Span::from_secs(60);
const USUAL_INTERVALS: i64 = 5;

/// How often a channel reports, and so what is a gap in it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Pace {
    last: Option<Timestamp>,
    intervals: Vec<Span>,
}

impl Pace {
    /// The channel reported at `at`. Is something missing since it last did?
    pub(crate) fn gap(&mut self, at: Timestamp) -> bool {
        let Some(interval) = self.last.replace(at).map(|last| at - last) else { return false };
        let gap = interval > SHORTEST_GAP && interval > self.longest();
        // Of one that reports evenly nothing new is to be remembered.
        if self.intervals.len() < REMEMBERED || self.intervals.iter().any(|known| *known != interval) {
            remember(&mut self.intervals, interval, REMEMBERED);
        }
        gap
    }

    /// The usual interval is the one in which half of the time lies: channels that follow one another by seconds, and then all wait for minutes, have
    /// many short ones. The longest does not count, since it may have been a gap.
    fn longest(&self) -> Span {
        let mut sorted = self.intervals.clone();
        sorted.sort_unstable();
        sorted.truncate((sorted.len() - sorted.len().min(1)).max(1));
        let all = sorted.iter().fold(Span::ZERO, |sum, interval| sum + *interval);
        let mut sum = Span::ZERO;
        let usual = sorted.into_iter().find(|interval| {
            sum = sum + *interval;
            all <= sum * 2
        });
        usual.map_or(SHORTEST_GAP, |usual| SHORTEST_GAP.max(usual * USUAL_INTERVALS))
    }
}

#[cfg(test)]
pub(crate) mod testing;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pause_is_judged_by_what_is_usual() {
        let at = |seconds: i64| Timestamp::from_millis(seconds * 1000);
        let mut quick = Pace::default();
        assert!((0..20).all(|i| !quick.gap(at(i * 5))));
        assert!(!quick.gap(at(155)), "a minute may pass");
        assert!(quick.gap(at(216)));
        let mut slow = Pace::default();
        let gaps = (0..20).filter(|i| slow.gap(at(i * 300))).count();
        assert_eq!(gaps, 1, "until it is known how slow it is");
        assert!(!slow.gap(at(19 * 300 + 1_200)));
        let mut bundled = Pace::default();
        let told = (0..30).flat_map(|i| [0, 7, 14].map(|second| i * 120 + second));
        assert_eq!(
            told.filter(|second| bundled.gap(at(*second))).count(),
            2,
            "three channels every two minutes"
        );
    }
}
