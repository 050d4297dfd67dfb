//! `scorch`, high: chocolate above the scorch limit for 10 s (contract, section 6).
//!
//! Limit: by family 55, 50 or 48 °C. Milk and white suffer above 50 °C, dark usually keeps to 55 °C (a cookbook's
//! table). The probe sees the bulk; it is the wall that burns, so this speaks late rather than early.
//! Deadband 0.5 °C. Not raised when idle.

use model::{FindingKind, Phase, Priority, Span};
use serde::{Deserialize, Serialize};

use super::watch::{Condition, Watch};
use super::{Moment, Report, Verdict, number};

const FOR: Span = Span::from_secs(10);
const DEADBAND: f64 = 0.5;

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Scorch {
    watch: Watch,
}

impl Scorch {
    pub(crate) fn step(&mut self, m: &Moment<'_>) -> Verdict {
        let condition = match m.phase {
            Phase::Idle => Condition::Clear,
            Phase::Melting
            | Phase::Soak
            | Phase::Cooling
            | Phase::Settling
            | Phase::Working
            | Phase::Rewarming => Condition::above(m.chocolate, m.limits.scorch, DEADBAND),
        };
        self.watch.step(m.at, m.known, condition, m.gap, FOR).told(|from| Report {
                kind: FindingKind::Scorch,
                priority: Priority::High,
                from,
                raised_at: m.known,
                says: format!(
                    "The chocolate is at {:.1} °C, above its scorch limit of {:.1} °C.",
                    m.chocolate, m.limits.scorch
                ),
                evidence: vec![number("chocolate_c", m.chocolate), number("scorch_limit_c", m.limits.scorch)],
                advice: "Mind hot walls and the moving scraper: turn the heat off, keep it stirred, then sieve and taste; quality decides \
                         whether it can be used.",
            })
    }
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use super::super::testing::check;
    use super::*;

    #[test]
    fn ten_seconds_above_the_limit() {
        check(
            &mut Scorch::default(),
            Scorch::step,
            "soak 0:00 46 | 1:00 54.9 | 2:00 55.2 | 2:04 55.2 | 2:05 55.2 | 2:10 55.3 | 3:00 54.8 | 4:00 54.2 | 5:30 54.0",
            &expect![[r#"
                2:10 raise scorch from 2:00
                5:35 over at 4:00"#]],
        );
    }

    #[test]
    fn idle_is_not_watched() {
        check(&mut Scorch::default(), Scorch::step, "idle 0:00 60 | 1:00 60 | 2:00 60", &expect![""]);
    }
}
