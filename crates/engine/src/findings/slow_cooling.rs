//! `slow-cooling`, medium, high from twice the usual: the projected length of the cooling is over 1.35 × the usual one, the
//! projection's own uncertainty counted; at the latest when 1.35 × has passed (contract, section 6).
//!
//! Projection: Newton's law through the cooling so far, above the temperatures at which crystals form (domain brief 4.2), against the measured
//! jacket where there is one. It counts as late only when the early end of its interval is, twice in a row. Where seed will
//! be added, nobody knows when: the early end is taken as if seed went in 2 °C above the range's end.
//! The same fit gives the minutes to ready that people see.

use maths::cooling::{Arrival, Jacket, Surroundings, arrival, fit};
use model::{Channel, FindingKind, Forecast, Phase, Priority, Span, Timestamp};
use serde::{Deserialize, Serialize};

use super::{Moment, Report, Verdict, number};
use crate::phases::WORKING_MARGIN;

/// Too slow from this much of the usual length on (contract, section 6).
const SLOW: f64 = 1.35;
const VERY_SLOW: f64 = 2.0;
/// The early end is missed by one cooling in ten.
const COVERAGE: f64 = 0.8;
/// A new projection each minute.
const EVERY: Span = Span::from_mins(1);
/// The wall has to turn cold first; until then the curve is not Newton's.
const SKIPPED: Span = Span::from_mins(4);
/// No projection from less than this.
const SHORTEST: Span = Span::from_mins(8);
/// A fit of this many points takes well below a millisecond.
const MOST_POINTS: usize = 160;
/// Seed goes in at the latest this far above the end of the cooling, °C (domain brief 2.4 b: at 33–35 °C).
const SEEDED_ABOVE: f64 = 2.0;
/// Projections in a row that have to agree.
const AGREE: u8 = 2;

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct SlowCooling {
    next_fit: Option<Timestamp>,
    late_in_a_row: u8,
    projected: Option<Projected>,
    raised: Option<Priority>,
}

/// Length of the cooling from its start, minutes; infinite where the level is above the target.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Projected {
    early_min: f64,
    likely_min: f64,
    late_min: Option<f64>,
    from: Timestamp,
}

impl SlowCooling {
    pub(crate) fn step(&mut self, m: &Moment<'_>) -> Verdict {
        match m.phase {
            Phase::Cooling => self.cooling(m),
            Phase::Idle | Phase::Melting | Phase::Soak | Phase::Settling | Phase::Working | Phase::Rewarming => {
                let was_open = self.raised.is_some();
                *self = SlowCooling::default();
                if was_open { Verdict::Over(m.phase_since.min(m.at)) } else { Verdict::Quiet }
            }
        }
    }

    /// When the working range should be reached, from the newest projection.
    pub(crate) fn forecast(&self) -> Option<Forecast> {
        let projected = self.projected?;
        let (at, late) = (projected.likely_min, projected.late_min?);
        let give = (late - at).max((at - projected.early_min).max(0.0));
        at.is_finite().then(|| Forecast {
            at: projected.from + Span::from_mins_f64(at),
            give_or_take: Span::from_mins_f64(give),
        })
    }

    fn cooling(&mut self, m: &Moment<'_>) -> Verdict {
        if self.next_fit.is_none_or(|next| m.at >= next) {
            self.next_fit = Some(m.at + EVERY);
            self.projected = project(m);
            let late = self.projected.zip(m.usual_cooling_min).is_some_and(|(p, usual)| p.early_min > SLOW * usual);
            self.late_in_a_row = if late { self.late_in_a_row.saturating_add(1) } else { 0 };
        }
        let Some(usual) = m.usual_cooling_min.filter(|_| m.cooling_seen_whole) else { return Verdict::Quiet };
        let passed = (m.known - m.phase_since).as_mins_f64();
        let early = self.projected.filter(|_| self.late_in_a_row >= AGREE).map_or(0.0, |p| p.early_min);
        let ratio = early.max(passed) / usual;
        let priority = if ratio >= VERY_SLOW { Priority::High } else { Priority::Medium };
        match self.raised {
            None if ratio > SLOW => {
                self.raised = Some(priority);
                self.report(m, priority, passed, usual).raise()
            }
            Some(Priority::Medium) if priority == Priority::High => {
                self.raised = Some(Priority::High);
                Verdict::Worse { priority, says: self.says(passed, usual) }
            }
            Some(_) | None => Verdict::Quiet,
        }
    }

    fn says(&self, passed: f64, usual: f64) -> String {
        match self.projected.map(|p| p.likely_min) {
            Some(likely) if likely.is_finite() && likely > passed => {
                format!("Cooling will take about {likely:.0} min instead of the usual {usual:.0} min.")
            }
            Some(likely) if !likely.is_finite() => {
                format!("As it cools now it will not reach its working range; {usual:.0} min are usual.")
            }
            Some(_) | None => format!("Cooling has taken {passed:.0} min; {usual:.0} min are usual."),
        }
    }

    fn report(&self, m: &Moment<'_>, priority: Priority, passed: f64, usual: f64) -> Report {
        let mut evidence = vec![number("passed_min", passed), number("usual_min", usual)];
        if let Some(p) = self.projected {
            let finite = [("projected_min", p.likely_min), ("projected_early_min", p.early_min)];
            evidence.extend(finite.into_iter().filter(|(_, v)| v.is_finite()).map(|(name, v)| number(name, v)));
        }
        Report {
            kind: FindingKind::SlowCooling,
            priority,
            from: m.phase_since,
            raised_at: m.known,
            says: self.says(passed, usual),
            evidence,
            advice: "Feel for cold water or air at this machine and look at the others: if all are slow it is the supply or the \
                     room, if only this one its valve, filter or fan; seed later, not warmer.",
        }
    }
}

fn project(m: &Moment<'_>) -> Option<Projected> {
    let from = m.phase_since + SKIPPED;
    if m.known - from < SHORTEST {
        return None;
    }
    let ticks: Vec<_> = m.history.between(from, m.known).filter(|tick| tick.chocolate().is_some()).collect();
    let step = ticks.len().div_ceil(MOST_POINTS).max(1);
    let (mut seconds, mut values) = (Vec::new(), Vec::new());
    let (mut jacket_seconds, mut jacket_values) = (Vec::new(), Vec::new());
    for tick in ticks.iter().step_by(step) {
        let at = (tick.at - m.phase_since).as_secs_f64();
        seconds.push(at);
        values.push(tick.chocolate()?);
        if let Some(jacket) = tick.other(Channel::Jacket) {
            jacket_seconds.push(at);
            jacket_values.push(jacket);
        }
    }
    let known_jacket = jacket_seconds.len() * 2 >= seconds.len() && !jacket_seconds.is_empty();
    let surroundings = if known_jacket {
        Surroundings::JacketAndOffset(Jacket { seconds: &jacket_seconds, values: &jacket_values })
    } else {
        Surroundings::Unknown
    };
    let fitted = fit(&seconds, &values, surroundings).ok()?;
    let target = m.limits.working.high() + WORKING_MARGIN;
    let early_target = if m.seeded { target + SEEDED_ABOVE } else { target };
    let passed = (m.known - m.phase_since).as_secs_f64();
    let early = match arrival(&fitted, early_target, COVERAGE)? {
        Arrival::Passed => passed,
        Arrival::Expected(projection) => projection.low,
        // It will not come down by itself, or only if the level lies lower than it seems.
        Arrival::NotExpected { earliest } => earliest.unwrap_or(f64::INFINITY),
    };
    let (likely, late) = match arrival(&fitted, target, COVERAGE)? {
        Arrival::Passed => (passed, Some(passed)),
        Arrival::Expected(projection) => (projection.seconds, projection.high),
        Arrival::NotExpected { .. } => (f64::INFINITY, None),
    };
    Some(Projected {
        early_min: early / 60.0,
        likely_min: likely / 60.0,
        late_min: late.map(|late| late / 60.0),
        from: m.phase_since,
    })
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use super::super::testing::check_with;
    use super::*;

    fn newton(minutes: i64, tau: f64) -> String {
        let at = |t: f64| 18.0 + 28.0 * (-t / tau).exp();
        let points: Vec<String> =
            (1..=minutes * 2).map(|i| format!("~{}:{:02} {:.3}", i / 2, i % 2 * 30, at(i as f64 / 2.0))).collect();
        format!("cooling 0:00 46 | {}", points.join(" | "))
    }

    #[test]
    fn a_usual_cooling_says_nothing() {
        check_with(
            &mut SlowCooling::default(),
            SlowCooling::step,
            &newton(74, 114.0),
            |m| m.usual_cooling_min = Some(75.0),
            expect![""],
        );
    }

    #[test]
    fn twice_as_slow_is_told_long_before_the_time_is_up() {
        check_with(
            &mut SlowCooling::default(),
            SlowCooling::step,
            &newton(100, 230.0),
            |m| m.usual_cooling_min = Some(75.0),
            expect![[r#"
                13:05 raise slow-cooling from 0:00
                19:05 now high"#]],
        );
    }

    #[test]
    fn without_a_usual_length_nothing_is_slow() {
        check_with(&mut SlowCooling::default(), SlowCooling::step, &newton(100, 400.0), |_| {}, expect![""]);
    }
}
