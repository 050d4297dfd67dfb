//! `warm-hold`, medium: in working, above the range by more than 0.5 °C for 5 min, and no `temper-loss` (contract, section 6).
//!
//! Slightly too warm melts the finest seed slowly (common practice, no source); the finding is there to mend it before
//! `temper-loss` takes over. Deadband 0.2 °C.

use model::{FindingKind, Phase, Priority, Span};
use serde::{Deserialize, Serialize};

use super::watch::{Condition, NOT_YET, Watch};
use super::{Moment, Report, Verdict, number};

const MARGIN: f64 = 0.5;
const FOR: Span = Span::from_mins(5);
const DEADBAND: f64 = 0.2;

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct WarmHold {
    watch: Watch,
}

impl WarmHold {
    pub(crate) fn is_open(&self) -> bool {
        self.watch.is_open()
    }

    /// `lost`: a `temper-loss` is open and speaks for this one too.
    pub(crate) fn step(&mut self, m: &Moment<'_>, lost: bool) -> Verdict {
        let high = m.limits.working.high();
        let edge = match m.phase {
            Phase::Working if lost && !self.watch.is_open() => self.watch.stop(m.at),
            Phase::Working => {
                let condition = Condition::above(m.level, high + MARGIN, DEADBAND);
                // While a rise is held back the excursion is timed but not told.
                let delay = if m.rise_held { NOT_YET } else { FOR };
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
                kind: FindingKind::WarmHold,
                priority: Priority::Medium,
                from,
                raised_at: m.known,
                says: format!(
                    "The chocolate stands at {:.1} °C, more than half a degree above its working range ({:.1}–{:.1} °C).",
                    m.level,
                    m.limits.working.low(),
                    high
                ),
                evidence: vec![number("chocolate_c", m.level), number("working_high_c", high)],
                advice: "Check the set-point, bring the chocolate back into its range, and make a temper test.",
            })
    }
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use super::super::testing::check;
    use super::*;

    #[test]
    fn five_minutes_above_the_margin() {
        check(
            &mut WarmHold::default(),
            |detector, m| detector.step(m, false),
            "working 0:00 31.5 | ~1:00 31.5 | 1:05 32.8 | ~20:00 32.8 | 20:05 31.8 | ~30:00 31.8",
            &expect![[r#"
                6:20 raise warm-hold from 1:20
                21:10 over at 20:10"#]],
        );
    }

    #[test]
    fn a_temper_loss_speaks_for_it() {
        check(
            &mut WarmHold::default(),
            |detector, m| detector.step(m, true),
            "working 0:00 31.5 | ~1:00 31.5 | 1:05 34.8 | ~20:00 34.8",
            &expect![""],
        );
    }
}
