//! `temper-loss`, high: in settling or working, the area above the temper-loss limit reaches 1 °C·min in one excursion
//! (contract, section 6).
//!
//! Above the limit crystals melt, and the damage is time at temperature (common practice, no source): an area, not an instant. An
//! excursion lasts until the chocolate has been below the limit for 15 min. Straight lines between ticks; nothing is added over a gap.
//! Limit: by family 33.5, 32.0 or 31.0 °C (common practice, no source). A rise that may be a rise to melt is counted but waits for the decision.

use maths::exposure::{Band, exposure};
use model::{FindingKind, Phase, Priority, Span, Timestamp};
use serde::{Deserialize, Serialize};

use super::{Moment, Report, Verdict, number};

const AREA: f64 = 1.0;
const EXCURSION_ENDS: Span = Span::from_mins(15);

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct TemperLoss {
    excursion: Option<Excursion>,
    before: Option<(Timestamp, f64)>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Excursion {
    from: Timestamp,
    area_c_min: f64,
    highest: f64,
    below_since: Option<Timestamp>,
    state: State,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
enum State {
    Growing,
    Open { raised_at: Timestamp },
    Told,
}

impl TemperLoss {
    pub(crate) fn is_open(&self) -> bool {
        self.excursion.as_ref().is_some_and(|excursion| matches!(excursion.state, State::Open { .. }))
    }

    pub(crate) fn step(&mut self, m: &Moment<'_>) -> Verdict {
        let watched = match m.phase {
            Phase::Settling | Phase::Working => true,
            Phase::Idle | Phase::Melting | Phase::Soak | Phase::Cooling | Phase::Rewarming => false,
        };
        if !watched {
            self.before = None;
            return match self.excursion.take() {
                Some(Excursion { state: State::Open { raised_at }, .. }) => {
                    Verdict::Over(raised_at.max(m.at))
                }
                _ => Verdict::Quiet,
            };
        }
        let above = m.chocolate - m.limits.temper_loss;
        let before = self.before.replace((m.at, above)).filter(|_| !m.gap);
        if above > 0.0 && self.excursion.is_none() {
            self.excursion = Some(Excursion {
                from: m.at,
                area_c_min: 0.0,
                highest: m.chocolate,
                below_since: None,
                state: State::Growing,
            });
        }
        let Some(excursion) = &mut self.excursion else { return Verdict::Quiet };
        if let Some((then, above_then)) = before {
            excursion.area_c_min += area_above(above_then, above, m.at - then);
        }
        excursion.highest = excursion.highest.max(m.chocolate);
        if above > 0.0 {
            excursion.below_since = None;
        } else {
            excursion.below_since.get_or_insert(m.at);
        }
        let verdict = excursion.verdict(m);
        if excursion.below_since.is_some_and(|since| m.at - since >= EXCURSION_ENDS) {
            self.excursion = None;
        }
        verdict
    }
}

/// Area above zero under a straight line, °C·min.
fn area_above(from: f64, to: f64, lasts: Span) -> f64 {
    let seconds = [0.0, lasts.as_secs_f64()];
    let band = Band::new(f64::NEG_INFINITY, 0.0, f64::INFINITY);
    band.and_then(|band| exposure(band, &seconds, &[from, to])).map_or(0.0, |exposure| exposure.above_c_min)
}

impl Excursion {
    fn verdict(&mut self, m: &Moment<'_>) -> Verdict {
        match (self.state, self.below_since) {
            (State::Growing, _) if self.area_c_min >= AREA && !m.rise_held => {
                self.state = State::Open { raised_at: m.known };
                self.report(m).raise()
            }
            (State::Open { raised_at }, Some(since)) if m.known - since >= Span::from_mins(1) => {
                self.state = State::Told;
                // The last of the area may lie under the very line that leads below the limit.
                Verdict::Over(since.max(raised_at))
            }
            (State::Growing | State::Open { .. } | State::Told, _) => Verdict::Quiet,
        }
    }

    fn report(&self, m: &Moment<'_>) -> Report {
        Report {
            kind: FindingKind::TemperLoss,
            priority: Priority::High,
            from: self.from,
            raised_at: m.known,
            says: format!(
                "The chocolate has been up to {:.1} °C, above the {:.1} °C at which seed melts out: its temper is at risk.",
                self.highest, m.limits.temper_loss
            ),
            evidence: vec![
                number("area_c_min", self.area_c_min),
                number("highest_c", self.highest),
                number("temper_loss_limit_c", m.limits.temper_loss),
            ],
            // From 34 °C on dark counts as untempered (domain brief, faults, row 2): two degrees above its range, as it is read for the others.
            advice: "Stop moulding and keep apart what was made since the last good test; bring it back into its range with 2–5 % seed, or \
                     temper it anew if it was more than two degrees above, and make a temper test before going on.",
        }
    }
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use super::super::testing::{check, check_with};
    use super::*;

    #[test]
    fn half_a_degree_for_two_minutes_is_the_limit() {
        check(
            &mut TemperLoss::default(),
            TemperLoss::step,
            "working 0:00 31.5 | 1:00 34.0 | ~6:00 34.0 | 6:05 31.5 | ~30:00 31.5",
            &expect![[r#"
                3:00 raise temper-loss from 1:00
                7:05 over at 6:05"#]],
        );
    }

    #[test]
    fn one_excursion_is_one_finding() {
        check(
            &mut TemperLoss::default(),
            TemperLoss::step,
            "working 0:00 31.5 | 1:00 34.5 | ~4:00 34.5 | 4:05 33 | ~10:00 33 | 10:05 34.5 | ~14:00 34.5 | 14:05 31.5 | ~40:00 31.5",
            &expect![[r#"
                1:55 raise temper-loss from 1:00
                5:05 over at 4:05"#]],
        );
    }

    #[test]
    fn short_of_the_area_nothing_is_said() {
        check(
            &mut TemperLoss::default(),
            TemperLoss::step,
            "working 0:00 31.5 | 1:00 34.0 | ~2:50 34.0 | 2:55 31.5 | ~9:00 31.5",
            &expect![""],
        );
    }

    #[test]
    fn what_reaches_the_area_on_its_way_down_is_not_over_before_it_is_told() {
        check(
            &mut TemperLoss::default(),
            TemperLoss::step,
            "working 0:00 31.5 | 1:00 34.36 | ~2:00 34.36 | 2:05 33.4 | ~30:00 31.5",
            &expect![[r#"
                2:10 raise temper-loss from 1:00
                3:05 over at 2:10"#]],
        );
    }

    #[test]
    fn a_held_rise_waits_for_the_decision() {
        check_with(
            &mut TemperLoss::default(),
            TemperLoss::step,
            "working 0:00 31.5 | 1:00 34.5 | ~9:00 34.5",
            |m| m.rise_held = m.at < Timestamp::from_millis(8 * 60_000),
            &expect!["8:05 raise temper-loss from 1:00"],
        );
    }
}
