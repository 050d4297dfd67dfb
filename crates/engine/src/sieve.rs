//! The way of one machine's readings to ticks: what is impossible, stuck or a lone jump is left out.
//!
//! The watch and the correction of a batch go the same way, so that a batch which nobody corrects keeps its figures. What the instruments' own
//! findings make of a reading is handed back for the watch to tell.

use std::ops::Range;

use frames::{Rows, Tick, Ticker};
use model::{Channel, Span, Timestamp};
use plant::Style;
use serde::{Deserialize, Serialize};

use crate::findings::Verdict;
use crate::findings::probe_fault::ProbeFault;
use crate::findings::probe_stuck::{Flickering, ProbeStuck};
use crate::findings::spikes::{Passing, SpikeFilter};
use crate::history::History;
use crate::step::step_of;

/// A hold that moves less than this is quiet, °C/min ...
const QUIET_SLOPE: f64 = 0.05;
/// ... over so long, or over longer where so few readings are in that: their own flicker would be the slope.
const QUIET_OVER: Span = Span::from_mins(3);
const QUIET_OVER_FEW: Span = Span::from_mins(10);
const FEW: usize = 12;

const OTHERS: [Channel; 6] =
    [Channel::Jacket, Channel::Room, Channel::Humidity, Channel::Setpoint, Channel::Stirrer, Channel::Motor];

/// Leaves out what is doubted, and makes ticks of the rest.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Sieve {
    filter: SpikeFilter,
    ticker: Ticker,
    probe_stuck: ProbeStuck,
    quiet: bool,
    quiet_looked_at: Option<Timestamp>,
}

/// What a reading that was let on led to.
#[derive(Debug, Default)]
pub(crate) struct Passed {
    /// A lone jump was seen there.
    pub(crate) jumped: Option<Timestamp>,
    /// What goes on now, which may have been held back until then, each with the tick that it closed.
    pub(crate) readings: Vec<(Passing, Option<Tick>)>,
}

impl Passed {
    pub(crate) fn ticks(self) -> impl Iterator<Item = Tick> {
        self.readings.into_iter().filter_map(|(_, closed)| closed)
    }
}

impl Sieve {
    pub(crate) fn new(style: Style) -> Sieve {
        Sieve {
            filter: SpikeFilter::default(),
            ticker: Ticker::new(step_of(style)),
            probe_stuck: ProbeStuck::default(),
            quiet: false,
            quiet_looked_at: None,
        }
    }

    /// Nothing is held back or doubted: the newest good reading, °C, and the run that it stands in.
    pub(crate) fn calm_at(&self) -> Option<(f64, Flickering)> {
        let good = self.filter.calm_at().filter(|_| !self.probe_stuck.is_open())?;
        Some((good, self.probe_stuck.run()))
    }

    /// The tick that a reading at `at` closes, nothing being held back.
    #[inline]
    pub(crate) fn turn(&mut self, at: Timestamp) -> Option<Tick> {
        self.ticker.turn(at).0
    }

    /// Rows of one step, with which nothing is wrong, go into their tick; of all channels but the chocolate the last value counts.
    #[inline]
    pub(crate) fn fill(&mut self, rows: &Rows, step: Range<usize>) {
        let (_, tick) = self.ticker.turn(rows.at(step.start));
        for row in step.clone() {
            if let Some(value) = rows.value(row, Channel::Chocolate) {
                tick.insert(Channel::Chocolate, value);
                self.filter.went_on(rows.at(row), value);
            }
        }
        for channel in OTHERS {
            if let Some(value) = rows.last_value(step.clone(), channel) {
                tick.insert(channel, value);
            }
        }
    }

    /// How long a tick is.
    pub(crate) fn step(&self) -> Span {
        self.ticker.step()
    }

    /// Looks at a chocolate reading before it is let on: what `probe-stuck` says, and the value if it is none of its and possible at all.
    /// `history` holds all ticks so far; `longest_gap` is how far apart two readings may be that show the same without a break.
    #[inline]
    pub(crate) fn look(
        &mut self,
        at: Timestamp,
        value: Option<f64>,
        history: &History,
        longest_gap: Span,
    ) -> Option<(Verdict, Option<f64>)> {
        let value = value.filter(|_| ProbeFault::is_possible(value))?;
        self.look_whether_quiet(at, history);
        let verdict = self.probe_stuck.step(at, value, self.quiet, history, longest_gap);
        Some((verdict, (!self.probe_stuck.is_open()).then_some(value)))
    }

    /// The same for a good reading that cannot be judged to be stuck.
    #[inline]
    pub(crate) fn look_on(&mut self, at: Timestamp, value: f64, history: &History, longest_gap: Span) {
        self.look_whether_quiet(at, history);
        let _run_goes_on = self.probe_stuck.goes_on(at, value, self.quiet, longest_gap);
    }

    /// Is the chocolate holding? Looked at once a minute: a slope over three or more does not change faster.
    #[inline]
    fn look_whether_quiet(&mut self, at: Timestamp, history: &History) {
        if self.quiet_looked_at.is_none_or(|looked| at - looked >= Span::from_mins(1)) {
            self.quiet_looked_at = Some(at);
            let few = history.chocolate(at - QUIET_OVER, at).take(FEW).count() < FEW;
            let line = history.line(at, if few { QUIET_OVER_FEW } else { QUIET_OVER });
            self.quiet = line.is_some_and(|line| line.slope.abs() < QUIET_SLOPE);
        }
    }

    /// Takes a reading that nothing but a jump can be wrong with; `longest_gap` is how far apart two readings of this probe may be.
    pub(crate) fn let_on(&mut self, reading: Passing, longest_gap: Span) -> Passed {
        let mut passed = Vec::new();
        let jumped = self.filter.insert(reading, longest_gap, &mut passed);
        Passed { jumped, readings: self.with_ticks(passed) }
    }

    /// Nothing more will come: what is held goes on, then the last tick.
    pub(crate) fn finish(&mut self) -> (Passed, Option<Tick>) {
        let mut passed = Vec::new();
        self.filter.release(&mut passed);
        (Passed { jumped: None, readings: self.with_ticks(passed) }, self.ticker.finish())
    }

    fn with_ticks(&mut self, passed: Vec<Passing>) -> Vec<(Passing, Option<Tick>)> {
        let mut with_tick = |(at, channel, value)| {
            let closed = self.ticker.insert(channel, at, value);
            ((at, channel, value), closed)
        };
        passed.into_iter().map(&mut with_tick).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Read once a minute: three readings that happen to be alike make a slope of none, and three that flicker make one. Over ten minutes they hold.
    #[test]
    fn a_probe_that_is_read_by_the_minute_has_a_habit() {
        let flicker = [0.1, -0.1, 0.0, 0.2, -0.1, 0.1, -0.2, 0.0, 0.1, -0.1, 0.2];
        let (mut sieve, mut history) = (Sieve::new(Style::Kettle), History::default());
        let mut told = Vec::new();
        for minute in 0..140 {
            let at = Timestamp::from_millis(minute * 60_000);
            let value = 31.4 + if minute < 120 { flicker[minute as usize % flicker.len()] } else { 0.0 };
            let (verdict, value) =
                sieve.look(at, Some(value), &history, Span::from_mins(5)).expect("a possible value");
            if verdict != Verdict::Quiet {
                told.push(minute);
            }
            if let Some(value) = value {
                let passed = sieve.let_on((at, Channel::Chocolate, value), Span::from_mins(5));
                passed.ticks().for_each(|tick| history.push(tick));
            }
        }
        assert_eq!(told, [130]);
    }
}
