//! `solidifying`, high: below the floor less 2 °C for 2 min between melting and the end of working (contract, section 6).
//!
//! The charge is setting in the machine: a stirrer that starts in it may break, and crystals grow as they like (common practice, no
//! source). It takes over an open `cold-hold` or `undershoot`. Deadband 0.5 °C. After a charge was told it waits like `cold-hold`.

use model::{FindingKind, Phase, Priority, Span};
use serde::{Deserialize, Serialize};

use super::watch::{Condition, NOT_YET, Watch};
use super::{Moment, Report, Verdict, number};

/// A charge sets so far below its floor, °C (contract, section 6).
pub(crate) const SETS_BELOW_FLOOR: f64 = 2.0;
const FOR: Span = Span::from_mins(2);
const DEADBAND: f64 = 0.5;

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Solidifying {
    watch: Watch,
}

impl Solidifying {
    pub(crate) fn is_open(&self) -> bool {
        self.watch.is_open()
    }

    pub(crate) fn step(&mut self, m: &Moment<'_>) -> Verdict {
        let limit = m.limits.floor - SETS_BELOW_FLOOR;
        let edge = match m.phase {
            Phase::Soak | Phase::Cooling | Phase::Settling | Phase::Working | Phase::Rewarming => {
                let condition = Condition::below(m.level, limit, DEADBAND);
                let delay = if m.cold_held { NOT_YET } else { FOR };
                self.watch.step(m.at, m.known, condition, m.gap, delay)
            }
            Phase::Idle | Phase::Melting => self.watch.stop(m.at),
        };
        edge.told(|from| Report {
                kind: FindingKind::Solidifying,
                priority: Priority::High,
                from,
                raised_at: m.known,
                says: format!(
                    "The chocolate is at {:.1} °C and setting in the machine; below {limit:.1} °C it turns solid.",
                    m.level
                ),
                evidence: vec![number("chocolate_c", m.level), number("limit_c", limit)],
                advice: "Switch the stirrer off and lock it before anybody reaches in; look for a tripped fuse with qualified people; then \
                         melt the charge slowly and temper it anew.",
            })
    }
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use super::super::testing::check;
    use super::*;

    #[test]
    fn two_minutes_well_below_the_floor() {
        check(
            &mut Solidifying::default(),
            Solidifying::step,
            "working 0:00 31.5 | ~60:00 31.5 | ~100:00 23 | ~120:00 23 | melting ~125:00 24",
            &expect![[r#"
                92:45 raise solidifying from 90:45
                120:10 over at 120:05"#]],
        );
    }

    #[test]
    fn a_cold_charge_that_melts_is_none() {
        check(&mut Solidifying::default(), Solidifying::step, "melting 0:00 20 | ~60:00 24", &expect![""]);
        check(&mut Solidifying::default(), Solidifying::step, "idle 0:00 20 | ~60:00 20", &expect![""]);
    }
}
