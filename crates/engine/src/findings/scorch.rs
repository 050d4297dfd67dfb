//! `scorch`, high: chocolate above the scorch limit for 10 s (contract, section 6).
//!
//! Limit: by family 55, 50 or 48 °C. Milk and white suffer above 50 °C, dark usually keeps to 55 °C (a cookbook's
//! table). The probe sees the bulk; it is the wall that burns, so this speaks late rather than early.
//! Ten seconds are those between readings, all of them above the limit: a tick is too coarse for that, and too late. Deadband 0.5 °C. Not raised
//! when idle; a charge that was switched off in its soak can burn all the same.

use model::{FindingKind, Phase, Priority, Span, Timestamp};
use serde::{Deserialize, Serialize};

use super::watch::{Condition, Edge, Watch};
use super::{Moment, Report, Verdict, number};

const FOR: Span = Span::from_secs(10);
const DEADBAND: f64 = 0.5;

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Scorch {
    /// As the last tick had it, °C.
    limit: Option<f64>,
    run: Option<Run>,
    /// When it was told.
    told_at: Option<Timestamp>,
    /// Whether it is over is a matter of ticks.
    watch: Watch,
}

/// Readings above the limit, one after another.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Run {
    from: Timestamp,
    last: Timestamp,
}

/// How a reading's charge stands.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Heat {
    /// Its scorch limit, °C.
    pub(crate) limit: f64,
    /// How far apart two readings may be before something is missing between them.
    pub(crate) longest_gap: Span,
    pub(crate) phase: Phase,
}

impl Scorch {
    /// Takes a chocolate reading that nothing is wrong with; what it closed has been stepped.
    pub(crate) fn note_reading(&mut self, at: Timestamp, value: f64, heat: Heat) -> Verdict {
        if value <= heat.limit {
            self.run = None;
            return Verdict::Quiet;
        }
        let goes_on = |run: &Run| at - run.last <= heat.longest_gap;
        let run = self.run.filter(goes_on).unwrap_or(Run { from: at, last: at });
        self.run = Some(Run { last: at, ..run });
        if at - run.from < FOR || self.watch.is_open() || heat.phase == Phase::Idle {
            return Verdict::Quiet;
        }
        self.told_at = Some(at);
        self.watch.step(at, at, Condition::Bad, false, Span::ZERO);
        Report {
            kind: FindingKind::Scorch,
            priority: Priority::High,
            from: run.from,
            raised_at: at,
            says: format!(
                "The chocolate is at {value:.1} °C, above its scorch limit of {:.1} °C.",
                heat.limit
            ),
            evidence: vec![number("chocolate_c", value), number("scorch_limit_c", heat.limit)],
            advice: "Mind hot walls and the moving scraper: turn the heat off, keep it stirred, then sieve and taste; quality decides \
                     whether it can be used.",
        }
        .raise()
    }

    /// Does a reading change nothing?
    #[inline]
    pub(crate) fn ignores(&self, value: f64) -> bool {
        self.run.is_none() && self.limit.is_some_and(|limit| value <= limit)
    }

    pub(crate) fn step(&mut self, m: &Moment<'_>) -> Verdict {
        self.limit = Some(m.limits.scorch);
        if m.charge_is == Phase::Idle {
            self.run = None;
        }
        self.is_over(m)
    }

    /// Is it, if it was told?
    fn is_over(&mut self, m: &Moment<'_>) -> Verdict {
        // The tick of the reading with which it was told has begun before that.
        if !self.watch.is_open() || self.told_at.is_some_and(|told| m.at < told) {
            return Verdict::Quiet;
        }
        let condition = match m.charge_is {
            Phase::Idle => Condition::Clear,
            Phase::Melting
            | Phase::Soak
            | Phase::Cooling
            | Phase::Settling
            | Phase::Working
            | Phase::Rewarming => Condition::above(m.chocolate, m.limits.scorch, DEADBAND),
        };
        match self.watch.step(m.at, m.known, condition, m.gap, FOR) {
            Edge::Over { at } => Verdict::Over(at),
            Edge::None | Edge::Raise { .. } => Verdict::Quiet,
        }
    }
}

#[cfg(test)]
mod tests {
    use model::Channel;
    use plant::Family;

    use super::super::testing::moment;
    use super::*;
    use crate::history::History;
    use crate::timeline::Timeline;

    /// A charge of 54 °C that is read every so many milliseconds and stands at 55.6 °C from the reading at `hot.0` s on, up to and with that at
    /// `hot.1` s. What is told, in seconds.
    fn told(phase: Phase, every_ms: i64, hot: (f64, f64)) -> Vec<String> {
        told_of(phase, every_ms, |second| if hot.0 <= second && second <= hot.1 { 55.6 } else { 54.0 })
    }

    fn told_of(phase: Phase, every_ms: i64, course: impl Fn(f64) -> f64) -> Vec<String> {
        let limits = Family::Dark.default_limits();
        let seconds = |at: Timestamp| at.as_millis() as f64 / 1000.0;
        let (mut detector, mut history, mut told) = (Scorch::default(), History::default(), Vec::new());
        let (mut ticker, timeline) = (frames::Ticker::new(Span::from_secs(5)), Timeline::default());
        let mut note = |verdict: Verdict| match verdict {
            Verdict::Raise(report) => {
                told.push(format!("{} raise from {}", seconds(report.raised_at), seconds(report.from)));
            }
            Verdict::Over(at) => told.push(format!("over at {}", seconds(at))),
            Verdict::Quiet | Verdict::Worse { .. } => {}
        };
        for i in 0..600_000 / every_ms {
            let at = Timestamp::from_millis(i * every_ms);
            let value = course(seconds(at));
            if let Some(tick) = ticker.insert(Channel::Chocolate, at, value) {
                history.push(tick);
                let chocolate = tick.chocolate().unwrap();
                note(detector.step(&moment(phase, tick.at, chocolate, &history, &timeline, &limits)));
            }
            let heat = Heat { limit: limits.scorch, longest_gap: Span::from_mins(1), phase };
            note(detector.note_reading(at, value, heat));
        }
        told
    }

    #[test]
    fn ten_seconds_above_the_limit_by_the_readings() {
        for (every_ms, from) in [(1_000, 60.0), (1_000, 62.0), (1_000, 64.0), (2_000, 62.0), (5_000, 60.0)] {
            let short = told(Phase::Soak, every_ms, (from, from + 9.0));
            assert!(short.is_empty(), "{every_ms} ms from {from} s on: {short:?}");
            let long = told(Phase::Soak, every_ms, (from, from + 11.0));
            assert_eq!(long[0], format!("{} raise from {from}", from + 10.0), "{every_ms} ms");
            assert_eq!(long.len(), 2, "and it is over: {long:?}");
        }
    }

    #[test]
    fn it_is_told_once_however_long_it_lasts() {
        assert_eq!(told(Phase::Soak, 1_000, (60.0, 300.0)), ["70 raise from 60", "over at 300"]);
    }

    /// Half a degree below its limit a charge may still be on its way up again.
    #[test]
    fn it_is_over_below_the_deadband() {
        let course = |second: f64| match second {
            ..60.0 => 54.0,
            60.0..120.0 => 55.2,
            120.0..300.0 => 54.8,
            _ => 54.2,
        };
        assert_eq!(told_of(Phase::Soak, 5_000, course), ["70 raise from 60", "over at 300"]);
    }

    #[test]
    fn idle_is_not_watched() {
        assert!(told(Phase::Idle, 1_000, (60.0, 300.0)).is_empty());
    }
}
