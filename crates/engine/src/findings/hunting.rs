//! `hunting`, low: in working, three or more cycles of 0.8 °C peak to peak or more, period 2–30 min (contract, section 6).
//!
//! A controller that hunts melts crystals at each peak and grows them in each trough (common practice, no source). Turning points are those
//! of a zigzag: a peak is one when the chocolate has come down by 0.8 °C from it, a trough likewise. Six of them in a row, each followed by a swing
//! (the last by half of one), make three cycles. The cycles of one controller are alike, so that three top-ups in an hour are none: the longest is
//! at most twice the shortest.
//! Noise turns too: the swings have to stand out of what neighbouring readings differ by, which takes some six readings a cycle. And it makes a swing
//! seem larger, since a turn is the furthest of some noisy levels around it: that is taken off.
//! A set-point change or top-up starts anew ten minutes later. Over when no further turn comes within one and a half cycles.

use std::collections::VecDeque;

use maths::statistics::{median, scatter_with_jumps};
use model::{FindingKind, Phase, Priority, Span, Timestamp};
use serde::{Deserialize, Serialize};

use super::{Moment, Report, Verdict, number};
use crate::bounded::remember_newest;
use crate::history::{LEVEL_WINDOW, extremes};

const SWING: f64 = 0.8;
/// Six turns, each followed by a swing, are three cycles; the last one is one when half of a swing has come back.
const TURNS: usize = 6;
const BACK: f64 = SWING / 2.0;
const SHORTEST: Span = Span::from_mins(2);
const LONGEST: Span = Span::from_mins(30);
const ALIKE: f64 = 2.0;
/// Half an hour of readings twice a minute, with normal noise, reaches some 4.6 deviations from its lowest to its highest (from memory); a
/// start value above that.
const OUT_OF_NOISE: f64 = 5.5;
/// The highest of the five to ten levels near a peak, with normal noise, lies some 1.2 to 1.5 deviations above their mean (from memory), and the peak is
/// not flat.
const TURNS_OUT_BY: f64 = 1.2;
const DISTURBED_FOR: Span = Span::from_mins(10);

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Hunting {
    zigzag: Zigzag,
    /// The newest turns.
    turns: VecDeque<Turn>,
    open: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Turn {
    at: Timestamp,
    level: f64,
}

/// Finds turning points.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
struct Zigzag {
    highest: Option<Turn>,
    lowest: Option<Turn>,
    /// After a trough the way goes up; `None` before the first turn.
    up: Option<bool>,
}

impl Zigzag {
    /// Takes a level; hands out a turn when the way back from it is long enough.
    fn insert(&mut self, now: Turn) -> Option<Turn> {
        let (mut highest, mut lowest) = (self.highest.unwrap_or(now), self.lowest.unwrap_or(now));
        if now.level >= highest.level {
            highest = now;
        }
        if now.level <= lowest.level {
            lowest = now;
        }
        let came_down = highest.level - now.level >= SWING && self.up != Some(false);
        let came_up = now.level - lowest.level >= SWING && self.up != Some(true);
        let turn = if came_down {
            (self.up, lowest) = (Some(false), now);
            Some(highest)
        } else if came_up {
            (self.up, highest) = (Some(true), now);
            Some(lowest)
        } else {
            None
        };
        (self.highest, self.lowest) = (Some(highest), Some(lowest));
        turn
    }

    /// What will be a turn if the way back from it goes on as it has begun, where the way to it was long enough; `last` is the turn before.
    fn turning(&self, last: Turn, now: Turn) -> Option<Turn> {
        let extreme = if self.up? { self.highest? } else { self.lowest? };
        let back = (now.level - extreme.level).abs();
        (back >= BACK && (extreme.level - last.level).abs() >= SWING).then_some(extreme)
    }
}

impl Hunting {
    pub(crate) fn step(&mut self, m: &Moment<'_>) -> Verdict {
        let disturbed = m.disturbed_at.is_some_and(|at| m.at >= at && m.at - at < DISTURBED_FOR);
        if m.phase != Phase::Working || (disturbed && !self.open) {
            return if std::mem::take(self).open { Verdict::Over(m.at) } else { Verdict::Quiet };
        }
        if m.gap && !self.open {
            *self = Hunting::default();
        }
        let now = Turn { at: m.at, level: m.level };
        let turned = self.zigzag.insert(now);
        if let Some(turn) = turned {
            remember_newest(&mut self.turns, turn, TURNS);
        }
        if self.open {
            return if turned.is_some() { Verdict::Quiet } else { self.still_swings(m) };
        }
        let report = match turned {
            Some(_) => report(m, &self.turns),
            None => self.with_the_next_turn(now).and_then(|turns| report(m, &turns)),
        };
        self.open = report.is_some();
        report.map_or(Verdict::Quiet, Report::raise)
    }

    /// The last of the turns counts while it is on its way, but is none before it is whole.
    fn with_the_next_turn(&self, now: Turn) -> Option<VecDeque<Turn>> {
        let next = self.turns.back().filter(|_| self.turns.len() + 1 >= TURNS)?;
        let next = self.zigzag.turning(*next, now)?;
        let mut turns = self.turns.clone();
        remember_newest(&mut turns, next, TURNS);
        Some(turns)
    }

    fn still_swings(&mut self, m: &Moment<'_>) -> Verdict {
        let (Some(last), Some(cycle)) = (self.turns.back().copied(), cycles(&self.turns).max()) else {
            return Verdict::Quiet;
        };
        if (m.known - last.at).as_secs_f64() < 1.5 * cycle.as_secs_f64() {
            return Verdict::Quiet;
        }
        *self = Hunting::default();
        Verdict::Over(last.at)
    }
}

fn cycles(turns: &VecDeque<Turn>) -> impl Iterator<Item = Span> {
    turns.iter().zip(turns.iter().skip(2)).map(|(before, after)| after.at - before.at)
}

/// What these turns say, if they are those of a control that hunts.
fn report(m: &Moment<'_>, turns: &VecDeque<Turn>) -> Option<Report> {
    let (first, shortest, longest) = (turns.front()?, cycles(turns).min()?, cycles(turns).max()?);
    let in_range = shortest >= SHORTEST && longest <= LONGEST;
    let alike = longest.as_secs_f64() <= ALIKE * shortest.as_secs_f64();
    if turns.len() < TURNS || !in_range || !alike || is_noise(m, first.at, turns) {
        return None;
    }
    let mean = cycles(turns).map(Span::as_mins_f64).sum::<f64>() / cycles(turns).count() as f64;
    let (lows, highs) = extremes(turns.iter().map(|turn| turn.level))?;
    Some(Report {
        kind: FindingKind::Hunting,
        priority: Priority::Low,
        from: first.at,
        raised_at: m.known,
        says: format!("The hold swings between {lows:.1} and {highs:.1} °C, once in about {mean:.0} min."),
        evidence: vec![number("period_min", mean), number("peak_to_peak_c", highs - lows)],
        advice: "Keep an eye on the peaks and test more often; have the controller's tuning, a sticking valve and the place of the \
                 probe looked at.",
    })
}

fn is_noise(m: &Moment<'_>, from: Timestamp, turns: &VecDeque<Turn>) -> bool {
    let readings: Vec<f64> = m.history.chocolate(from, m.known).map(|(_, value)| value).collect();
    let levels: Vec<f64> = turns.iter().map(|turn| turn.level).collect();
    let swings: Vec<f64> = levels.windows(2).map(|pair| (pair[1] - pair[0]).abs()).collect();
    let noise = scatter_with_jumps(&readings);
    let in_a_level = LEVEL_WINDOW.as_secs_f64() / (m.known - from).as_secs_f64() * readings.len() as f64;
    let seems_larger_by = 2.0 * TURNS_OUT_BY * noise / in_a_level.max(1.0).sqrt();
    // One excursion among swings of noise is no swing of a control.
    median(&swings).is_none_or(|swing| swing < OUT_OF_NOISE * noise || swing - seems_larger_by < SWING)
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use super::super::testing::{check, check_with};
    use super::*;

    /// A hold that swings by `half` either way, once in `period` minutes, from minute 10 to minute `until`.
    fn swings(half: f64, period: f64, until: f64) -> String {
        let at = |minute: f64| {
            let phase = (minute - 10.0) / period * std::f64::consts::TAU;
            if (10.0..until).contains(&minute) { 31.5 + half * phase.sin() } else { 31.5 }
        };
        let entry = |i: i64| format!("~{}:{:02} {:.3}", i / 4, i % 4 * 15, at(i as f64 / 4.0));
        let points: Vec<String> = (1..=4 * 120).map(entry).collect();
        format!("working 0:00 31.5 | {}", points.join(" | "))
    }

    #[test]
    fn three_cycles_are_told_once_and_over_when_they_stop() {
        check(
            &mut Hunting::default(),
            Hunting::step,
            &swings(0.5, 10.0, 80.0),
            &expect![[r#"
                39:55 raise hunting from 12:40
                87:40 over at 72:40"#]],
        );
    }

    #[test]
    fn small_or_slow_swings_are_none() {
        check(&mut Hunting::default(), Hunting::step, &swings(0.35, 10.0, 80.0), &expect![""]);
        check(&mut Hunting::default(), Hunting::step, &swings(0.6, 34.0, 120.0), &expect![""]);
    }

    /// A probe that is read twice a minute and flickers by up to half a degree: twelve made-up readings, over and over.
    #[test]
    fn noise_is_none() {
        let noise = [0.1, -0.3, 0.4, -0.1, 0.0, 0.5, -0.4, 0.2, -0.5, 0.1, 0.3, -0.2];
        let entry = |i: usize| format!("{}:{:02} {:.3}", i / 2, i % 2 * 30, 31.5 + noise[i % noise.len()]);
        let points: Vec<String> = (1..2 * 120).map(entry).collect();
        let script = format!("working 0:00 31.5 | {}", points.join(" | "));
        check(&mut Hunting::default(), Hunting::step, &script, &expect![""]);
    }

    /// Swings of 0.68 °C, once in twenty minutes, that a probe shows with even noise up to a fifth of a degree: more than 0.8 °C from the lowest level to
    /// the highest, of which the noise makes the rest. The same noise on swings of a degree hides none of them.
    #[test]
    fn what_noise_adds_to_a_swing_is_taken_off() {
        let hold = |half: f64| {
            let swing = |minute: f64| half * (minute / 20.0 * std::f64::consts::TAU).sin();
            let mut random = 1_u64;
            let mut noise = || {
                // Knuth's linear congruential generator, of which the upper bits are good.
                random =
                    random.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (random >> 40) as f64 / (1_u64 << 24) as f64 * 0.4 - 0.2
            };
            let mut at = |i: usize| 31.5 + swing(i as f64 / 12.0) + noise();
            let mut entry = |i: usize| format!("~{}:{:02} {:.3}", i / 12, i % 12 * 5, at(i));
            let points: Vec<String> = (1..=12 * 150).map(&mut entry).collect();
            format!("working 0:00 31.5 | {}", points.join(" | "))
        };
        check(&mut Hunting::default(), Hunting::step, &hold(0.34), &expect![""]);
        check(&mut Hunting::default(), Hunting::step, &hold(0.5), &expect!["58:55 raise hunting from 4:55"]);
    }

    #[test]
    fn what_a_set_point_does_is_none() {
        check_with(
            &mut Hunting::default(),
            Hunting::step,
            &swings(0.5, 10.0, 80.0),
            |m| m.disturbed_at = (m.at.as_millis() > 600_000).then(|| m.at.floor(Span::from_mins(15))),
            &expect![""],
        );
    }
}
