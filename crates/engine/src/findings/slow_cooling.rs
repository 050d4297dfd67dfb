//! `slow-cooling`, medium, high from twice the usual: the projected length of the cooling is over 1.35 × the usual one, the
//! projection's own uncertainty counted; at the latest when 1.35 × has passed (contract, section 6).
//!
//! The projection is in [`super::projection`]. It counts as late only when the early end of its interval is, three times in a row and half
//! of the usual length has passed, and where no set-point is known only of a charge that has left its melt. What falls to a set-point far above the
//! working range, after it was too hot or for the night, is no cooling that could be late, nor is what takes up cold pieces. The same projection gives the
//! minutes to ready that people see.

use std::sync::OnceLock;

use model::{FindingKind, Forecast, Phase, Priority, Span, Timestamp};
use serde::{Deserialize, Serialize};

use super::projection::{Cooling, Projected};
use super::{Moment, Report, Verdict, number};
use crate::phases::soak_from;

/// Too slow from this much of the usual length on (contract, section 6).
const SLOW: f64 = 1.35;
/// ... and very much so from here on.
pub(crate) const VERY_SLOW: f64 = 2.0;
/// A new projection each minute.
const EVERY: Span = Span::from_mins(1);
/// Projections in a row that have to agree.
const AGREE: u8 = 3;
/// And so much of the usual length has to have passed: until then the machine itself is still turning cold.
const PROJECTED_FROM: f64 = 0.5;

/// Behind a gap it takes so long until it is known whether it still cools ...
const HEARD_AGAIN: Span = Span::from_mins(2);
/// ... what is dated so shortly before it may have begun in it ...
const EDGE: Span = Span::from_mins(5);
/// ... and of a longer one nothing is gained by knowing where it began.
const LONGEST_UNSEEN: Span = Span::from_hours(12);

/// A charge that is held by its set-point does not fall further below it, °C ...
const HELD_WITHIN: f64 = 3.0;
/// ... and one that is asked to stay so far above its working range, °C, is kept warm, for the night perhaps: ready cocoa-butter crystals go in less above
/// it (domain brief, 9).
const KEPT_WARM: f64 = 2.0;

/// Is it kept warm by its set-point, or does it take up the cold pieces of a melt?
fn is_kept_warm(m: &Moment<'_>) -> bool {
    let warm = m.limits.working.high() + KEPT_WARM;
    m.setpoint.is_some_and(|setpoint| warm < setpoint && setpoint - HELD_WITHIN < m.level)
        || m.may_melt_pieces()
}

/// Does it fall away from its melt? Where nobody says what is asked for, a charge that is still in it may only be kept less warm.
fn falls_away(m: &Moment<'_>) -> bool {
    m.setpoint.is_some() || m.level < soak_from(m.limits)
}

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct SlowCooling {
    next_fit: Option<Timestamp>,
    late_in_a_row: u8,
    /// The newest projection, where it was worked out: the fit is dear, and hardly any cooling can be late.
    projected: Option<Projected>,
    raised: Option<Priority>,
    /// The newest time of which nothing is known, from the reading before it to the one behind it, or the one in which it may have begun to cool.
    unseen: Option<(Timestamp, Timestamp)>,
    /// When it was heard of again after the newest gap.
    heard_again: Option<Timestamp>,
    /// The same for people, who were the first to ask; not saved, because whether they did must change nothing.
    #[serde(skip)]
    shown: OnceLock<Option<Projected>>,
}

impl SlowCooling {
    pub(crate) fn step(&mut self, m: &Moment<'_>) -> Verdict {
        if m.gap {
            let before = m.history.chocolate(m.at - LONGEST_UNSEEN, m.at).next_back();
            let gap = (before.map_or(m.at - LONGEST_UNSEEN, |(at, _)| at), m.at);
            let hides_begin =
                m.phase == Phase::Cooling && self.unseen.is_some_and(|unseen| began_in(unseen, m));
            if !hides_begin {
                self.unseen = Some(gap);
            }
            self.heard_again = Some(m.at);
        }
        match m.phase {
            Phase::Cooling => self.cooling(m),
            Phase::Idle
            | Phase::Melting
            | Phase::Soak
            | Phase::Settling
            | Phase::Working
            | Phase::Rewarming => {
                let was_open = self.raised.is_some();
                *self = SlowCooling {
                    unseen: self.unseen,
                    heard_again: self.heard_again,
                    ..SlowCooling::default()
                };
                if was_open { Verdict::Over(m.phase_since.min(m.at)) } else { Verdict::Quiet }
            }
        }
    }

    /// When the working range should be reached, from the newest projection; `cooling`: how it stood at a moment.
    pub(crate) fn forecast<'a>(
        &self,
        cooling: impl FnOnce(Timestamp) -> Option<Cooling<'a>>,
    ) -> Option<Forecast> {
        let fitted_at = self.next_fit? - EVERY;
        let projected =
            self.projected.or_else(|| *self.shown.get_or_init(|| cooling(fitted_at)?.projected()))?;
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
            self.shown = OnceLock::new();
            self.projected = may_be_late(m).then(|| m.cooling().projected()).flatten();
            let early = self.projected.map(|p| p.early_min - self.unseen_min(m));
            let late = early.zip(m.usual_cooling_min).is_some_and(|(early, usual)| early > SLOW * usual);
            self.late_in_a_row = if late { self.late_in_a_row.saturating_add(1) } else { 0 };
        }
        let Some(usual) = m.usual_cooling_min.filter(|_| m.cooling_seen_whole && !is_kept_warm(m)) else {
            return Verdict::Quiet;
        };
        if self.heard_again.is_some_and(|heard_again| m.at - heard_again < HEARD_AGAIN) {
            return Verdict::Quiet;
        }
        let passed = (m.known - m.phase_since).as_mins_f64() - self.unseen_min(m);
        let told = self.late_in_a_row >= AGREE && passed >= PROJECTED_FROM * usual && falls_away(m);
        let early = self.projected.filter(|_| told).map_or(0.0, |p| p.early_min - self.unseen_min(m));
        let ratio = early.max(passed) / usual;
        let priority = if ratio >= VERY_SLOW { Priority::High } else { Priority::Medium };
        match self.raised {
            None if ratio > SLOW => {
                self.raised = Some(priority);
                self.report(m, priority, passed, usual).raise()
            }
            Some(Priority::Medium) if priority == Priority::High => {
                self.raised = Some(Priority::High);
                Verdict::Worse { priority, says: says(self.newest(m), passed, usual) }
            }
            Some(_) | None => Verdict::Quiet,
        }
    }

    /// By how much it may have begun later than it is dated, min: what began while nothing was known may have begun at its end.
    fn unseen_min(&self, m: &Moment<'_>) -> f64 {
        let unseen = self.unseen.filter(|unseen| began_in(*unseen, m));
        unseen.map_or(0.0, |(_, to)| (to - m.phase_since).as_mins_f64())
    }

    /// The newest projection, even where it could not be late.
    fn newest(&self, m: &Moment<'_>) -> Option<Projected> {
        let at = self.next_fit? - EVERY;
        let then =
            || Some(Cooling { at, known: at + (m.known - m.at), level: m.history.level(at)?, ..m.cooling() });
        self.projected.or_else(|| then()?.projected())
    }

    fn report(&self, m: &Moment<'_>, priority: Priority, passed: f64, usual: f64) -> Report {
        let mut evidence = vec![number("passed_min", passed), number("usual_min", usual)];
        let projected = self.newest(m);
        if let Some(p) = projected {
            let finite = [("projected_min", p.likely_min), ("projected_early_min", p.early_min)];
            evidence
                .extend(finite.into_iter().filter(|(_, v)| v.is_finite()).map(|(name, v)| number(name, v)));
        }
        Report {
            kind: FindingKind::SlowCooling,
            priority,
            from: m.phase_since,
            raised_at: m.known,
            says: says(projected, passed, usual),
            evidence,
            advice: "Feel for cold water or air at this machine and look at the others: if all are slow it is the supply or the \
                     room, if only this one its valve, filter or fan; seed later, not warmer.",
        }
    }
}

/// Can the phase have begun in a time of which nothing is known?
fn began_in((from, to): (Timestamp, Timestamp), m: &Moment<'_>) -> bool {
    from - EDGE <= m.phase_since && m.phase_since <= to
}

/// The early end of a projection is never behind the length that the cooling would have if it went on straight.
fn may_be_late(m: &Moment<'_>) -> bool {
    let late = |usual| m.cooling().not_later_than_min().is_some_and(|early| early > SLOW * usual);
    m.usual_cooling_min.is_some_and(late)
}

fn says(projected: Option<Projected>, passed: f64, usual: f64) -> String {
    match projected.map(|p| p.likely_min) {
        Some(likely) if likely.is_finite() && likely > passed => {
            format!("Cooling will take about {likely:.0} min instead of the usual {usual:.0} min.")
        }
        Some(likely) if !likely.is_finite() => {
            format!("As it cools now it will not reach its working range; {usual:.0} min are usual.")
        }
        Some(_) | None => format!("Cooling has taken {passed:.0} min; {usual:.0} min are usual."),
    }
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use super::super::testing::check_with;
    use super::*;

    fn newton(minutes: i64, tau: f64) -> String {
        let at = |t: f64| 18.0 + 28.0 * (-t / tau).exp();
        let points: Vec<String> = (1..=minutes * 2)
            .map(|i| format!("~{}:{:02} {:.3}", i / 2, i % 2 * 30, at(i as f64 / 2.0)))
            .collect();
        format!("cooling 0:00 46 | {}", points.join(" | "))
    }

    #[test]
    fn a_usual_cooling_says_nothing() {
        check_with(
            &mut SlowCooling::default(),
            SlowCooling::step,
            &newton(74, 114.0),
            |m| m.usual_cooling_min = Some(75.0),
            &expect![""],
        );
    }

    #[test]
    fn twice_as_slow_is_told_long_before_the_time_is_up() {
        check_with(
            &mut SlowCooling::default(),
            SlowCooling::step,
            &newton(100, 230.0),
            |m| m.usual_cooling_min = Some(75.0),
            &expect!["37:30 raise slow-cooling from 0:00"],
        );
    }

    #[test]
    fn without_a_usual_length_nothing_is_slow() {
        check_with(&mut SlowCooling::default(), SlowCooling::step, &newton(100, 400.0), |_| {}, &expect![""]);
    }
}
