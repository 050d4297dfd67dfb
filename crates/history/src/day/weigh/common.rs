//! Causes that several machines share: room, cooling water, material, recipe.

use model::{Channel, FindingKind};

use super::{Weighing, excused};
use crate::day::view::{Seen, machines};
use crate::day::{Case, Cause, Clue, Figure, Missing, Sign, Way};

/// From this share of the machines on it counts as common.
const COMMON: f64 = 0.6;

pub(super) fn weigh(day: &[Seen<'_>]) -> Vec<Case> {
    let mut cases: Vec<Case> = [room(day), water(day)].into_iter().flatten().collect();
    cases.extend(by_couverture(day, material));
    cases.extend(by_couverture(day, recipe));
    cases
}

fn room(day: &[Seen<'_>]) -> Option<Case> {
    let mut weighing = Weighing::new(Cause::Room);
    let is_too_cold = too_cold(day);
    let knows = |seen: &&Seen<'_>| !seen.record.courses.of(Channel::Room).is_empty();
    let of = machines(day.iter().filter(knows));
    for seen in day.iter().filter(knows) {
        let before = weighing.supports.len();
        weighing.finding(seen, FindingKind::HotRoom, 4.5);
        weighing.finding(seen, FindingKind::DampRoom, 4.5);
        weighing.figure(seen, Figure::Room, Way::High, 3.5);
        weighing.figure(seen, Figure::Humidity, Way::High, 3.5);
        if is_too_cold {
            weighing.figure(seen, Figure::Room, Way::Low, 3.5);
        }
        if before < weighing.supports.len() {
            weighing.concerns(seen.machine);
        }
    }
    let shown = weighing.machines.len();
    if shown == 0 {
        return None;
    }
    if 2 <= shown && COMMON <= shown as f64 / of as f64 {
        weighing.several(shown, of, None, 2.0);
    } else if 2 <= of {
        let sign = Sign::Alone { of };
        weighing.opposes(Clue { machine: None, batch: None, since: None, sign, points: 1.5 });
    }
    weighing.lacks(Missing::Test, day.iter().all(|seen| seen.test(true).or(seen.test(false)).is_none()));
    weighing.into_case()
}

/// A cold room spoils nothing by itself: it counts where several machines stand in it and one of them failed a test.
fn too_cold(day: &[Seen<'_>]) -> bool {
    let is_cold = |seen: &&Seen<'_>| seen.off(Figure::Room, Way::Low).is_some();
    2 <= machines(day.iter().filter(is_cold))
        && day.iter().filter(is_cold).any(|seen| seen.began_badly().is_some())
}

fn water(day: &[Seen<'_>]) -> Option<Case> {
    let mut weighing = Weighing::new(Cause::CoolingWater);
    let jacketed: Vec<&Seen<'_>> =
        day.iter().filter(|seen| seen.cooled() && seen.deviation(Figure::JacketCooling).is_some()).collect();
    let warm: Vec<&&Seen<'_>> =
        jacketed.iter().filter(|seen| seen.off(Figure::JacketCooling, Way::High).is_some()).collect();
    if warm.is_empty() {
        return None;
    }
    for seen in &warm {
        weighing.concerns(seen.machine);
        weighing.figure(seen, Figure::JacketCooling, Way::High, 2.5);
        if seen.is_slow() {
            weighing.finding(seen, FindingKind::SlowCooling, 1.0);
            weighing.figure(seen, Figure::CoolingMinutes, Way::High, 1.0);
        }
        weighing.as_usual(seen, Figure::CoolingTau, 1.0);
    }
    let (shown, of) = (weighing.machines.len(), machines(jacketed.iter().copied()));
    if 2 <= shown && COMMON <= shown as f64 / of as f64 {
        weighing.several(shown, of, Some(Figure::JacketCooling), 4.5);
    } else {
        for seen in &jacketed {
            weighing.unless_usual(seen, Figure::JacketCooling, 1.5);
        }
    }
    weighing.into_case()
}

/// One case a couverture, over the machines that hold it.
fn by_couverture(day: &[Seen<'_>], weigh: fn(&[&Seen<'_>], &[Seen<'_>]) -> Option<Case>) -> Vec<Case> {
    let mut couvertures: Vec<_> = day.iter().map(|seen| &seen.record.batch.couverture).collect();
    couvertures.sort();
    couvertures.dedup();
    let holding = |couverture: &model::CouvertureId| -> Vec<&Seen<'_>> {
        day.iter().filter(|seen| seen.record.batch.couverture == *couverture).collect()
    };
    couvertures.into_iter().filter_map(|couverture| weigh(&holding(couverture), day)).collect()
}

/// Thick, or failing its tests, at the temperature at which it always was.
fn material(held: &[&Seen<'_>], day: &[Seen<'_>]) -> Option<Case> {
    let mut weighing = Weighing::new(Cause::Material);
    let (mut commonest, mut is_measured) = (1.0_f64, false);
    let is_told = |seen: &&&Seen<'_>| seen.deviation(Figure::Motor).is_some();
    let worked = machines(held.iter().filter(is_told).copied()).max(1);
    for seen in held {
        let before = weighing.supports.len();
        weighing.finding(seen, FindingKind::Thickening, 1.5);
        weighing.figure(seen, Figure::MotorRise, Way::High, 3.0);
        weighing.figure(seen, Figure::Motor, Way::High, 2.0);
        if before == weighing.supports.len() {
            continue;
        }
        if seen.off(Figure::MotorRise, Way::High).or(seen.off(Figure::Motor, Way::High)).is_some() {
            is_measured = true;
        } else {
            commonest = commonest.min(seen.rarity(FindingKind::Thickening));
        }
        weighing.concerns(seen.machine);
        if seen.test(true).is_some() {
            weighing.supports(seen.clue(Sign::TestFailed, seen.test(true), 1.0));
        }
        // Colder chocolate is thicker whatever the lot.
        for figure in [Figure::WorkingMean, Figure::Lowest] {
            if let Some(cold) = seen.off(figure, Way::Low) {
                weighing.opposes(seen.clue(Sign::Off(*cold), seen.since(figure), 1.5));
            }
        }
        weighing.lacks(Missing::Lot, seen.record.batch.lot.is_none());
    }
    let shown = weighing.machines.len();
    if shown == 0 {
        return None;
    }
    if 2 <= shown && COMMON <= shown as f64 / worked as f64 {
        // Holds thicken every day; that several do at once says something where one stands out, or where it is rare.
        let points = if is_measured { 2.5 } else { 1.5 * commonest };
        weighing.several(shown, worked, None, points);
    } else if 2 <= worked {
        let sign = Sign::Alone { of: worked };
        weighing.opposes(Clue { machine: None, batch: None, since: None, sign, points: 1.0 });
    }
    let couverture = &held.first()?.record.batch.couverture;
    let others = day.iter().filter(|seen| {
        seen.record.batch.couverture != *couverture && seen.usual(Figure::MotorRise).is_some()
    });
    let others = machines(others);
    if 0 < others {
        let sign = Sign::OthersAsUsual { machines: others };
        weighing.supports(Clue { machine: None, batch: None, since: None, sign, points: 1.0 });
    }
    weighing.into_case()
}

/// The controller was asked for something else than usual.
fn recipe(held: &[&Seen<'_>], _day: &[Seen<'_>]) -> Option<Case> {
    let mut weighing = Weighing::new(Cause::Recipe);
    let is_asked = |seen: &&&Seen<'_>| seen.deviation(Figure::SetpointHold).is_some();
    let asked = machines(held.iter().filter(is_asked).copied());
    for seen in held {
        let Some(changed) = seen.out(Figure::SetpointHold).copied() else { continue };
        weighing.concerns(seen.machine);
        weighing.supports(seen.clue(Sign::Off(changed), seen.since(Figure::SetpointHold), 4.0));
        weighing.as_usual(seen, Figure::OffSetpoint, 1.5);
        for (kind, way) in excused::HELD {
            if way == changed.way() {
                weighing.finding(seen, kind, 2.0);
            }
        }
    }
    let shown = weighing.machines.len();
    if shown == 0 {
        return None;
    }
    if 2 <= shown && COMMON <= shown as f64 / asked as f64 {
        weighing.several(shown, asked, Some(Figure::SetpointHold), 2.0);
    }
    weighing.into_case()
}
