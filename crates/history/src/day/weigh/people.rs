//! People and method: what was done, when, and with how much. And what came after the kettle.

use model::{FindingKind, Method};

use super::{Weighing, excused, silence};
use crate::day::view::Seen;
use crate::day::{Case, Cause, Figure, Missing, Sign, Way};

pub(super) fn weigh(seen: &Seen<'_>, day: &[Seen<'_>]) -> Vec<Case> {
    [people(seen), setting(seen, day)].into_iter().flatten().collect()
}

fn people(seen: &Seen<'_>) -> Option<Case> {
    let mut weighing = Weighing::on(Cause::People, seen);
    weighing.finding(seen, FindingKind::SeedMissed, 5.5);
    // What may or may not spoil a charge names a cause where a test failed.
    let is_bad = seen.began_badly().is_some();
    let dips_less = seen.deviation(Figure::SeedDip).is_some_and(|dip| dip.z < 0.0);
    weighing.figure(seen, Figure::SeedAfter, Way::High, if is_bad && dips_less { 4.5 } else { 3.0 });
    weighing.figure(seen, Figure::SeedDip, Way::Low, 4.0);
    weighing.figure(seen, Figure::SeedShare, Way::Low, 4.0);
    weighing.figure(seen, Figure::SeedShare, Way::High, if is_bad { 4.5 } else { 1.5 });
    // Little seed pulls the charge down less.
    weighing.figure(seen, Figure::Lowest, Way::High, 2.0);
    weighing.figure(seen, Figure::SeedAt, Way::Low, 1.0);
    // Seed that goes in far too warm melts.
    weighing.figure(seen, Figure::SeedAt, Way::High, if is_bad { 4.5 } else { 1.0 });
    let top_up = excused::top_up(seen);
    if let Some((sign, at)) = top_up {
        weighing.supports(seen.clue(sign, Some(at), 5.0));
    }
    // As quick as ever on its way, and late all the same: it waited for its seed.
    if seen.usual(Figure::CoolingTau).is_some() && seen.usual(Figure::SeedAfter).is_none() {
        weighing.figure(seen, Figure::CoolingMinutes, Way::High, 3.0);
    }
    let hidden = silence::silences(seen).into_iter().find(|silent| silence::hid_the_way_down(seen, *silent));
    if has_no_dip(seen) && !seen.found(FindingKind::SeedMissed) && hidden.is_none() {
        weighing.supports(seen.clue(Sign::NoDip, seen.since(Figure::SeedDip), 3.0));
    }
    if weighing.supports.is_empty() {
        return None;
    }
    let after_top_up = top_up.and_then(|(_, at)| seen.test(true).filter(|failed| at <= *failed));
    if let Some(at) = seen.began_badly().or(after_top_up) {
        weighing.supports(seen.clue(Sign::TestFailed, Some(at), 1.0));
    }
    // A slow machine is seeded late because it is slow.
    if let Some(tau) = seen.off(Figure::CoolingTau, Way::High) {
        weighing.opposes(seen.clue(Sign::Off(*tau), seen.since(Figure::CoolingTau), 2.0));
    }
    if let Some(warm) = seen.off(Figure::JacketCooling, Way::High) {
        weighing.opposes(seen.clue(Sign::Off(*warm), seen.since(Figure::JacketCooling), 2.0));
    }
    if let Some(hot) = seen.off(Figure::SoakOver, Way::High) {
        weighing.opposes(seen.clue(Sign::Off(*hot), seen.since(Figure::SoakOver), 3.0));
    }
    for kind in [FindingKind::Scorch, FindingKind::HeaterStuck] {
        if let Some(finding) = seen.finding(kind) {
            weighing.opposes(seen.clue(Sign::Found(kind), Some(finding.from), 3.0));
        }
    }
    // What nobody saw may have been done all the same.
    if let Some((from, _)) = hidden.filter(|_| seen.found(FindingKind::Silent)) {
        weighing.opposes(seen.clue(Sign::Found(FindingKind::Silent), Some(from), 3.0));
    }
    // Cooled too far: whoever seeds then finds it cold.
    if let Some(cold) = seen.off(Figure::Lowest, Way::Low) {
        weighing.opposes(seen.clue(Sign::Off(*cold), seen.since(Figure::Lowest), 1.5));
    }
    if let Some(mass) = seen.out(Figure::Mass) {
        weighing.opposes(seen.clue(Sign::Off(*mass), Some(seen.record.batch.start), 1.5));
    }
    weighing.lacks(Missing::SeedMass, Figure::SeedShare.of(seen.record).is_none());
    weighing.into_case()
}

/// Seeded by method, cooled to the end, always with a dip before, and none today.
fn has_no_dip(seen: &Seen<'_>) -> bool {
    let batch = &seen.record.batch;
    let dips = seen.past.iter().filter(|earlier| Figure::SeedDip.of(earlier).is_some()).count();
    batch.method == Method::Seed
        && batch.measures.cooling_minutes.is_some()
        && batch.measures.seed_dip_c.is_none()
        && 2 * seen.past.len() < 3 * dips
}

/// The kettle's own record is clean, and somebody complained of the product all the same.
fn setting(seen: &Seen<'_>, day: &[Seen<'_>]) -> Option<Case> {
    let complained =
        day.iter().flat_map(|other| &other.record.events).any(|event| speaks_of_product(&event.kind));
    let is_clean = seen.odd().next().is_none() && seen.test(true).is_none();
    let passed = seen.test(false)?;
    if !complained || !is_clean {
        return None;
    }
    let mut weighing = Weighing::on(Cause::Setting, seen);
    weighing.supports(seen.clue(Sign::TestPassed, Some(passed), 3.0));
    weighing.lacks(Missing::Cabinet, true);
    weighing.into_case()
}

/// Words that people use of pieces, not of the kettle.
const PRODUCT_WORDS: [&str; 6] = ["bloom", "streak", "mould", "cabinet", "dull", "stick"];

fn speaks_of_product(event: &model::EventKind) -> bool {
    match event {
        model::EventKind::Note { text } => {
            let text = text.to_lowercase();
            PRODUCT_WORDS.iter().any(|word| text.contains(word))
        }
        model::EventKind::Charge { .. }
        | model::EventKind::Seed { .. }
        | model::EventKind::TopUp { .. }
        | model::EventKind::TemperTest(_)
        | model::EventKind::Reference { .. }
        | model::EventKind::End => false,
    }
}
