//! `heater-stuck`, high: the jacket has been rising for 5 min and is more than 3 °C above the set-point while the chocolate is at or above
//! the set-point less 0.5 °C; or the chocolate itself is rising and more than 3 °C above it (contract, section 6).
//!
//! A relay has welded shut or a valve sticks (1–3 °C/min by `P/(m·c)`; act within a minute: common practice, no source). Rising is judged minute by
//! minute, each above the one before, and a jacket's in the first and the last half minute, too, so that a two-point controller's saw-tooth is none;
//! where a channel is told every few minutes, from reading to reading. What is ordinary must not look like it:
//!
//! - *End of heating up.* The jacket is far above the set-point while the charge is still below it: the chocolate must have been there
//!   for all of the five minutes, at one set-point.
//! - *A two-point hold.* The jacket of a strong heater swings far up in every cycle: where it has gone more than two and a half degrees above the
//!   set-point in this hold before it began to rise (three hours at most, heating up left out), it must be two degrees hotter than that.
//! - *Set-point lowered.* Chocolate and jacket are far above it for an hour, but fall. The chocolate must have come up a degree from its lowest
//!   since then.
//! - *Something cold was filled in.* The chocolate has fallen by a fifth of a degree in these minutes under a hotter jacket: the heater answers.
//! - *Something warm was filled in.* The chocolate rises, but a jacket that is colder than the chocolate does not heat it.
//!
//! Over when the chocolate is back within 1 °C above the set-point and the jacket within 2 °C, for a minute (the figures of this list:
//! common practice, no source). Without a set-point nobody can say what was asked for; when idle, or set below 26 °C, nothing is raised.

mod minutes;
mod unusual;

use frames::Tick;
use model::{Channel, FindingKind, Phase, Priority, Span, Timestamp};
use serde::{Deserialize, Serialize};

use self::minutes::{MINUTE, marks, rises, seldom_told};
use self::unusual::is_unusual;
use super::around::Around;
use super::{Report, Verdict, number};
use crate::phases::IDLE_BELOW;

const ABOVE_SETPOINT: f64 = 3.0;
const CHARGE_THERE: f64 = 0.5;
/// The jacket has to rise for so many minutes, and by so much.
const JACKET_MINUTES: usize = 5;
const JACKET_RISES: f64 = 0.8;
/// A charge that becomes so much colder under a hotter jacket has been given something cold.
const COLDER: f64 = 0.2;
/// The chocolate by so much over so many; without a jacket to confirm it, longer.
const CHARGE_MINUTES: usize = 3;
const CHARGE_MINUTES_ALONE: usize = 4;
const CHARGE_RISES: f64 = 0.3;
/// Above its lowest since the set-point was lowered.
const COME_UP: f64 = 1.0;
/// The chocolate's level is a mean of so long.
const LEVEL_WINDOW: Span = Span::from_secs(20);
/// A jacket's value speaks for so long: it may be read less often than the chocolate.
const JACKET_HOLDS: Span = Span::from_mins(5);
/// Calm: chocolate and jacket are so near to the set-point, for so long.
const CHARGE_CALM: f64 = 1.0;
const JACKET_CALM: f64 = 2.0;
const CALM_FOR: Span = Span::from_mins(1);

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct HeaterStuck {
    open: bool,
    calm_since: Option<Timestamp>,
    setpoint: Option<f64>,
    /// Lowest chocolate since the set-point was last lowered.
    lowest: Option<f64>,
}

/// What is hot although it should not be.
struct Heated {
    says: String,
    since: Timestamp,
}

impl HeaterStuck {
    pub(crate) fn step(&mut self, a: &Around<'_>) -> Verdict {
        let asked = a.setpoint.filter(|&setpoint| setpoint >= IDLE_BELOW && a.phase != Some(Phase::Idle));
        let Some(setpoint) = asked else {
            let was_open = self.open;
            *self = HeaterStuck::default();
            return if was_open { Verdict::Over(a.at) } else { Verdict::Quiet };
        };
        let Some(chocolate) = a.mean_of(Channel::Chocolate, LEVEL_WINDOW) else { return Verdict::Quiet };
        if self.setpoint.replace(setpoint).is_none_or(|before| setpoint < before) {
            self.lowest = None;
        }
        let lowest = self.lowest.map_or(chocolate, |lowest| lowest.min(chocolate));
        self.lowest = Some(lowest);
        let jacket = a.newest_of(Channel::Jacket, JACKET_HOLDS);
        if self.open {
            return self.calm(a, chocolate - setpoint, jacket.map(|jacket| jacket - setpoint));
        }
        let heated = jacket_rises(a, setpoint, jacket).or_else(|| {
            charge_rises(a, setpoint, chocolate, jacket).filter(|_| chocolate - lowest >= COME_UP)
        });
        let Some(heated) = heated else { return Verdict::Quiet };
        (self.open, self.calm_since) = (true, None);
        let mut evidence = vec![number("setpoint_c", setpoint), number("chocolate_c", chocolate)];
        evidence.extend(jacket.map(|jacket| number("jacket_c", jacket)));
        Report {
            kind: FindingKind::HeaterStuck,
            priority: Priority::High,
            from: heated.since,
            raised_at: a.known,
            says: heated.says,
            evidence,
            advice: "Cut the power at the isolator, keep away from hot metal and steam, and call a qualified electrician or fitter; never rely \
                     on this display alone against overheating.",
        }
        .raise()
    }

    /// Is it over?
    fn calm(&mut self, a: &Around<'_>, charge_above: f64, jacket_above: Option<f64>) -> Verdict {
        if charge_above > CHARGE_CALM || jacket_above.is_some_and(|above| above > JACKET_CALM) {
            self.calm_since = None;
            return Verdict::Quiet;
        }
        let since = *self.calm_since.get_or_insert(a.at);
        if a.known - since < CALM_FOR {
            return Verdict::Quiet;
        }
        (self.open, self.calm_since) = (false, None);
        Verdict::Over(since)
    }
}

/// The jacket rises although the charge is where it should be.
fn jacket_rises(a: &Around<'_>, setpoint: f64, jacket: Option<f64>) -> Option<Heated> {
    let jacket = jacket.filter(|jacket| *jacket > setpoint + ABOVE_SETPOINT)?;
    let from = a.known - MINUTE * JACKET_MINUTES as i64;
    rises(a, Channel::Jacket, JACKET_MINUTES, JACKET_RISES).then_some(())?;
    let asked_now = |tick: &&Tick| is_asked(tick, setpoint);
    let above = |tick: &Tick| Some(Some(tick).filter(asked_now)?.chocolate()? - setpoint);
    let charge_above = marks(a, JACKET_MINUTES, above).or_else(|| seldom_told(a, JACKET_MINUTES, above))?;
    let there = charge_above.iter().all(|above| *above >= -CHARGE_THERE);
    let (before, now) = (*charge_above.first()?, *charge_above.last()?);
    let answers = before - now >= COLDER && jacket > setpoint + now;
    (there && !answers && is_unusual(a, setpoint, jacket, now)).then(|| Heated {
        says: format!(
            "The jacket has been rising for five minutes and is at {jacket:.1} °C, although the chocolate has reached its set-point of \
             {setpoint:.1} °C."
        ),
        since: from,
    })
}

/// Was this set-point asked for in a tick? Ticks keep it as `f32`.
fn is_asked(tick: &Tick, setpoint: f64) -> bool {
    tick.other(Channel::Setpoint).is_some_and(|asked| asked == f64::from(setpoint as f32))
}

/// The charge itself rises far above what was asked for, and nothing says that it is not the jacket's doing.
fn charge_rises(a: &Around<'_>, setpoint: f64, chocolate: f64, jacket: Option<f64>) -> Option<Heated> {
    let above = chocolate > setpoint + ABOVE_SETPOINT;
    let fits = jacket.is_none_or(|jacket| jacket >= chocolate);
    let lasts = if jacket.is_some() { CHARGE_MINUTES } else { CHARGE_MINUTES_ALONE };
    (above && fits && rises(a, Channel::Chocolate, lasts, CHARGE_RISES)).then(|| Heated {
        says: format!(
            "The chocolate is at {chocolate:.1} °C and still rising, more than {ABOVE_SETPOINT:.0} °C above its set-point of {setpoint:.1} °C."
        ),
        since: a.known - MINUTE * lasts as i64,
    })
}

#[cfg(test)]
mod tests {
    use expect_test::{Expect, expect};

    use super::super::around::testing;
    use super::*;

    fn check(script: &str, expected: &Expect) {
        testing::check(&mut HeaterStuck::default(), HeaterStuck::step, script, expected);
    }

    #[test]
    fn the_jacket_rises_over_a_hold() {
        check(
            "working 0:00 setpoint=31.5 chocolate=31.5 jacket=33 | ~10:00 | ~18:00 jacket=45 chocolate=33 | ~22:00 jacket=47 chocolate=36 \
             | ~60:00 jacket=31 chocolate=32 | ~65:00",
            &expect![[r#"
                14:45 raise heater-stuck from 9:45
                56:25 over at 55:25"#]],
        );
    }

    #[test]
    fn the_charge_rises_where_there_is_no_jacket() {
        check(
            "working 0:00 setpoint=31.5 chocolate=31.5 | ~10:00 | ~20:00 chocolate=41.5 | ~21:00 chocolate=41 | ~80:00 chocolate=31.5 | ~85:00",
            &expect![[r#"
                13:25 raise heater-stuck from 9:25
                74:55 over at 73:55"#]],
        );
    }

    #[test]
    fn it_sticks_while_the_charge_should_cool() {
        check(
            "soak 0:00 setpoint=46 chocolate=46 jacket=48 | ~10:00 | cooling 10:05 setpoint=31.5 | ~30:00 chocolate=40 jacket=20 \
             | ~50:00 chocolate=46 jacket=54",
            &expect!["38:40 raise heater-stuck from 33:40"],
        );
    }

    #[test]
    fn the_end_of_heating_up_is_ordinary() {
        check(
            "melting 0:00 setpoint=46 chocolate=30 jacket=40 | ~10:00 jacket=54 chocolate=34 | ~50:00 chocolate=45.5 \
             | ~53:00 chocolate=46.2 jacket=51 | ~60:00 chocolate=46.8 jacket=47 | ~90:00 chocolate=46 jacket=47",
            &expect![""],
        );
    }

    #[test]
    fn a_set_point_that_was_lowered_is_ordinary() {
        check(
            "melting 0:00 setpoint=46 chocolate=38 jacket=48 | ~10:00 chocolate=42 jacket=54 | cooling 10:05 setpoint=31.5 \
             | ~12:00 chocolate=42.6 jacket=52 | ~30:00 chocolate=40 jacket=25 | ~90:00 chocolate=32 jacket=28",
            &expect![""],
        );
    }

    #[test]
    fn a_set_point_that_is_lowered_while_the_jacket_rises_is_ordinary() {
        check(
            "soak 0:00 setpoint=46 chocolate=46 jacket=46 | ~20:00 | ~25:00 jacket=48 | cooling 25:05 setpoint=31.5 | ~60:00 jacket=20 chocolate=40",
            &expect![""],
        );
    }

    /// The jacket was on its way up when the set-point was lowered: five minutes of the new one have to pass.
    #[test]
    fn five_minutes_are_those_at_one_set_point() {
        check(
            "working 0:00 setpoint=34 chocolate=34 jacket=34 | ~20:00 | ~23:00 jacket=36 | 23:05 setpoint=31.5 | ~40:00 jacket=47",
            &expect!["27:40 raise heater-stuck from 22:40"],
        );
    }

    #[test]
    fn a_heater_that_answers_cold_pieces_is_not_stuck() {
        check(
            "working 0:00 setpoint=31.5 chocolate=31.6 jacket=32.5 | ~30:00 | ~36:00 chocolate=31.1 jacket=37 | ~42:00 chocolate=31.5 jacket=33 \
             | ~60:00",
            &expect![""],
        );
    }

    /// It rises by a degree and a half in six minutes and comes back in two, again and again, but never as far as the set-point.
    #[test]
    fn a_jacket_that_swings_as_it_has_done_is_not_stuck() {
        let swings: Vec<String> = (0..8)
            .map(|i| format!("~{}:00 jacket=46 | ~{}:00 jacket=47.5", 26 + 8 * i, 32 + 8 * i))
            .collect();
        let script =
            format!("soak 0:00 setpoint=43 chocolate=43.6 jacket=47.5 | ~24:00 | {}", swings.join(" | "));
        check(&script, &expect![""]);
        check(&format!("{script} | ~100:00 jacket=53"), &expect!["92:30 raise heater-stuck from 87:30"]);
    }

    #[test]
    fn four_minutes_are_none() {
        check(
            "working 0:00 setpoint=31.5 chocolate=31.6 jacket=32 | ~30:00 | ~34:00 jacket=37 | ~60:00 jacket=32",
            &expect![""],
        );
    }

    /// Chocolate, jacket and set-point every two minutes.
    #[test]
    fn what_is_told_seldom_rises_from_reading_to_reading() {
        let told = |minute: i64| {
            let rise = (minute - 30).clamp(0, 8) as f64;
            format!("{minute}:00 setpoint=31.5 chocolate={} jacket={}", 31.6 + rise / 10.0, 32.0 + 0.8 * rise)
        };
        let script: Vec<String> = (0..30).map(|i| told(2 * i)).collect();
        check(&format!("working {}", script.join(" | ")), &expect!["36:05 raise heater-stuck from 31:05"]);
        let alone: Vec<String> = (0..30)
            .map(|i| {
                format!("{}:00 setpoint=31.5 chocolate={}", 2 * i, 31.5 + 1.5 * f64::from((i - 15).max(0)))
            })
            .collect();
        check(&format!("working {}", alone.join(" | ")), &expect!["36:05 raise heater-stuck from 32:05"]);
    }

    /// While it was warmed to its set-point the jacket was hotter than it is now; of the hold that says nothing.
    #[test]
    fn heating_up_is_none_of_the_holds_ways() {
        check(
            "working 0:00 setpoint=31.5 chocolate=31.2 jacket=40 | ~10:00 jacket=32 chocolate=31.6 | ~40:00 | ~45:00 jacket=36",
            &expect!["44:45 raise heater-stuck from 39:45"],
        );
    }

    #[test]
    fn a_two_point_hold_is_ordinary() {
        let swings: Vec<String> = (0..10)
            .map(|i| {
                let from = i * 12;
                format!(
                    "~{}:00 jacket=36 chocolate=31.4 | ~{}:00 jacket=32 chocolate=31.6",
                    from + 4,
                    from + 12
                )
            })
            .collect();
        check(
            &format!("working 0:00 setpoint=31.5 chocolate=31.5 jacket=32 | {}", swings.join(" | ")),
            &expect![""],
        );
    }

    #[test]
    fn a_strong_two_point_heater_is_ordinary_until_it_sticks() {
        let swings: Vec<String> = (0..5)
            .map(|i| {
                let from = i * 13;
                format!(
                    "~{}:00 jacket=52 chocolate=45.8 | ~{}:00 jacket=46 chocolate=46.1",
                    from + 7,
                    from + 13
                )
            })
            .collect();
        check(
            &format!(
                "soak 0:00 setpoint=46 chocolate=46 jacket=46 | {} | ~75:00 jacket=55 chocolate=46.5",
                swings.join(" | ")
            ),
            &expect!["74:00 raise heater-stuck from 69:00"],
        );
    }

    #[test]
    fn warm_couverture_filled_in_is_no_heater() {
        check(
            "working 0:00 setpoint=31.5 chocolate=31.5 jacket=32 | ~10:00 | ~14:00 chocolate=36 jacket=33 | ~40:00 chocolate=33",
            &expect![""],
        );
    }

    #[test]
    fn without_a_set_point_or_when_idle_nobody_can_say() {
        check("working 0:00 chocolate=31.5 jacket=32 | ~30:00 chocolate=45 jacket=54", &expect![""]);
        check(
            "idle 0:00 setpoint=31.5 chocolate=31.5 jacket=32 | ~30:00 chocolate=45 jacket=54",
            &expect![""],
        );
        check("soak 0:00 setpoint=20 chocolate=31.5 jacket=32 | ~30:00 chocolate=45 jacket=54", &expect![""]);
    }

    /// A jacket that swings by two degrees and then rises for good by four: beyond its limit it is beyond its ways, too.
    #[test]
    fn what_the_hold_never_did_needs_no_more_than_the_limit() {
        check(
            "working 0:00 setpoint=31.5 chocolate=31.5 jacket=31 | ~5:00 jacket=33.4 | ~20:00 jacket=31 | ~30:00 | ~38:00 jacket=35 \
             | ~40:00 jacket=35",
            &expect!["37:10 raise heater-stuck from 32:10"],
        );
    }

    /// By two tenths a minute it is never two degrees hotter than five minutes ago. Until it is far above its limit it goes up by fits and starts.
    #[test]
    fn a_slow_rise_is_not_compared_with_itself() {
        let stair = |i: u32| {
            let (minute, below) = (30 + 2 * i, 32.0 + 0.4 * f64::from(i));
            format!("~{minute}:00 jacket={below:.1} | ~{minute}:10 jacket={:.1}", below + 0.4)
        };
        let stairs: Vec<String> = (0..9).map(stair).collect();
        check(
            &format!(
                "working 0:00 setpoint=31.5 chocolate=31.5 jacket=32 | {} | ~48:00 | ~60:00 jacket=38",
                stairs.join(" | ")
            ),
            &expect!["52:45 raise heater-stuck from 47:45"],
        );
    }

    #[test]
    fn across_a_gap_nothing_rises() {
        check(
            "working 0:00 setpoint=31.5 chocolate=31.5 jacket=32 | ~10:00 | 20:00 chocolate=36 jacket=44 | ~21:00 | ~40:00 chocolate=35 jacket=30",
            &expect![""],
        );
    }
}
