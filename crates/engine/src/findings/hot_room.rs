//! `hot-room`, low: the room is over 24 °C for 10 min (contract, section 6; common practice, no source).
//!
//! In a warm room a hold creeps upwards, and what is moulded sets badly and may bloom (common practice, no source). Deadband 0.5 °C.
//! How it is judged: [`super::air`].

use model::{Channel, FindingKind, Priority};
use serde::{Deserialize, Serialize};

use super::air::{Air, Limit};
use super::around::Around;
use super::{Report, Verdict, number};

const LIMIT: Limit = Limit { channel: Channel::Room, most: 24.0, deadband: 0.5 };

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct HotRoom {
    air: Air,
}

impl HotRoom {
    pub(crate) fn step(&mut self, a: &Around<'_>) -> Verdict {
        let (edge, level) = self.air.step(a, &LIMIT);
        edge.told(|from| Report {
                kind: FindingKind::HotRoom,
                priority: Priority::Low,
                from,
                raised_at: a.known,
                says: format!("The room has been above {:.0} °C for ten minutes; it is at {level:.1} °C.", LIMIT.most),
                evidence: vec![number("room_c", level), number("limit_c", LIMIT.most)],
                advice: "Cool the room or close doors, watch the holds, and be careful with moulding until it is cooler.",
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
            &mut HotRoom::default(),
            HotRoom::step,
            "idle 0:00 room=22 | ~5:00 | 5:05 room=26 | ~30:00 | 30:05 room=23.8 | ~40:00 | 40:05 room=23 | ~50:00",
            &expect![[r#"
                15:35 raise hot-room from 5:35
                41:15 over at 40:10"#]],
        );
    }

    #[test]
    fn an_open_door_is_no_hot_room() {
        check(
            &mut HotRoom::default(),
            HotRoom::step,
            "working 0:00 room=23 | ~5:00 | 5:05 room=27 | ~12:00 | 12:05 room=23 | ~30:00",
            &expect![],
        );
    }

    #[test]
    fn while_its_sensor_pauses_nothing_is_known() {
        check(
            &mut HotRoom::default(),
            HotRoom::step,
            "working 0:00 room=25 chocolate=31 | ~8:00 | ~20:00 room=- | 20:05 room=25 | ~28:00 | ~40:00 room=- | 40:05 room=22 | ~45:00",
            &expect![],
        );
        check(
            &mut HotRoom::default(),
            HotRoom::step,
            "working 0:00 room=25 chocolate=31 | ~11:00 | ~60:00 room=- | 60:05 room=25 | ~65:00",
            &expect!["10:00 raise hot-room from 0:00"],
        );
    }

    #[test]
    fn a_sensor_that_reports_every_two_minutes_is_enough() {
        let script: Vec<String> = (0..12).map(|i| format!("{}:00 room=25", 2 * i)).collect();
        check(
            &mut HotRoom::default(),
            HotRoom::step,
            &script.join(" | "),
            &expect!["12:05 raise hot-room from 2:00"],
        );
    }
}
