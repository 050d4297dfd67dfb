//! What goes wrong with a hold slowly: `hold-drift`, `hunting`, `thickening`.

use std::ops::Range;

use model::{Channel, FindingKind, Phase, Span, Timestamp};

use super::{Condition, Ease, Excuse, SETTLED_MIN, Scene, median, places_in};
use crate::deeds::Mark;
use crate::true_phases::{Course, moments};

const RECENT_MIN: f64 = 20.0;
const DRIFT_C: f64 = 0.3;
/// [`Excuse::Step`]: so much within ten minutes.
const STEP_C: f64 = 0.18;
/// [`Excuse::EarlyInTheHold`] until then: the twenty minutes that follow those of the settled level are over.
const APART_MIN: f64 = 50.0;
/// [`Excuse::SettledAtTheSetpoint`]: so near to it.
const AT_SETPOINT_C: f64 = 0.25;
const SWING_C: f64 = 0.8;
const PERIOD_MIN: (f64, f64) = (2.0, 30.0);
const CYCLES: usize = 3;
const BASE_MIN: (f64, f64) = (5.0, 15.0);
const THICKER: f64 = 0.15;
const THICKER_S: i64 = 600;
const SAME_C: f64 = 0.5;

/// Which disturbances begin a new level.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Disturbances {
    /// All that there were.
    All,
    /// Those that somebody told, or that a channel shows.
    Known,
}

fn minutes(value: f64) -> usize {
    places_in(60.0 * value)
}

fn mean(values: &[f32]) -> f64 {
    values.iter().map(|v| f64::from(*v)).sum::<f64>() / values.len().max(1) as f64
}

/// Places in working at which set-points were changed, if `setpoints`, and top-ups made.
fn disturbed(scene: &Scene<'_>, working: &Range<usize>, which: Disturbances, setpoints: bool) -> Vec<usize> {
    let record = scene.record;
    let told = |at: Timestamp| {
        let near = |t: &crate::recorder::Told| {
            t.event == "top-up"
                && (t.at.unwrap_or(t.sent) - at).as_millis().abs() < Span::from_mins(10).as_millis()
        };
        record.told.iter().any(near)
    };
    let mut places: Vec<usize> = moments(record, |m| matches!(m, Mark::TopUp { .. } | Mark::Seed { .. }))
        .into_iter()
        .filter(|at| which == Disturbances::All || told(*at))
        .map(|at| record.place(at))
        .collect();
    if setpoints && (which == Disturbances::All || scene.has(Channel::Setpoint)) {
        places.extend(working.clone().skip(1).filter(|i| record.setpoint[*i] != record.setpoint[i - 1]));
    }
    places.retain(|p| working.contains(p));
    places.sort_unstable();
    places
}

/// Stretches between disturbances.
fn levels(working: &Range<usize>, disturbed: &[usize]) -> Vec<Range<usize>> {
    let starts = [working.start].into_iter().chain(disturbed.iter().copied());
    let ends = disturbed.iter().copied().chain([working.end]);
    starts.zip(ends).map(|(from, to)| from..to).collect()
}

pub(super) fn hold_drift(scene: &Scene<'_>, ease: Ease, which: Disturbances) -> Vec<Condition> {
    let celsius = &scene.record.celsius;
    let asked = DRIFT_C * ease.factor;
    let recent = minutes(RECENT_MIN);
    let mut found = Vec::new();
    for working in scene.courses.letter.iter().filter_map(|c| scene.places(c, Phase::Working)) {
        for level in levels(&working, &disturbed(scene, &working, which, true)) {
            let (a, b) = (level.start + minutes(SETTLED_MIN.0), level.start + minutes(SETTLED_MIN.1));
            if b + 1 >= level.end {
                continue;
            }
            let settled = mean(&celsius[a..b]);
            let mut sum: f64 = celsius[b - recent..b].iter().map(|v| f64::from(*v)).sum();
            let mut moved = Vec::with_capacity(level.end - b);
            for i in b..level.end {
                sum += f64::from(celsius[i]) - f64::from(celsius[i - recent]);
                moved.push(sum / recent as f64 - settled);
            }
            let past = |i: usize| moved[i - b].abs() - asked;
            for mut c in scene.stretches(FindingKind::HoldDrift, b..level.end, 0.0, past) {
                let due = scene.record.place(c.due) - b;
                let before = due.saturating_sub(minutes(10.0));
                let by = moved[due.min(moved.len() - 1)];
                // Where the move has come to, by the middle of the stretch.
                let middle = (due + scene.record.place(c.to) - b) / 2;
                let middle = middle.min(moved.len() - 1);
                let asked = f64::from(scene.record.setpoint[b + middle]);
                let (off, was_off) = ((settled + moved[middle] - asked).abs(), (settled - asked).abs());
                let landed = off < was_off && off < AT_SETPOINT_C.max(was_off / 2.0);
                let early = b + due < level.start + minutes(APART_MIN);
                let why = if (by - moved[before]).abs() > STEP_C {
                    Some(Excuse::Step)
                } else if early {
                    Some(Excuse::EarlyInTheHold)
                } else {
                    (scene.has(Channel::Setpoint) && landed).then_some(Excuse::SettledAtTheSetpoint)
                };
                c.from = c.from - Span::from_mins_f64(RECENT_MIN);
                found.push(c.unless(why));
            }
        }
    }
    found
}

/// Where the hold has left its range, the finding for that says it, and nobody need call it a drift as well.
pub(super) fn leave_to_worse(all: &mut [Condition], temperatures: &[Condition]) {
    let near = Span::from_mins_f64(RECENT_MIN);
    for drift in all.iter_mut().filter(|c| c.kind == FindingKind::HoldDrift) {
        if temperatures.iter().any(|t| t.from <= drift.due + near && drift.due - near <= t.to) {
            drift.excuse(Excuse::SaidByAnother);
        }
    }
}

/// Turning points of the hold: where it came back by `swing` from a highest or lowest point.
fn turns(celsius: &[f32], working: Range<usize>, swing: f64) -> Vec<usize> {
    let mut turns = Vec::new();
    let (mut low, mut high) = (working.start, working.start);
    let mut rising: Option<bool> = None;
    for i in working {
        let c = |place: usize| f64::from(celsius[place]);
        if c(i) > c(high) {
            high = i;
        }
        if c(i) < c(low) {
            low = i;
        }
        if rising != Some(false) && c(high) - c(i) >= swing {
            turns.push(high);
            (rising, low) = (Some(false), i);
        } else if rising != Some(true) && c(i) - c(low) >= swing {
            turns.push(low);
            (rising, high) = (Some(true), i);
        }
    }
    turns
}

pub(super) fn hunting(scene: &Scene<'_>, ease: Ease) -> Vec<Condition> {
    let mut found: Vec<Condition> = Vec::new();
    for working in scene.courses.letter.iter().filter_map(|c| scene.places(c, Phase::Working)) {
        let turns = turns(&scene.record.celsius, working, SWING_C * ease.factor + ease.celsius.min(0.0));
        let (short, long) = (minutes(PERIOD_MIN.0), minutes(PERIOD_MIN.1));
        let halves = 2 * CYCLES - usize::from(ease.factor < 1.0);
        for run in turns.windows(halves + 1) {
            let even = run.windows(3).all(|w| (short..=long).contains(&(w[2] - w[0])));
            if !even {
                continue;
            }
            let (from, to) = (scene.moment(run[0]), scene.moment(run[halves]));
            match found.last_mut() {
                Some(open) if from <= open.to => open.to = to,
                Some(_) | None => {
                    found.push(Condition::new(FindingKind::Hunting, (from, to), to, halves as f64 / 2.0));
                }
            }
        }
    }
    found
}

pub(super) fn thickening(scene: &Scene<'_>, ease: Ease) -> Vec<Condition> {
    thicker(scene, ease, Disturbances::All)
}

pub(super) fn thickening_known(scene: &Scene<'_>, ease: Ease) -> Vec<Condition> {
    thicker(scene, ease, Disturbances::Known)
}

fn thicker(scene: &Scene<'_>, ease: Ease, which: Disturbances) -> Vec<Condition> {
    if !scene.has(Channel::Motor) {
        return Vec::new();
    }
    let record = scene.record;
    let mut found = Vec::new();
    for working in scene.courses.letter.iter().filter_map(|c: &Course| scene.places(c, Phase::Working)) {
        for level in levels(&working, &disturbed(scene, &working, which, false)) {
            let (a, b) = (level.start + minutes(BASE_MIN.0), level.start + minutes(BASE_MIN.1));
            if b >= level.end {
                continue;
            }
            let turning = record.motor[a..b].iter().copied().filter(|m| *m > 0.0);
            let Some(base) = median(turning.map(f64::from)) else { continue };
            let base_c = mean(&record.celsius[a..b]);
            let near = SAME_C - (ease.factor - 1.0) - ease.celsius;
            found.extend(scene.stretches(FindingKind::Thickening, b..level.end, ease.long(THICKER_S), |i| {
                let same = (f64::from(record.celsius[i]) - base_c).abs() <= near;
                if same { f64::from(record.motor[i]) / base - 1.0 - THICKER * ease.factor } else { 0.0 }
            }));
        }
    }
    found
}
