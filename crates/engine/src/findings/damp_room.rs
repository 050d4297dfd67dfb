//! `damp-room`, low: the humidity is over 60 %RH for 10 min (contract, section 6; common practice, no source).
//!
//! Damp settles on cold moulds and pieces: sugar bloom; water in the charge thickens it (common practice, no source). Deadband
//! 2 %RH. How it is judged: [`super::air`].

use model::{Channel, FindingKind, Priority};
use serde::{Deserialize, Serialize};

use super::air::{Air, Limit};
use super::around::Around;
use super::{Report, Verdict, number};

const LIMIT: Limit = Limit { channel: Channel::Humidity, most: 60.0, deadband: 2.0 };

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct DampRoom {
    air: Air,
}

impl DampRoom {
    pub(crate) fn step(&mut self, a: &Around<'_>) -> Verdict {
        let (edge, level) = self.air.step(a, &LIMIT);
        edge.told(|from| Report {
                kind: FindingKind::DampRoom,
                priority: Priority::Low,
                from,
                raised_at: a.known,
                says: format!(
                    "The air has been above {:.0} %RH for ten minutes; it is at {level:.0} %RH.",
                    LIMIT.most
                ),
                evidence: vec![number("humidity_rh", level), number("limit_rh", LIMIT.most)],
                advice: "Look for steam and wet cleaning near the machine, dry the air, and let cold moulds and pieces warm up before they \
                         are opened.",
            })
    }
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use super::super::around::testing::check;
    use super::*;

    #[test]
    fn ten_minutes_above_the_limit() {
        check(
            &mut DampRoom::default(),
            DampRoom::step,
            "idle 0:00 humidity=50 | ~5:00 | 5:05 humidity=66 | ~30:00 | 30:05 humidity=59 | ~40:00 | 40:05 humidity=55 | ~50:00",
            &expect![[r#"
                15:55 raise damp-room from 5:55
                40:55 over at 39:50"#]],
        );
    }

    #[test]
    fn a_kettle_of_water_boiled_is_no_damp_room() {
        check(
            &mut DampRoom::default(),
            DampRoom::step,
            "working 0:00 humidity=52 | ~5:00 | 5:05 humidity=75 | ~12:00 | 12:05 humidity=52 | ~30:00",
            &expect![],
        );
    }
}
