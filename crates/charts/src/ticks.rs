//! Where an axis is marked: round times of the plant's own clock, round values.
//!
//! A day with a clock change has 23 or 25 hours. Ticks stand at local times that exist, an hour that comes twice is
//! marked twice, and the change itself is told.
//!
//! Never reads a clock, never shows UTC.

use jiff::civil::DateTime;
use jiff::tz::{AmbiguousOffset, TimeZone};
use jiff::{SignedDuration, ToSpan as _};
use model::{Span, Timestamp};

/// Tick steps in minutes, each a whole part of the next day or hour that people think in.
const TIME_STEPS: [i32; 14] = [1, 2, 5, 10, 15, 30, 60, 120, 180, 360, 720, 1440, 2880, 10_080];

/// A marked moment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct TimeTick {
    pub(crate) at: Timestamp,
    /// The local time; empty at midnight where whole days are marked.
    pub(crate) time: String,
    /// The local date, at the first tick and at each midnight.
    pub(crate) date: Option<String>,
}

/// At most `most` ticks from `from` to `to`.
pub(crate) fn time_ticks(from: Timestamp, to: Timestamp, zone: &TimeZone, most: usize) -> Vec<TimeTick> {
    let minutes = (to - from).as_mins_f64();
    let step = TIME_STEPS
        .into_iter()
        .find(|step| minutes / f64::from(*step) <= most as f64)
        .unwrap_or(TIME_STEPS[TIME_STEPS.len() - 1]);
    let mut moments: Vec<(Timestamp, DateTime)> = local_steps(from, to, zone, step);
    moments.dedup_by_key(|(at, _)| *at);
    let mut last_date = None;
    moments
        .into_iter()
        .map(|(at, local)| {
            let date = (last_date != Some(local.date())).then(|| local.strftime("%a %-d %b").to_string());
            last_date = Some(local.date());
            let time = if step < 1440 { local.strftime("%H:%M").to_string() } else { String::new() };
            TimeTick { at, time, date }
        })
        .collect()
}

fn local_steps(from: Timestamp, to: Timestamp, zone: &TimeZone, step: i32) -> Vec<(Timestamp, DateTime)> {
    let mut moments = Vec::new();
    let mut local = zone.to_datetime(from.to_jiff()).date().at(0, 0, 0, 0);
    // A day more than asked for, because local days and UTC do not begin together.
    let last = zone.to_datetime((to + Span::from_hours(24)).to_jiff());
    while local <= last {
        for at in moments_of(local, zone) {
            if from <= at && at <= to {
                moments.push((at, local));
            }
        }
        let Ok(next) = local.checked_add(step.minutes()) else { break };
        local = next;
    }
    moments.sort_by_key(|(at, _)| *at);
    moments
}

/// The moments at which the wall clock shows `local`: none in a gap, two in a fold.
fn moments_of(local: DateTime, zone: &TimeZone) -> Vec<Timestamp> {
    let ambiguous = zone.to_ambiguous_timestamp(local);
    let found = match ambiguous.offset() {
        AmbiguousOffset::Unambiguous { .. } => vec![ambiguous.earlier()],
        AmbiguousOffset::Gap { .. } => Vec::new(),
        AmbiguousOffset::Fold { .. } => vec![ambiguous.earlier(), ambiguous.later()],
    };
    found.into_iter().flatten().map(Timestamp::from).collect()
}

/// A moment at which the wall clock jumps.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct ClockChange {
    pub(crate) at: Timestamp,
    pub(crate) says: String,
}

/// The clock changes between `from` and `to`.
pub(crate) fn clock_changes(from: Timestamp, to: Timestamp, zone: &TimeZone) -> Vec<ClockChange> {
    zone.following(from.to_jiff())
        .map(|transition| Timestamp::from(transition.timestamp()))
        .take_while(|at| *at <= to)
        .filter_map(|at| {
            let before = zone.to_offset((at - Span::from_millis(1)).to_jiff());
            let after = zone.to_offset(at.to_jiff());
            let jump = SignedDuration::from_secs(i64::from(after.seconds() - before.seconds()));
            let way = if jump.is_positive() { "forward" } else { "back" };
            (!jump.is_zero())
                .then(|| ClockChange { at, says: format!("clocks go {way} {}", length(jump.abs())) })
        })
        .collect()
}

fn length(jump: SignedDuration) -> String {
    match (jump.as_hours(), jump.as_mins() % 60) {
        (hours, 0) => format!("{hours} h"),
        (0, minutes) => format!("{minutes} min"),
        (hours, minutes) => format!("{hours} h {minutes} min"),
    }
}

/// Round values from `low` to `high`, at most `most`, and the decimals that they need.
pub(crate) fn value_ticks(low: f64, high: f64, most: usize) -> (Vec<f64>, usize) {
    let raw = (high - low) / most.max(1) as f64;
    if !(0.0 < raw && raw.is_finite()) {
        return (vec![low], 1);
    }
    let power = 10f64.powf(raw.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0].map(|part| part * power).into_iter().find(|s| raw <= *s * 1.000_001);
    let step = step.unwrap_or(10.0 * power);
    let decimals = (-step.log10().floor()).max(0.0) as usize;
    let first = (low / step - 1e-9).ceil() as i64;
    let last = (high / step + 1e-9).floor() as i64;
    ((first..=last).map(|n| n as f64 * step).collect(), decimals)
}

#[cfg(test)]
mod tests {
    use super::*;
    use expect_test::{Expect, expect};

    fn check(from: &str, to: &str, zone: &str, most: usize, expected: &Expect) {
        let zone = TimeZone::get(zone).unwrap();
        let (from, to) = (from.parse().unwrap(), to.parse().unwrap());
        let ticks: Vec<String> = time_ticks(from, to, &zone, most)
            .into_iter()
            .map(|tick| format!("{}{}", tick.date.map(|d| format!("[{d}] ")).unwrap_or_default(), tick.time))
            .collect();
        let changes =
            clock_changes(from, to, &zone).into_iter().map(|c| format!(" | {} at {}", c.says, c.at));
        expected.assert_eq(&(ticks.join(" ") + &changes.collect::<String>()));
    }

    #[test]
    fn ticks_are_round_on_the_plants_clock() {
        check(
            "2026-03-02T05:10:00Z",
            "2026-03-02T13:40:00Z",
            "Asia/Kolkata",
            10,
            &expect!["[Mon 2 Mar] 11:00 12:00 13:00 14:00 15:00 16:00 17:00 18:00 19:00"],
        );
        check(
            "2026-03-02T05:00:00Z",
            "2026-03-06T05:00:00Z",
            "UTC",
            5,
            &expect!["[Tue 3 Mar]  [Wed 4 Mar]  [Thu 5 Mar]  [Fri 6 Mar] "],
        );
    }

    #[test]
    fn a_day_with_a_clock_change_is_told() {
        // Portugal 2026: EU directive 2000/84/EC, last Sundays of March and October at 01:00 UTC.
        check(
            "2026-03-28T23:00:00Z",
            "2026-03-29T04:00:00Z",
            "Europe/Lisbon",
            6,
            &expect![
                "[Sat 28 Mar] 23:00 [Sun 29 Mar] 00:00 02:00 03:00 04:00 05:00 | clocks go forward 1 h at 2026-03-29T01:00:00Z"
            ],
        );
        check(
            "2026-10-24T23:00:00Z",
            "2026-10-25T03:00:00Z",
            "Europe/Lisbon",
            6,
            &expect![
                "[Sun 25 Oct] 00:00 01:00 01:00 02:00 03:00 | clocks go back 1 h at 2026-10-25T01:00:00Z"
            ],
        );
    }

    #[test]
    fn values_are_round() {
        assert_eq!(value_ticks(24.0, 47.0, 6), (vec![25.0, 30.0, 35.0, 40.0, 45.0], 0));
        let (values, decimals) = value_ticks(30.9, 32.1, 6);
        let written: Vec<String> = values.iter().map(|value| format!("{value:.decimals$}")).collect();
        assert_eq!(written, ["31.0", "31.2", "31.4", "31.6", "31.8", "32.0"]);
        assert_eq!(value_ticks(31.0, 31.0, 6), (vec![31.0], 1));
    }
}
