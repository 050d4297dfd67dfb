//! `undershoot`, medium: below the floor by more than 0.5 °C for 60 s between the soak and the first 30 min of working (contract,
//! section 6).
//!
//! Below the lowest point wanted on the way down crystals form that nobody wants, and the mass thickens fast (common practice,
//! no source). Floor: by family 27.0, 26.0 or 25.0 °C (start values between the published tables, which disagree). Deadband 0.2 °C. Partial melt comes from below
//! and has no way down.

use model::{FindingKind, Phase, Priority, Span};
use serde::{Deserialize, Serialize};

use super::watch::{Condition, Watch};
use super::{Moment, Report, Verdict, number};

const MARGIN: f64 = 0.5;
const FOR: Span = Span::from_secs(60);
const DEADBAND: f64 = 0.2;
/// So much of working still belongs to the way down.
const LANDED: Span = Span::from_mins(30);

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Undershoot {
    watch: Watch,
}

impl Undershoot {
    /// `setting`: a `solidifying` is open and speaks for this one too.
    pub(crate) fn step(&mut self, m: &Moment<'_>, setting: bool) -> Verdict {
        let floor = m.limits.floor;
        let on_the_way = match m.phase {
            Phase::Cooling | Phase::Settling | Phase::Rewarming => true,
            Phase::Working => self.watch.is_open() || m.known - m.phase_since <= LANDED,
            Phase::Idle | Phase::Melting | Phase::Soak => false,
        };
        let covered = setting && !self.watch.is_open();
        let edge = if on_the_way && m.has_way_down && !covered {
            let condition = Condition::below(m.level, floor - MARGIN, DEADBAND);
            self.watch.step(m.at, m.known, condition, m.gap, FOR)
        } else {
            self.watch.stop(m.at)
        };
        edge.told(|from| Report {
                kind: FindingKind::Undershoot,
                priority: Priority::Medium,
                from,
                raised_at: m.known,
                says: format!(
                    "The chocolate went down to {:.1} °C; {floor:.1} °C is the lowest it should see on its way.",
                    m.level
                ),
                evidence: vec![number("chocolate_c", m.level), number("floor_c", floor)],
                advice: "Stop the cooling, warm it slowly to the upper end of its working range while it is stirred, hold five to ten \
                         minutes, then make a temper test.",
            })
    }
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use super::super::testing::{check, check_with};
    use super::*;

    #[test]
    fn a_minute_below_the_floor_on_the_way_down() {
        check(
            &mut Undershoot::default(),
            |detector, m| detector.step(m, false),
            "cooling 0:00 40 | settling ~20:00 32.4 | ~40:00 26 | ~50:00 26 | rewarming ~60:00 31",
            &expect![[r#"
                39:35 raise undershoot from 38:35
                52:35 over at 51:35"#]],
        );
    }

    #[test]
    fn a_seed_dip_is_too_short_and_a_hold_too_late() {
        let short = "settling 0:00 32 | ~5:00 32 | ~5:15 26 | ~6:00 26 | ~6:15 31 | ~20:00 31";
        check(&mut Undershoot::default(), |detector, m| detector.step(m, false), short, &expect![""]);
        let late = "working 0:00 31.5 | ~31:00 31.5 | ~32:00 26 | ~40:00 26";
        check(&mut Undershoot::default(), |detector, m| detector.step(m, false), late, &expect![""]);
    }

    #[test]
    fn partial_melt_has_no_way_down() {
        check_with(
            &mut Undershoot::default(),
            |detector, m| detector.step(m, false),
            "working 0:00 26 | ~10:00 26",
            |m| m.has_way_down = false,
            &expect![""],
        );
    }
}
