//! Causes that several machines share: room, cooling water, material, recipe.

use model::{Channel, FindingKind};

use super::Weighing;
use crate::day::view::Seen;
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
    let knows = |seen: &&Seen<'_>| !seen.record.courses.of(Channel::Room).is_empty();
    let of = day.iter().filter(knows).count();
    let mut machines = 0;
    for seen in day.iter().filter(knows) {
        let before = weighing.supports.len();
        weighing.finding(seen, FindingKind::HotRoom, 4.5);
        weighing.finding(seen, FindingKind::DampRoom, 4.5);
        weighing.figure(seen, Figure::Room, Way::High, 3.5);
        weighing.figure(seen, Figure::Humidity, Way::High, 3.5);
        if before < weighing.supports.len() {
            machines += 1;
            weighing.machines.push(seen.machine.clone());
        }
    }
    if machines == 0 {
        return None;
    }
    if 2 <= machines && COMMON <= machines as f64 / of as f64 {
        weighing.several(machines, of, None, 2.0);
    } else if 2 <= of {
        let sign = Sign::Alone { of };
        weighing.opposes(Clue { machine: None, batch: None, since: None, sign, points: 1.5 });
    }
    weighing.lacks(Missing::Test, day.iter().all(|seen| seen.test(true).or(seen.test(false)).is_none()));
    weighing.into_case()
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
        weighing.machines.push(seen.machine.clone());
        weighing.figure(seen, Figure::JacketCooling, Way::High, 2.5);
        if seen.is_slow() {
            weighing.finding(seen, FindingKind::SlowCooling, 1.0);
            weighing.figure(seen, Figure::CoolingMinutes, Way::High, 1.0);
        }
        weighing.as_usual(seen, Figure::CoolingTau, 1.0);
    }
    let of = jacketed.len();
    if 2 <= warm.len() && COMMON <= warm.len() as f64 / of as f64 {
        weighing.several(warm.len(), of, Some(Figure::JacketCooling), 4.5);
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
    let (mut machines, mut commonest, mut is_measured) = (0, 1.0_f64, false);
    let worked = held.iter().filter(|seen| seen.deviation(Figure::Motor).is_some()).count().max(1);
    for seen in held {
        let before = weighing.supports.len();
        weighing.finding(seen, FindingKind::Thickening, 1.5);
        weighing.figure(seen, Figure::MotorRise, Way::High, 3.0);
        weighing.figure(seen, Figure::Motor, Way::High, 2.0);
        if before == weighing.supports.len() {
            continue;
        }
        machines += 1;
        if seen.off(Figure::MotorRise, Way::High).or(seen.off(Figure::Motor, Way::High)).is_some() {
            is_measured = true;
        } else {
            commonest = commonest.min(seen.rarity(FindingKind::Thickening));
        }
        weighing.machines.push(seen.machine.clone());
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
    if machines == 0 {
        return None;
    }
    if 2 <= machines && COMMON <= machines as f64 / worked as f64 {
        // Holds thicken every day; that several do at once says something where one stands out, or where it is rare.
        let points = if is_measured { 2.5 } else { 1.5 * commonest };
        weighing.several(machines, worked, None, points);
    } else if 2 <= worked {
        let sign = Sign::Alone { of: worked };
        weighing.opposes(Clue { machine: None, batch: None, since: None, sign, points: 1.0 });
    }
    let couverture = &held.first()?.record.batch.couverture;
    let others = day.iter().filter(|seen| {
        seen.record.batch.couverture != *couverture && seen.usual(Figure::MotorRise).is_some()
    });
    let others = others.count();
    if 0 < others {
        let sign = Sign::OthersAsUsual { machines: others };
        weighing.supports(Clue { machine: None, batch: None, since: None, sign, points: 1.0 });
    }
    weighing.into_case()
}

/// The controller was asked for something else than usual.
fn recipe(held: &[&Seen<'_>], _day: &[Seen<'_>]) -> Option<Case> {
    let mut weighing = Weighing::new(Cause::Recipe);
    let mut machines = 0;
    let asked = held.iter().filter(|seen| seen.deviation(Figure::SetpointHold).is_some()).count();
    for seen in held {
        let Some(changed) = seen.out(Figure::SetpointHold).copied() else { continue };
        machines += 1;
        weighing.machines.push(seen.machine.clone());
        weighing.supports(seen.clue(Sign::Off(changed), seen.since(Figure::SetpointHold), 4.0));
        weighing.as_usual(seen, Figure::OffSetpoint, 1.5);
    }
    if machines == 0 {
        return None;
    }
    if 2 <= machines && COMMON <= machines as f64 / asked as f64 {
        weighing.several(machines, asked, Some(Figure::SetpointHold), 2.0);
    }
    weighing.into_case()
}
