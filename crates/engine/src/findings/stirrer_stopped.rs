//! `stirrer-stopped`, high: the stirrer stands still for 2 min in cooling, settling or working (contract, section 6).
//!
//! Without stirring the wall and the middle part ways within minutes: crust at a cold wall, burning at a hot one (act within 1–5 min: common
//! practice, no source). The channel says 0 or 1, or 1/min, and holds its value between messages; less than half a turn a minute stands still
//! (common practice, no source). Over when it has turned for a minute, or when the charge leaves these phases. While nothing at all comes from
//! the machine nothing is known of its stirrer.

use model::{Channel, FindingKind, Phase, Priority, Span};
use serde::{Deserialize, Serialize};

use super::around::{Around, Pace};
use super::watch::{Condition, Watch};
use super::{Report, Verdict, number};

const FOR: Span = Span::from_mins(2);
const STANDS_BELOW: f64 = 0.5;

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct StirrerStopped {
    watch: Watch,
    pace: Pace,
}

impl StirrerStopped {
    pub(crate) fn step(&mut self, a: &Around<'_>) -> Verdict {
        let gap = self.pace.gap(a.at);
        let Some(stirrer) = a.tick.other(Channel::Stirrer) else { return Verdict::Quiet };
        let edge = match a.phase {
            Some(Phase::Cooling | Phase::Settling | Phase::Working) => {
                let condition = if stirrer < STANDS_BELOW { Condition::Bad } else { Condition::Clear };
                self.watch.step(a.at, a.known, condition, gap, FOR)
            }
            None | Some(Phase::Idle | Phase::Melting | Phase::Soak | Phase::Rewarming) => {
                self.watch.stop(a.at)
            }
        };
        edge.told(|from| Report {
                kind: FindingKind::StirrerStopped,
                priority: Priority::High,
                from,
                raised_at: a.known,
                says: format!(
                    "The stirrer has stood still for {:.0} min while the charge needs stirring.",
                    (a.known - from).as_mins_f64()
                ),
                evidence: vec![
                    number("stirrer", stirrer),
                    number("stood_still_min", (a.known - from).as_mins_f64()),
                ],
                advice: "Turn the heat off and lock the machine off before you reach in; find out why it stopped, leave belt, motor and \
                         cable to qualified people, and make a temper test before you go on.",
            })
    }
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use super::super::around::testing::check;
    use super::*;

    #[test]
    fn two_minutes_without_a_turn() {
        check(
            &mut StirrerStopped::default(),
            StirrerStopped::step,
            "working 0:00 stirrer=1 | ~5:00 | 5:05 stirrer=0 | ~9:00 | 9:05 stirrer=1 | ~12:00",
            &expect![[r#"
                7:05 raise stirrer-stopped from 5:05
                10:05 over at 9:05"#]],
        );
    }

    #[test]
    fn a_short_stop_to_scrape_is_none() {
        check(
            &mut StirrerStopped::default(),
            StirrerStopped::step,
            "working 0:00 stirrer=12 | ~5:00 | 5:05 stirrer=0 | ~6:55 | 7:00 stirrer=12 | ~9:00",
            &expect![""],
        );
    }

    #[test]
    fn a_soak_need_not_be_stirred_but_the_cooling_must() {
        check(
            &mut StirrerStopped::default(),
            StirrerStopped::step,
            "soak 0:00 stirrer=0 | ~30:00 | cooling ~33:00 | melting ~34:00",
            &expect![[r#"
                32:05 raise stirrer-stopped from 30:05
                33:10 over at 33:05"#]],
        );
    }

    #[test]
    fn what_happened_in_a_gap_is_unknown() {
        check(
            &mut StirrerStopped::default(),
            StirrerStopped::step,
            "working 0:00 stirrer=1 | ~1:00 | 1:05 stirrer=0 | ~2:00 | 20:00 | ~21:50 | 21:55 stirrer=1 | ~24:00",
            &expect![""],
        );
    }

    #[test]
    fn a_machine_without_that_channel_has_none() {
        check(
            &mut StirrerStopped::default(),
            StirrerStopped::step,
            "working 0:00 chocolate=31 | ~9:00",
            &expect![""],
        );
    }
}
