//! `probe-stuck`, medium: chocolate unchanged for 10 min, and either this probe's quiet time is normally (95 %) spent in runs shorter than
//! 2 min, or the jacket's mean moved 2 °C one way in those minutes (contract, section 6).
//!
//! A flat line can be excellent control, low resolution or a dead logger (common practice, no source): what this probe usually does tells
//! which. Runs count towards the habit only where the chocolate holds; while it moves, every probe flickers.

use model::{Channel, FindingKind, Priority, Span, Timestamp};
use serde::{Deserialize, Serialize};

use super::{Report, Verdict, number};
use crate::history::{History, mean};
use crate::jacket::HOLDS;

const FOR: Span = Span::from_mins(10);
const SHORT_RUN: Span = Span::from_mins(2);
const NORMALLY: f64 = 0.95;
/// A habit is known after half an hour of quiet time (start value).
const HABIT_FROM: Span = Span::from_mins(30);
const JACKET_MOVE: f64 = 2.0;
/// By the middle of the ten minutes it has made so much of its way: one that has only just turned has not reached the probe yet.
const UNDER_WAY: f64 = 0.1;
/// A jacket that goes to and fro has a longer way than this many times what it has moved, by its means over so many pieces of those minutes (start
/// values).
const ONE_WAY: f64 = 1.5;
const PIECES: i64 = 5;
/// Ends of the ten minutes over which the jacket's means are taken.
const JACKET_ENDS: Span = Span::from_mins(2);

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct ProbeStuck {
    run: Option<Run>,
    quiet: Span,
    quiet_in_short_runs: Span,
    open: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Run {
    from: Timestamp,
    last: Timestamp,
    value: f64,
}

/// Looks ahead along readings for one that has not changed for long.
#[derive(Debug)]
pub(crate) struct Flickering(Option<Run>);

impl Flickering {
    /// Is the next reading none that could be judged to be stuck?
    #[inline]
    pub(crate) fn goes_on(&mut self, at: Timestamp, value: f64) -> bool {
        match self.0 {
            Some(run) if run.value == value => at - run.from < FOR,
            Some(_) | None => {
                self.0 = Some(Run { from: at, last: at, value });
                true
            }
        }
    }
}

impl ProbeStuck {
    /// Are the readings doubted?
    pub(crate) fn is_open(&self) -> bool {
        self.open
    }

    /// Looks ahead along readings that come without a gap.
    pub(crate) fn run(&self) -> Flickering {
        Flickering(self.run)
    }

    /// Takes a possible reading. `quiet`: the chocolate is holding; `longest_gap`: how far apart two readings may be that show the same without a
    /// break.
    #[inline]
    pub(crate) fn step(
        &mut self,
        at: Timestamp,
        value: f64,
        quiet: bool,
        history: &History,
        longest_gap: Span,
    ) -> Verdict {
        if self.goes_on(at, value, quiet, longest_gap) {
            self.judge(at, value, history)
        } else if std::mem::take(&mut self.open) {
            Verdict::Over(at)
        } else {
            Verdict::Quiet
        }
    }

    /// Takes a possible reading that cannot be judged to be stuck. Does the run go on with it?
    #[inline]
    pub(crate) fn goes_on(&mut self, at: Timestamp, value: f64, quiet: bool, longest_gap: Span) -> bool {
        let without_gap = self.run.filter(|run| at - run.last <= longest_gap);
        match without_gap {
            Some(run) if run.value == value => {
                self.run = Some(Run { last: at, ..run });
                true
            }
            ended => {
                self.run = Some(Run { from: at, last: at, value });
                if let Some(run) = ended.filter(|_| !self.open) {
                    self.learn(run, at, quiet);
                }
                false
            }
        }
    }

    #[inline]
    fn learn(&mut self, run: Run, ended: Timestamp, quiet: bool) {
        if quiet {
            let lasted = ended - run.from;
            self.quiet = self.quiet + lasted;
            if run.last - run.from < SHORT_RUN {
                self.quiet_in_short_runs = self.quiet_in_short_runs + lasted;
            }
        }
    }

    fn flickers(&self) -> bool {
        self.quiet >= HABIT_FROM
            && self.quiet_in_short_runs.as_secs_f64() >= NORMALLY * self.quiet.as_secs_f64()
    }

    fn judge(&mut self, at: Timestamp, value: f64, history: &History) -> Verdict {
        let from = self.run.map_or(at, |run| run.from);
        if self.open || at - from < FOR {
            return Verdict::Quiet;
        }
        let jacket = jacket_move(history, at - FOR, at);
        let jacket_moved = jacket.is_some_and(|moved| moved.abs() >= JACKET_MOVE);
        if !(self.flickers() || jacket_moved) {
            return Verdict::Quiet;
        }
        self.open = true;
        let mut evidence = vec![number("value_c", value), number("unchanged_min", (at - from).as_mins_f64())];
        evidence.extend(jacket.map(|moved| number("jacket_moved_c", moved)));
        Report {
            kind: FindingKind::ProbeStuck,
            priority: Priority::Medium,
            from,
            raised_at: at,
            says: format!("The chocolate probe has shown {value:.2} °C without a change for ten minutes."),
            evidence,
            advice: "Measure by hand, compare with the machine's own display, and restart the logger if the two differ.",
        }
        .raise()
    }
}

/// How far the jacket's mean moved one way between two moments, °C; `None` if it went back and forth, has only begun to move or is not
/// known.
fn jacket_move(history: &History, from: Timestamp, to: Timestamp) -> Option<f64> {
    let jacket =
        |from: Timestamp, to: Timestamp| mean(history.values(from, to, |tick| tick.other(Channel::Jacket)));
    let middle = from + (to - from) / 2;
    // Where it is told by the minute, the newest two may lie a little further back.
    let first = jacket(from, from + JACKET_ENDS).or_else(|| jacket(from, from + HOLDS))?;
    let half = jacket(middle - JACKET_ENDS, middle + JACKET_ENDS)?;
    let last = jacket(to - JACKET_ENDS, to).or_else(|| jacket(to - HOLDS, to))?;
    let moved = last - first;
    let piece = (to - from) / PIECES;
    let pieces: Vec<f64> =
        (0..PIECES).filter_map(|i| jacket(from + piece * i, from + piece * (i + 1))).collect();
    let way: f64 = pieces.windows(2).map(|pair| (pair[1] - pair[0]).abs()).sum();
    let one_way = (half - first) * (last - half) >= 0.0 && way <= ONE_WAY * moved.abs();
    (one_way && (half - first).abs() >= UNDER_WAY * moved.abs()).then_some(moved)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> Timestamp {
        Timestamp::from_millis(seconds * 1000)
    }

    /// Feeds a reading every five seconds and says when it was raised and over.
    fn run(values: impl Iterator<Item = f64>, jacket: impl Fn(i64) -> f64) -> Vec<String> {
        let (mut detector, mut history, mut told) = (ProbeStuck::default(), History::default(), Vec::new());
        let mut ticker = frames::Ticker::new(Span::from_secs(5));
        for (i, value) in values.enumerate() {
            let second = i as i64 * 5;
            match detector.step(at(second), value, true, &history, Span::from_secs(60)) {
                Verdict::Raise(report) => {
                    told.push(format!("{second} raise from {}", report.from.as_millis() / 1000));
                }
                Verdict::Over(_) => told.push(format!("{second} over")),
                Verdict::Quiet | Verdict::Worse { .. } => {}
            }
            ticker
                .insert(Channel::Chocolate, at(second), value)
                .into_iter()
                .for_each(|tick| history.push(tick));
            ticker.insert(Channel::Jacket, at(second), jacket(second));
        }
        told
    }

    fn flickering(i: i64) -> f64 {
        31.4 + f64::from((i % 3) as i32) * 0.01
    }

    #[test]
    fn a_probe_that_flickers_and_stops_is_stuck() {
        let values = (0..1500).map(|i| if !(600..1000).contains(&i) { flickering(i) } else { 31.42 });
        assert_eq!(run(values, |_| 32.0), ["3600 raise from 3000", "5000 over"]);
    }

    #[test]
    fn a_coarse_probe_in_a_good_hold_is_not() {
        assert!(run((0..2000).map(|i| if i / 100 % 2 == 0 { 31.4 } else { 31.5 }), |_| 32.0).is_empty());
        assert!(run((0..2000).map(|_| 31.4), |_| 32.0).is_empty());
    }

    #[test]
    fn a_jacket_that_moves_by_the_minute_tells_on_it() {
        let (mut detector, mut history) = (ProbeStuck::default(), History::default());
        let mut ticker = frames::Ticker::new(Span::from_secs(5));
        let mut raised = |minute: &i64| {
            // A clock that is a little late now and then.
            let at = at(minute * 60) + Span::from_millis(minute % 3 * 20);
            let verdict = detector.step(at, 31.4, true, &history, Span::from_mins(5));
            ticker.insert(Channel::Chocolate, at, 31.4).into_iter().for_each(|tick| history.push(tick));
            ticker.insert(Channel::Jacket, at, 32.0 + 0.4 * *minute as f64);
            verdict != Verdict::Quiet
        };
        let told: Vec<_> = (0..20).filter(&mut raised).collect();
        assert_eq!(told, [10]);
    }

    /// Set down for a minute: its wall is colder by five degrees, and a probe in a well does not know it yet.
    #[test]
    fn a_jacket_that_has_only_just_turned_tells_nothing() {
        let turned = |second: i64| if second < 900 { 32.0 } else { 32.0 - (second - 900) as f64 * 0.08 };
        assert!(run((0..210).map(|_| 31.4), turned).is_empty());
        assert_eq!(run((0..400).map(|_| 31.4), turned).len(), 1);
    }

    /// On and off in six minutes, by seven degrees: after ten minutes it is elsewhere on its way.
    #[test]
    fn a_jacket_that_goes_to_and_fro_tells_nothing() {
        let by_the_minute = [35.7, 36.0, 31.1, 29.4, 30.2, 34.5];
        let swings = |second: i64| by_the_minute[(second / 60) as usize % 6];
        assert!(run((0..2_000).map(|_| 31.7), swings).is_empty());
    }

    #[test]
    fn a_jacket_that_moves_tells_on_it() {
        let told = run((0..400).map(|_| 31.4), |second| {
            if second < 900 { 32.0 } else { 32.0 + (second - 900) as f64 * 0.01 }
        });
        assert_eq!(told.len(), 1);
    }
}
