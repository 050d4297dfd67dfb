//! `hold-drift`, medium: in working, a slow one-way move. The mean of the last 20 min is at least 0.3 °C from the settled level
//! (mean of minutes 10–30 of working) and a CUSUM on block means signals; a set-point change or top-up starts a new settled level 10 min
//! later (contract, section 6).
//!
//! CUSUM after Page 1954, two-sided, on means of 5 min, which are near enough independent for a controlled hold; reference value 0.1 °C and
//! decision interval 0.5 °C are start values to be tuned per site. One-way: each quarter of the 20 min lies on the
//! same side, and slow: the first and the last differ by less than 0.4 °C and none by 0.6 °C from another, so that a top-up, an open lid or an
//! excursion that has come back is no drift. What a warmer or colder hold has been told of is not told again as a drift. A level is compared only with
//! what came wholly after it, so nothing is said in the first 50 min. Where the set-point is known, a move that ends near it is the hold still
//! settling, not a drift. A display of half degrees has to show a move of most of one of its steps.

use model::{FindingKind, Phase, Priority, Span, Timestamp};
use serde::{Deserialize, Serialize};

use super::{Moment, Report, Verdict, number};
use crate::history::extremes;
use crate::measures::SETTLED;

const MOVED: f64 = 0.3;
/// ... and no less than this share of the display's step: means of a coarse display that hardly flickers are wrong by half of one.
const STEPS_MOVED: f64 = 0.7;
const BLOCK: Span = Span::from_mins(5);
/// The newest 20 min are looked at so often.
const LOOKED_AT_EVERY: Span = Span::from_mins(1);
const RECENT_BLOCKS: i64 = 4;
const REFERENCE: f64 = 0.1;
const DECISION: f64 = 0.5;
const EACH_BLOCK: f64 = 0.15;
const SLOW_WITHIN: f64 = 0.4;
const ALL_WITHIN: f64 = 0.6;
/// Until then the last 20 min are in part those that settled the level.
const NOT_BEFORE: Span = Span::from_mins(50);
/// A hold that has come so near to its set-point has settled.
const AT_SETPOINT: f64 = 0.25;
const BACK_WITHIN: f64 = 0.15;

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct HoldDrift {
    /// Start of working, or the last set-point change or top-up.
    origin: Option<Timestamp>,
    settled: Option<f64>,
    next_block: Option<Timestamp>,
    looked_at: Option<Timestamp>,
    up: Sum,
    down: Sum,
    /// Until then a warmer or colder hold stood open.
    spoken_for: Option<Timestamp>,
    open: bool,
}

/// One side of the CUSUM.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
struct Sum {
    value: f64,
    since: Option<Timestamp>,
}

impl Sum {
    fn insert(&mut self, distance: f64, block_from: Timestamp) {
        self.value = (self.value + distance - REFERENCE).max(0.0);
        self.since = if self.value > 0.0 { self.since.or(Some(block_from)) } else { None };
    }

    fn signals(&self) -> bool {
        self.value > DECISION
    }
}

impl HoldDrift {
    /// `out_of_range`: a warmer or colder hold has been told, which speaks for this one too, and for the minutes in which it was; or it waits to be told.
    pub(crate) fn step(&mut self, m: &Moment<'_>, out_of_range: bool) -> Verdict {
        if m.phase != Phase::Working {
            return self.start_anew(None, m.at);
        }
        let origin = m.disturbed_at.map_or(m.phase_since, |disturbed| disturbed.max(m.phase_since));
        if self.origin != Some(origin) {
            return self.start_anew(Some(origin), origin);
        }
        if out_of_range {
            self.spoken_for = Some(m.at);
        }
        if self.settled.is_none() && m.known - origin >= SETTLED.1 {
            self.settled = mean_between(m, origin + SETTLED.0, origin + SETTLED.1);
            self.next_block = Some(origin + SETTLED.1 + BLOCK);
        }
        let Some(settled) = self.settled else { return Verdict::Quiet };
        while let Some(end) = self.next_block.filter(|end| *end <= m.known) {
            self.next_block = Some(end + BLOCK);
            if let Some(block) = mean_between(m, end - BLOCK, end) {
                self.up.insert(block - settled, end - BLOCK);
                self.down.insert(settled - block, end - BLOCK);
            }
        }
        let minutes = (m.known - origin).as_millis() / LOOKED_AT_EVERY.as_millis();
        let now = origin + LOOKED_AT_EVERY * minutes;
        // Minutes whose end nobody saw are judged with the next ones.
        if self.looked_at == Some(now) || m.gap {
            return Verdict::Quiet;
        }
        self.looked_at = Some(now);
        self.decide(m, settled, now)
    }

    fn decide(&mut self, m: &Moment<'_>, settled: f64, now: Timestamp) -> Verdict {
        let blocks: Option<Vec<f64>> = (1..=RECENT_BLOCKS)
            .map(|back| {
                mean_between(m, now - BLOCK * back, now - BLOCK * (back - 1)).map(|block| block - settled)
            })
            .collect();
        let Some(moved) = blocks else { return Verdict::Quiet };
        let distance = moved.iter().sum::<f64>() / moved.len() as f64;
        if self.open {
            if distance.abs() >= BACK_WITHIN {
                return Verdict::Quiet;
            }
            self.open = false;
            (self.up, self.down) = (Sum::default(), Sum::default());
            return Verdict::Over(now);
        }
        let sum = if distance > 0.0 { self.up } else { self.down };
        let one_way = moved.iter().all(|block| block * distance.signum() >= EACH_BLOCK);
        let landed = self.origin.is_some_and(|origin| now - origin >= NOT_BEFORE);
        let (low, high) = extremes(moved.iter().copied()).unwrap_or_default();
        let slow = (moved[0] - moved[moved.len() - 1]).abs() < SLOW_WITHIN && high - low < ALL_WITHIN;
        let settles = m.setpoint.is_some_and(|asked| {
            let (off, was_off) = ((settled + distance - asked).abs(), (settled - asked).abs());
            off < was_off && off < AT_SETPOINT.max(was_off / 2.0)
        });
        let spoken_for = self.spoken_for.is_some_and(|until| until >= now - BLOCK * RECENT_BLOCKS);
        let least = MOVED.max(STEPS_MOVED * m.grain);
        if settles || spoken_for || !(distance.abs() >= least && sum.signals() && one_way && landed && slow) {
            return Verdict::Quiet;
        }
        self.open = true;
        Report {
            kind: FindingKind::HoldDrift,
            priority: Priority::Medium,
            from: sum.since.unwrap_or(now),
            raised_at: m.known,
            says: format!(
                "The hold has moved {} by {:.1} °C, from {settled:.1} to {:.1} °C.",
                if distance > 0.0 { "up" } else { "down" },
                distance.abs(),
                settled + distance
            ),
            evidence: vec![
                number("settled_c", settled),
                number("moved_c", distance),
                number("cusum_c", sum.value),
            ],
            advice: "Look at jacket and room, compare the probe with a hand thermometer, then trim the set-point and make a \
                     temper test.",
        }
        .raise()
    }

    fn start_anew(&mut self, origin: Option<Timestamp>, at: Timestamp) -> Verdict {
        let was_open = self.open;
        *self = HoldDrift { origin, ..HoldDrift::default() };
        if was_open { Verdict::Over(at) } else { Verdict::Quiet }
    }
}

/// Mean chocolate between two moments; `None` if there was hardly anything.
fn mean_between(m: &Moment<'_>, from: Timestamp, to: Timestamp) -> Option<f64> {
    let (mean, first, last) = m.history.mean_and_ends(from, to)?;
    // A reading speaks for as long as there usually is to the next.
    let seen = last - first + m.spacing;
    (seen.as_millis() * 2 >= (to - from).as_millis()).then_some(mean)
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use super::super::testing::{check, check_with};
    use super::*;

    #[test]
    fn half_a_degree_in_two_hours() {
        check(
            &mut HoldDrift::default(),
            |detector, m| detector.step(m, false),
            "working 0:00 31.4 | ~40:00 31.4 | ~160:00 31.9",
            &expect!["123:00 raise hold-drift from 65:00"],
        );
    }

    #[test]
    fn half_a_degree_in_two_hours_by_a_slow_logger() {
        for (every, expected) in [
            (2, expect!["124:05 raise hold-drift from 65:00"]),
            (5, expect!["125:05 raise hold-drift from 65:00"]),
        ] {
            let at =
                |minute: i32| format!("{minute}:00 {:.2}", 31.4 + f64::from((minute - 40).max(0)) / 240.0);
            let told: Vec<String> = (0..160).step_by(every as usize).map(at).collect();
            let script = format!("working {}", told.join(" | "));
            let usual = Span::from_mins(i64::from(every));
            let mut detector = HoldDrift::default();
            let slow = |m: &mut Moment<'_>| m.spacing = usual;
            check_with(&mut detector, |detector, m| detector.step(m, false), &script, slow, &expected);
        }
    }

    #[test]
    fn what_ended_unseen_is_judged_with_what_follows() {
        let back = Timestamp::from_millis((123 * 60 + 40) * 1000);
        check_with(
            &mut HoldDrift::default(),
            |detector, m| detector.step(m, false),
            "working 0:00 31.4 | ~40:00 31.4 | ~120:00 31.74 | 123:40 31.76 | ~160:00 31.9",
            |m| m.gap = m.at == back,
            &expect!["124:00 raise hold-drift from 65:00"],
        );
    }

    #[test]
    fn half_a_step_of_a_coarse_display_is_no_drift() {
        let told = |grain| {
            let mut detector = HoldDrift::default();
            let script = "working 0:00 31.4 | ~40:00 31.4 | ~160:00 31.74";
            let expected =
                if grain < 0.4 { expect!["156:00 raise hold-drift from 75:00"] } else { expect![""] };
            check_with(
                &mut detector,
                |detector, m| detector.step(m, false),
                script,
                |m| m.grain = grain,
                &expected,
            );
        };
        told(0.1);
        told(0.5);
    }

    #[test]
    fn a_top_up_dip_is_no_drift() {
        check(
            &mut HoldDrift::default(),
            |detector, m| detector.step(m, false),
            "working 0:00 31.4 | ~60:00 31.4 | ~62:00 29.6 | ~82:00 31.4 | ~140:00 31.4",
            &expect![""],
        );
    }

    #[test]
    fn an_excursion_that_has_come_back_is_no_drift() {
        check(
            &mut HoldDrift::default(),
            |detector, m| detector.step(m, false),
            "working 0:00 31.4 | ~61:30 31.4 | ~63:00 32.8 | ~75:00 32.8 | ~79:00 31.7 | ~82:00 31.4 | ~140:00 31.4",
            &expect![""],
        );
    }

    #[test]
    fn a_warm_hold_that_is_over_has_spoken_for_its_minutes() {
        check(
            &mut HoldDrift::default(),
            |detector, m| detector.step(m, m.level > 32.5),
            "working 0:00 31.4 | ~61:00 31.4 | ~62:00 32.8 | ~84:00 32.8 | ~85:00 31.4 | ~140:00 31.4",
            &expect![""],
        );
    }

    #[test]
    fn a_new_set_point_starts_a_new_level() {
        let changed = Timestamp::from_millis(60 * 60_000);
        check_with(
            &mut HoldDrift::default(),
            |detector, m| detector.step(m, false),
            "working 0:00 31.4 | ~60:00 31.4 | ~66:00 31.8 | ~160:00 31.8",
            |m| m.disturbed_at = (m.at >= changed).then_some(changed),
            &expect![""],
        );
    }
}
