//! `clock-off`, low: the times in a sender's messages are over 60 s from their arrival, five messages running, and the offset is steady
//! within 10 s (contract, section 6).
//!
//! Judged a channel, since each may have a sender of its own. What arrives in the same millisecond is one message, and its newest time
//! speaks for it: a pack of a minute's readings is as old as its youngest. Values without a time of their own carry that of their
//! arrival, so their offset is nothing.
//!
//! Readings that were kept back and come in a burst are no clock fault, however old they are: there many times come at one arrival. The five
//! arrivals have to be spread as the five times are, within a factor of two. A message that the broker had kept says nothing. Raised at the arrival
//! of the fifth message, by the service's own clock; over when every channel has been right again for five messages running.

use std::collections::BTreeMap;

use model::{Channel, FindingKind, Priority, Span, Timestamp};
use serde::{Deserialize, Serialize};

use super::{Report, Verdict, number, text};
use crate::bounded::remember;

pub(crate) const OFF_BY: Span = Span::from_secs(60);
pub(crate) const STEADY_WITHIN: Span = Span::from_secs(10);
pub(crate) const RUNNING: usize = 5;
/// Of a channel's messages so many are remembered, with the one that is coming.
pub(crate) const MESSAGES: usize = RUNNING + 1;

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct ClockOff {
    clocks: BTreeMap<Channel, Clock>,
    open: bool,
}

/// One channel's sender.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
struct Clock {
    /// What came at the newest arrival; more may come with it.
    coming: Option<Message>,
    /// The last whole messages.
    last: Vec<Message>,
    off: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Message {
    arrived: Timestamp,
    /// Its newest time.
    at: Timestamp,
}

/// What five messages say.
enum Running {
    Off,
    Right,
    Unclear,
}

impl ClockOff {
    /// A reading of `channel` came that says it was measured at `at`.
    pub(crate) fn arrived(&mut self, channel: Channel, at: Timestamp, arrived: Timestamp) {
        let coming = &mut self.clocks.entry(channel).or_default().coming;
        let message = coming.get_or_insert(Message { arrived, at });
        message.at = message.at.max(at);
    }

    /// Is every sender's clock right, as far as is known?
    pub(crate) fn is_right(&self) -> bool {
        let is_right = |sender: &Clock| {
            !sender.off && sender.last.iter().chain(&sender.coming).all(|message| message.is_right())
        };
        !self.open && self.clocks.values().all(is_right)
    }

    /// Readings of `channel` arrived at the moments at which they were measured, each before the next one: the newest of them, which are all
    /// that is remembered. All clocks have been right.
    pub(crate) fn arrived_at_once(&mut self, channel: Channel, newest: impl IntoIterator<Item = Timestamp>) {
        for at in newest {
            let sender = self.clocks.entry(channel).or_default();
            if let Some(before) = sender.coming.replace(Message { arrived: at, at }) {
                remember(&mut sender.last, before, RUNNING);
            }
        }
    }

    /// Arrival time has moved on to `clock`: what came before is whole.
    pub(crate) fn step(&mut self, clock: Timestamp) -> Verdict {
        let mut raised = None;
        let mut righted = None;
        for (&channel, sender) in &mut self.clocks {
            let Some(message) = sender.coming.take_if(|message| message.arrived < clock) else { continue };
            match sender.judge(message) {
                Running::Off => {
                    sender.off = true;
                    raised = Some((channel, sender.last.clone()));
                }
                Running::Right if sender.off => {
                    sender.off = false;
                    righted = sender.last.first().map(|first| first.arrived);
                }
                Running::Right | Running::Unclear => {}
            }
        }
        if let (Some((channel, messages)), false) = (raised, self.open) {
            self.open = true;
            return report(channel, &messages);
        }
        match righted {
            Some(at) if self.open && self.clocks.values().all(|sender| !sender.off) => {
                self.open = false;
                Verdict::Over(at)
            }
            Some(_) | None => Verdict::Quiet,
        }
    }
}

impl Clock {
    fn judge(&mut self, message: Message) -> Running {
        remember(&mut self.last, message, RUNNING);
        if self.last.len() < RUNNING {
            return Running::Unclear;
        }
        if self.last.iter().all(|message| message.is_right()) {
            return Running::Right;
        }
        let offsets = || self.last.iter().map(|message| message.offset());
        let off = self.last.iter().all(|message| !message.is_right());
        let steady =
            offsets().min().zip(offsets().max()).is_some_and(|(low, high)| high - low <= STEADY_WITHIN);
        if off && steady && self.is_live() { Running::Off } else { Running::Unclear }
    }

    /// Are the arrivals spread as the times are?
    fn is_live(&self) -> bool {
        let (Some(first), Some(last)) = (self.last.first(), self.last.last()) else { return false };
        let (arrivals, times) = (last.arrived - first.arrived, last.at - first.at);
        arrivals * 2 >= times && times * 2 >= arrivals
    }
}

impl Message {
    fn offset(self) -> Span {
        self.at - self.arrived
    }

    fn is_right(self) -> bool {
        let offset = self.offset();
        -OFF_BY <= offset && offset <= OFF_BY
    }
}

fn report(channel: Channel, messages: &[Message]) -> Verdict {
    let (Some(first), Some(last)) = (messages.first(), messages.last()) else { return Verdict::Quiet };
    let offset = last.offset().as_secs_f64();
    let way = if offset < 0.0 { "behind" } else { "ahead of" };
    Report {
        kind: FindingKind::ClockOff,
        priority: Priority::Low,
        from: first.arrived,
        raised_at: last.arrived,
        says: format!("The times in its messages are {} {way} their arrival, {RUNNING} messages running.", length(offset)),
        evidence: vec![number("offset_s", offset), text("channel", channel.as_str())],
        advice: "Set the sender's clock or its time server; until then its readings may stand in the wrong batch.",
    }
    .raise()
}

fn length(seconds: f64) -> String {
    let seconds = seconds.abs();
    if seconds < 600.0 { format!("{seconds:.0} s") } else { format!("{:.0} min", seconds / 60.0) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> Timestamp {
        Timestamp::from_millis(seconds * 1000)
    }

    /// Messages as (arrival, time), in seconds; what is told, with the second of its arrival.
    fn run(messages: impl IntoIterator<Item = (i64, i64)>) -> Vec<String> {
        let mut detector = ClockOff::default();
        let mut told = Vec::new();
        let mut note = |verdict| match verdict {
            Verdict::Raise(report) => told.push(format!(
                "{} raise from {}: {}",
                report.raised_at.as_millis() / 1000,
                report.from.as_millis() / 1000,
                report.says
            )),
            Verdict::Over(at) => told.push(format!("over at {}", at.as_millis() / 1000)),
            Verdict::Quiet | Verdict::Worse { .. } => {}
        };
        for (arrived, time) in messages {
            note(detector.step(at(arrived)));
            detector.arrived(Channel::Chocolate, at(time), at(arrived));
        }
        note(detector.step(at(1_000_000)));
        told
    }

    #[test]
    fn five_messages_running_that_agree() {
        let wrong = (100..108).map(|i| (i * 5, i * 5 - 3_600));
        let right = (108..120).map(|i| (i * 5, i * 5));
        assert_eq!(
            run((90..100).map(|i| (i * 5, i * 5 - 1)).chain(wrong).chain(right)),
            [
                "520 raise from 500: The times in its messages are 60 min behind their arrival, 5 messages running.",
                "over at 540"
            ]
        );
        let ahead = run((0..5).map(|i| (i * 60, i * 60 + 75)));
        assert_eq!(
            ahead,
            [
                "240 raise from 0: The times in its messages are 75 s ahead of their arrival, 5 messages running."
            ]
        );
    }

    #[test]
    fn four_are_too_few_and_a_minute_is_right() {
        assert!(run((0..4).map(|i| (i * 5, i * 5 - 600))).is_empty());
        assert!(run((0..50).map(|i| (i * 5, i * 5 - 60))).is_empty());
    }

    #[test]
    fn an_offset_that_wanders_is_no_clock() {
        assert!(run((0..50).map(|i| (i * 5, i * 5 - 600 - 11 * (i % 2)))).is_empty());
    }

    #[test]
    fn readings_that_were_kept_back_are_no_clock_fault() {
        let burst = (0..600).map(|i| (7_200, i));
        assert!(run((0..5).map(|i| (i, i)).chain(burst)).is_empty(), "at one arrival");
        let stream = (0..600).map(|i| (7_200 + i / 40, i));
        assert!(run(stream).is_empty(), "within seconds");
    }

    #[test]
    fn a_pack_is_as_old_as_its_youngest_reading() {
        let packs = (1..20).flat_map(|pack| (0..60).map(move |i| (pack * 120, pack * 120 - 119 + 2 * i)));
        assert!(run(packs).is_empty());
    }

    #[test]
    fn doubled_messages_change_nothing() {
        let once: Vec<(i64, i64)> = (0..20).map(|i| (i * 5, i * 5 - 600)).collect();
        let twice: Vec<(i64, i64)> = once.iter().flat_map(|message| [*message, *message]).collect();
        assert_eq!(run(once), run(twice));
    }
}
