//! What shows from batch to batch: `slow-cooling`, `cooling-fade`, `probe-drift`.

use model::{Channel, FindingKind, Phase, Span, Timestamp};

use super::{Condition, Excuse, MARGIN, Scene, median};
use crate::deeds::Mark;
use crate::true_phases::Course;

const SLOW: f64 = 1.35;
/// So many earlier batches make a usual one.
const ENOUGH: usize = 3;
const FADE: f64 = 1.15;
/// A trend takes so many batches to show at all (Mann–Kendall, 5 %).
const TREND_BATCHES: usize = 6;
const DRIFT_C: f64 = 0.3;

/// Each cooling that was seen from its start: its course, beginning, end so far, and whether it is over.
fn coolings<'a>(scene: &'a Scene<'_>) -> impl Iterator<Item = (&'a Course, Timestamp, Timestamp, bool)> {
    scene.courses.letter.iter().filter_map(|course| {
        let span = course.phases.iter().find(|p| p.phase == Phase::Cooling)?;
        (span.from > scene.record.start + Span::from_mins(2))
            .then(|| (course, span.from, span.to.unwrap_or(scene.moment(course.sure_to)), span.to.is_some()))
    })
}

/// What the charge of a course weighs against a usual one.
fn fullness(scene: &Scene<'_>, before: Timestamp) -> f64 {
    scene.record.last_charge(before).map_or(1.0, |(kg, _)| kg / scene.spec.usual_kg())
}

pub(super) fn slow_cooling(scene: &Scene<'_>) -> Vec<Condition> {
    let mut earlier: Vec<f64> = Vec::new();
    let mut found = Vec::new();
    for (_, from, to, over) in coolings(scene) {
        let minutes = to.since(from).as_mins_f64();
        let full = fullness(scene, from);
        let mut usual: Vec<f64> = scene.spec.told_cooling_minutes.into_iter().collect();
        if earlier.len() + 1 >= ENOUGH {
            usual.extend(median(earlier.iter().copied()));
        }
        // Of which mass the usual one speaks, nobody says.
        let scaled: Vec<f64> = usual.iter().map(|u| u * full).collect();
        usual.extend(scaled);
        let (least, most) =
            usual.iter().fold((f64::INFINITY, 0.0f64), |(least, most), u| (least.min(*u), most.max(*u)));
        if over {
            earlier.push(minutes);
        }
        if usual.is_empty() || minutes < SLOW * (1.0 - MARGIN) * least {
            continue;
        }
        let slower = |usual: f64| minutes > SLOW * (1.0 + 0.4 * MARGIN) * usual;
        let why = match (slower(most), slower(least)) {
            (true, _) => None,
            (false, true) => Some(Excuse::MassNotTold),
            (false, false) => Some(Excuse::NearTheLimit),
        };
        let due = from + Span::from_mins_f64(SLOW * most);
        let one = Condition::new(FindingKind::SlowCooling, (from, to.max(due)), due, minutes / most);
        found.push(one.unless(why));
    }
    found
}

/// Time constant of a cooling against what cools it, minutes: the wall of a jacketed machine, the room else. Newton's law
/// summed up: what was lost is the mean difference times the time, over τ.
pub(crate) fn time_constant_min(scene: &Scene<'_>, course: &Course) -> Option<f64> {
    let record = scene.record;
    let cooling = scene.places(course, Phase::Cooling)?;
    let seed = record.marks.iter().find_map(|(at, mark)| {
        let place = record.place(*at);
        (matches!(mark, Mark::Seed { .. }) && cooling.contains(&place)).then_some(place)
    });
    let top = f64::from(record.celsius[cooling.start]) - 1.0;
    let low = scene.spec.limits.working.high() + 1.5;
    let end = seed.unwrap_or(cooling.end);
    let inside: Vec<usize> =
        (cooling.start..end).filter(|i| (low..top).contains(&f64::from(record.celsius[*i]))).collect();
    let (first, last) = (*inside.first()?, *inside.last()?);
    let lost = f64::from(record.celsius[first]) - f64::from(record.celsius[last]);
    let cooler = if scene.spec.build.coolant > 0.0 { &record.wall } else { &record.room };
    let area: f64 = (first..last)
        .map(|i| {
            (f64::from(record.celsius[i]) - f64::from(cooler[i])) * crate::recorder::KEPT_EVERY_S as f64
                / 60.0
        })
        .sum();
    (lost > 3.0).then(|| area / lost)
}

/// From the first batch on whose figure stands `past` its limit for good; `nearly` if it does so by a little.
fn trend(
    kind: FindingKind,
    figures: &[(Timestamp, Timestamp, f64)],
    past: impl Fn(f64, f64) -> (bool, bool),
) -> Option<Condition> {
    if figures.len() < TREND_BATCHES {
        return None;
    }
    let base = median(figures[..ENOUGH].iter().map(|f| f.2))?;
    let at = |limit: fn((bool, bool)) -> bool| {
        figures
            .iter()
            .enumerate()
            .skip(TREND_BATCHES - 1)
            .find(|(_, f)| limit(past(f.2, base)))
            .map(|(n, _)| n)
    };
    let near = at(|p| p.0)?;
    let sure = at(|p| p.1);
    let last = figures[figures.len() - 1].1;
    let span = (figures[near.saturating_sub(2)].0, last.max(figures[near].1));
    let one =
        Condition::new(kind, span, figures[sure.unwrap_or(near)].1, figures[figures.len() - 1].2 / base);
    Some(one.unless(sure.is_none().then_some(Excuse::NearTheLimit)))
}

pub(super) fn cooling_fade(scene: &Scene<'_>) -> Vec<Condition> {
    let figures: Vec<(Timestamp, Timestamp, f64)> = coolings(scene)
        .filter(|c| c.3)
        .filter_map(|(course, from, to, _)| Some((from, to, time_constant_min(scene, course)?)))
        .collect();
    let past = |value: f64, base: f64| {
        (value > base * (1.0 + 0.6 * (FADE - 1.0)), value > base * (1.0 + 1.4 * (FADE - 1.0)))
    };
    let unseen = (!scene.has(Channel::Jacket)).then_some(Excuse::JacketNotMeasured);
    trend(FindingKind::CoolingFade, &figures, past).map(|one| one.unless(unseen)).into_iter().collect()
}

pub(super) fn probe_drift(scene: &Scene<'_>) -> Vec<Condition> {
    if !scene.has(Channel::Setpoint) {
        return Vec::new();
    }
    let record = scene.record;
    let one = |course: &Course| {
        let working = scene.places(course, Phase::Working)?;
        let after = working.start + super::places_in(1_200.0);
        let inside = after..working.end;
        if inside.len() < super::places_in(1_800.0) {
            return None;
        }
        let n = inside.len() as f64;
        let off: f64 = inside.map(|i| f64::from(record.celsius[i]) - f64::from(record.setpoint[i])).sum();
        Some((scene.moment(working.start), scene.moment(working.end), off / n))
    };
    let figures: Vec<(Timestamp, Timestamp, f64)> = scene.courses.letter.iter().filter_map(one).collect();
    let past =
        |value: f64, base: f64| ((value - base).abs() > 0.6 * DRIFT_C, (value - base).abs() > 1.4 * DRIFT_C);
    trend(FindingKind::ProbeDrift, &figures, past).into_iter().collect()
}
