//! `cold-hold`, medium: in working, below the range by more than 0.5 °C for 5 min (contract, section 6).
//!
//! Nothing is raised where a melt is asked for and cold pieces that were filled into what was left may have made it cold. Where only a charge was told
//! it waits until they have had their time.
//!
//! Too cold, crystals go on growing and the mass thickens (common practice, no source). Deadband 0.2 °C.

use model::{FindingKind, Phase, Priority, Span};
use serde::{Deserialize, Serialize};

use super::watch::{Condition, NOT_YET, Watch};
use super::{Moment, Report, Verdict, number};

const MARGIN: f64 = 0.5;
const FOR: Span = Span::from_mins(5);
const DEADBAND: f64 = 0.2;

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct ColdHold {
    watch: Watch,
}

impl ColdHold {
    pub(crate) fn is_open(&self) -> bool {
        self.watch.is_open()
    }

    /// `setting`: a `solidifying` is open and speaks for this one too.
    pub(crate) fn step(&mut self, m: &Moment<'_>, setting: bool) -> Verdict {
        let low = m.limits.working.low();
        let edge = match m.phase {
            Phase::Working if (setting || m.may_melt_pieces()) && !self.watch.is_open() => {
                self.watch.stop(m.at)
            }
            Phase::Working => {
                let condition = Condition::below(m.level, low - MARGIN, DEADBAND);
                let delay = if m.cold_held { NOT_YET } else { FOR };
                self.watch.step(m.at, m.known, condition, m.gap, delay)
            }
            Phase::Idle
            | Phase::Melting
            | Phase::Soak
            | Phase::Cooling
            | Phase::Settling
            | Phase::Rewarming => self.watch.stop(m.at),
        };
        edge.told(|from| Report {
                kind: FindingKind::ColdHold,
                priority: Priority::Medium,
                from,
                raised_at: m.known,
                says: format!(
                    "The chocolate stands at {:.1} °C, more than half a degree below its working range ({:.1}–{:.1} °C).",
                    m.level,
                    low,
                    m.limits.working.high()
                ),
                evidence: vec![number("chocolate_c", m.level), number("working_low_c", low)],
                advice: "Check heater and set-point, warm it up slowly while it is stirred, never above its range, and make a temper test.",
            })
    }
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use super::super::testing::check;
    use super::*;

    #[test]
    fn five_minutes_below_the_margin() {
        check(
            &mut ColdHold::default(),
            |detector, m| detector.step(m, false),
            "working 0:00 31.5 | ~1:00 31.5 | 1:05 30.0 | ~20:00 30.0 | 20:05 31.2 | ~30:00 31.2",
            &expect![[r#"
                6:15 raise cold-hold from 1:15
                21:15 over at 20:15"#]],
        );
    }

    #[test]
    fn settling_is_not_a_hold() {
        check(
            &mut ColdHold::default(),
            |detector, m| detector.step(m, false),
            "settling 0:00 30 | ~20:00 30",
            &expect![""],
        );
    }
}
