//! The way from a machine to the broker: late by some milliseconds, now and then by seconds, sometimes twice.
//!
//! Doubled messages are what at-least-once delivery (MQTT 3.1.1, QoS 1) allows; what was sent first does not always
//! arrive first. One network a machine, so that no machine's fate depends on another's.

use model::{Span, Timestamp};
use wire::Message;

use crate::dice::Dice;

/// Mean of the everyday delay, milliseconds, above the least (assumed: a wireless network in a workshop).
const LEAST_MS: f64 = 12.0;
const MEAN_MS: f64 = 45.0;
/// Share of messages that are held up, and how long, seconds. Below the usual lateness allowance of 15 s.
const HELD_UP: f64 = 0.004;
const HELD_UP_S: (f64, f64) = (1.0, 6.0);
/// Share of messages that are sent again, and after how long, seconds.
const AGAIN: f64 = 0.002;
const AGAIN_S: (f64, f64) = (0.5, 5.0);
/// On a rough network some come later than any allowance; for each step of roughness this share, seconds.
const VERY_LATE: f64 = 0.0002;
const VERY_LATE_S: (f64, f64) = (6.0, 90.0);
/// A queue that was held back is delivered with so much between two messages, milliseconds.
const FLUSH_MS: i64 = 4;

/// One machine's way to the broker.
#[derive(Debug, Clone)]
pub(crate) struct Network {
    dice: Dice,
    /// So many times worse than usual.
    rough: f64,
    pending: Vec<Message>,
    held_back: Vec<Message>,
}

/// How the network stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Line {
    Up,
    /// Everything is lost.
    Down,
    /// The sender keeps everything until the line is up again.
    HeldBack,
}

impl Network {
    pub(crate) fn new(dice: Dice, rough: f64) -> Network {
        Network { dice, rough, pending: Vec::new(), held_back: Vec::new() }
    }

    pub(crate) fn send(&mut self, line: Line, now: Timestamp, topic: String, payload: Vec<u8>) {
        match line {
            Line::Up => {
                self.flush(now);
                let mut delay_ms = LEAST_MS + self.dice.wait(MEAN_MS);
                if self.dice.chance(HELD_UP * (1.0 + self.rough)) {
                    delay_ms += 1000.0 * self.dice.between(HELD_UP_S.0, HELD_UP_S.1);
                }
                if self.rough > 0.0 && self.dice.chance(VERY_LATE * self.rough) {
                    delay_ms += 1000.0 * self.dice.between(VERY_LATE_S.0, VERY_LATE_S.1);
                }
                let arrived = now + Span::from_millis(delay_ms as i64);
                let message = Message { topic, payload, arrived, retained: false };
                if self.dice.chance(AGAIN * (1.0 + self.rough)) {
                    let later = Span::from_millis((1000.0 * self.dice.between(AGAIN_S.0, AGAIN_S.1)) as i64);
                    self.pending.push(Message { arrived: arrived + later, ..message.clone() });
                }
                self.pending.push(message);
            }
            Line::Down => {}
            Line::HeldBack => {
                self.held_back.push(Message { topic, payload, arrived: now, retained: false });
            }
        }
    }

    /// What the broker kept from before the history began.
    pub(crate) fn send_retained(&mut self, now: Timestamp, topic: String, payload: Vec<u8>) {
        self.pending.push(Message { topic, payload, arrived: now, retained: true });
    }

    fn flush(&mut self, now: Timestamp) {
        let mut arrived = now;
        for message in self.held_back.drain(..) {
            arrived += Span::from_millis(FLUSH_MS);
            self.pending.push(Message { arrived, ..message });
        }
    }

    /// Everything that has arrived by `until`, in the order of sending.
    pub(crate) fn arrived(&mut self, until: Timestamp, into: &mut Vec<Message>) {
        into.extend(self.pending.extract_if(.., |m| m.arrived <= until));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(second: i64) -> Timestamp {
        Timestamp::from_millis(second * 1000)
    }

    fn run(line: impl Fn(i64) -> Line) -> Vec<Message> {
        let mut network = Network::new(Dice::new(5, 5), 0.0);
        for second in 0..10_000 {
            network.send(line(second), at(second), "t".into(), second.to_string().into_bytes());
        }
        let mut all = Vec::new();
        network.arrived(at(20_000), &mut all);
        all.sort_by_key(|m| m.arrived);
        all
    }

    #[test]
    fn nothing_is_lost_some_is_doubled_and_some_overtakes() {
        let all = run(|_| Line::Up);
        let mut seconds: Vec<i64> =
            all.iter().map(|m| String::from_utf8(m.payload.clone()).unwrap().parse().unwrap()).collect();
        assert!(seconds.windows(2).any(|w| w[1] < w[0]));
        assert!(seconds.len() > 10_000);
        seconds.sort_unstable();
        seconds.dedup();
        assert_eq!(seconds.len(), 10_000);
    }

    #[test]
    fn a_line_that_is_down_loses_and_one_that_holds_back_delivers_late() {
        let gap = 1_000..2_000;
        assert!(run(|s| if gap.contains(&s) { Line::Down } else { Line::Up }).len() < 9_100);
        let late = run(|s| if gap.contains(&s) { Line::HeldBack } else { Line::Up });
        assert!(late.len() >= 10_000);
        assert!(late.iter().any(|m| m.payload == b"1000" && m.arrived > at(2_000)));
    }
}
