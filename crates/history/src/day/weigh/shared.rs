//! What failed batches have in common that no course shows: a lot, a person, a melt that was not hot enough.
//!
//! Only failed temper tests make these a cause; without one, a new lot or another shift is an ordinary day.

use std::collections::BTreeSet;

use model::{EventKind, FindingKind};

use super::Weighing;
use crate::day::view::{Seen, machines};
use crate::day::{Case, Cause, Clue, Figure, Missing, Sign, Way};

/// Fewer failed batches have nothing in common but chance.
const FEWEST_FAILED: usize = 2;

/// Weight of what failed batches share and passed ones do not: enough to name it, not enough to be sure.
const SHARED: f64 = 4.5;

pub(super) fn weigh(day: &[Seen<'_>]) -> Vec<Case> {
    let mut cases: Vec<Case> = new_lots(day);
    cases.extend(one_person(day));
    cases.extend(day.iter().filter_map(melt));
    cases
}

fn failed(seen: &Seen<'_>) -> bool {
    seen.began_badly().is_some()
}

fn passed(seen: &Seen<'_>) -> bool {
    seen.began_well().is_some()
}

/// One case a lot that no good batch of its machines held before.
fn new_lots(day: &[Seen<'_>]) -> Vec<Case> {
    let lots: BTreeSet<&str> = day.iter().filter_map(|seen| seen.record.batch.lot.as_deref()).collect();
    lots.into_iter().filter_map(|lot| new_lot(lot, day)).collect()
}

fn new_lot(lot: &str, day: &[Seen<'_>]) -> Option<Case> {
    let holds = |record: &crate::day::DayRecord| record.batch.lot.as_deref() == Some(lot);
    let (with, without): (Vec<&Seen<'_>>, Vec<&Seen<'_>>) = day.iter().partition(|seen| holds(seen.record));
    if with.iter().any(|seen| seen.past.iter().any(|earlier| holds(earlier))) {
        return None;
    }
    let bad: Vec<&Seen<'_>> =
        with.iter().copied().filter(|seen| failed(seen) && ran_as_usual(seen)).collect();
    let (failed_on, good) =
        (machines(bad.iter().copied()), machines(without.iter().copied().filter(|s| passed(s))));
    if failed_on < FEWEST_FAILED || good == 0 {
        return None;
    }
    let mut weighing = Weighing::new(Cause::Material);
    let since = bad.iter().map(|seen| seen.record.batch.start).min();
    let sign = Sign::NewLot { failed: failed_on, of: machines(with.iter().copied()), passed: good };
    weighing.supports(Clue { machine: None, batch: None, since, sign, points: SHARED });
    for seen in &bad {
        weighing.concerns(seen.machine);
        weighing.supports(seen.clue(Sign::TestFailed, seen.began_badly(), 0.5));
    }
    for seen in with.iter().filter(|seen| passed(seen)) {
        weighing.opposes(seen.clue(Sign::TestPassed, seen.began_well(), 1.0));
    }
    for seen in without.iter().filter(|seen| failed(seen)) {
        weighing.opposes(seen.clue(Sign::TestFailed, seen.began_badly(), 1.0));
    }
    weighing.into_case()
}

/// Figures of the course that a lot does not move.
const COURSE: [Figure; 6] = [
    Figure::CoolingMinutes,
    Figure::SeedDip,
    Figure::SeedShare,
    Figure::Settled,
    Figure::WorkingMean,
    Figure::OffSetpoint,
];

/// Nothing that the machine or people did explains the test.
fn ran_as_usual(seen: &Seen<'_>) -> bool {
    let is_found = |kind: &FindingKind| kind.spoils_course() && *kind != FindingKind::Thickening;
    !COURSE.iter().any(|figure| seen.out(*figure).is_some())
        && !FindingKind::ALL.iter().filter(|kind| is_found(kind)).any(|kind| seen.found(*kind))
}

/// All that failed were worked by one person, and all that passed by others. Who it was is nobody's business here: a shift that was never
/// shown how is asked without blame.
fn one_person(day: &[Seen<'_>]) -> Option<Case> {
    let known = |seen: &&Seen<'_>| !workers(seen).is_empty();
    let bad: Vec<&Seen<'_>> = day.iter().filter(|seen| failed(seen)).collect();
    let good: Vec<&Seen<'_>> = day.iter().filter(|seen| passed(seen)).filter(known).collect();
    let by: BTreeSet<&str> = bad.iter().flat_map(|seen| workers(seen)).collect();
    let is_one = by.len() == 1 && bad.iter().all(known);
    let is_others = good.iter().all(|seen| workers(seen).is_disjoint(&by));
    if !is_one || !is_others || bad.len() < FEWEST_FAILED || good.is_empty() {
        return None;
    }
    let mut weighing = Weighing::new(Cause::People);
    let since = bad.iter().map(|seen| seen.record.batch.start).min();
    let sign = Sign::OnePerson { failed: bad.len(), passed: good.len() };
    weighing.supports(Clue { machine: None, batch: None, since, sign, points: SHARED });
    bad.iter().for_each(|seen| weighing.concerns(seen.machine));
    weighing.into_case()
}

/// Who charged and seeded it, as far as that was told.
fn workers<'d>(seen: &Seen<'d>) -> BTreeSet<&'d str> {
    let is_work = |kind: &EventKind| matches!(kind, EventKind::Charge { .. } | EventKind::Seed { .. });
    let events = seen.record.events.iter().filter(|event| is_work(&event.kind));
    events.filter_map(|event| event.by.as_deref()).collect()
}

/// Crystals that were never melted seed the charge without anybody's control (domain brief 1.2): somebody asked for less heat, or the heat
/// did not come.
fn melt(seen: &Seen<'_>) -> Option<Case> {
    let at = seen.began_badly()?;
    let cause = if seen.off(Figure::SoakOver, Way::Low).is_some() { Cause::Control } else { Cause::Recipe };
    let mut weighing = Weighing::on(cause, seen);
    if !weighing.figure(seen, Figure::SoakMax, Way::Low, 4.5) {
        return None;
    }
    weighing.supports(seen.clue(Sign::TestFailed, Some(at), 1.0));
    weighing.lacks(Missing::Reference, Figure::SoakOver.of(seen.record).is_none());
    weighing.into_case()
}
