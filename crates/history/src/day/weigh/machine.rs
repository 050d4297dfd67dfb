//! Causes of one machine: heat transfer, control, stirring, and how full it is.

use model::{Channel, FindingKind};

use super::{Weighing, excused};
use crate::day::view::{Seen, machines};
use crate::day::{Case, Cause, Clue, Deviation, Figure, Missing, Sign, Way};

pub(super) fn weigh(seen: &Seen<'_>, day: &[Seen<'_>]) -> Vec<Case> {
    [heat_transfer(seen, day), fill(seen), control(seen, day), stirring(seen)].into_iter().flatten().collect()
}

/// The other machines that cooled.
fn others<'d, 's>(seen: &Seen<'d>, day: &'s [Seen<'d>]) -> Vec<&'s Seen<'d>> {
    day.iter().filter(|other| other.machine != seen.machine && other.cooled()).collect()
}

fn everybody(sign: Sign, points: f64) -> Clue {
    Clue { machine: None, batch: None, since: None, sign, points }
}

fn heat_transfer(seen: &Seen<'_>, day: &[Seen<'_>]) -> Option<Case> {
    if !seen.is_slow() && !seen.found(FindingKind::CoolingFade) {
        return None;
    }
    let mut weighing = Weighing::on(Cause::HeatTransfer, seen);
    weighing.finding(seen, FindingKind::SlowCooling, 3.0);
    weighing.finding(seen, FindingKind::CoolingFade, 3.0);
    weighing.figure(seen, Figure::CoolingMinutes, Way::High, 2.0);
    weighing.figure(seen, Figure::CoolingTau, Way::High, 3.0);
    weighing.figure(seen, Figure::MeltMinutes, Way::High, 3.0);
    let others = others(seen, day);
    let slow = machines(others.iter().filter(|other| other.is_slow()).copied());
    let warm = |other: &&&Seen<'_>| other.off(Figure::JacketCooling, Way::High).is_some();
    let warm_too = machines(others.iter().filter(warm).copied());
    let with_a_jacket = |other: &&&Seen<'_>| other.deviation(Figure::JacketCooling).is_some();
    let jacketed = machines(others.iter().filter(with_a_jacket).copied());
    let others = machines(others);
    match seen.deviation(Figure::JacketCooling).map(Deviation::way) {
        Some(Some(Way::High)) if 2 <= warm_too => {
            let (machines, of) = (warm_too + 1, jacketed + 1);
            let sign = Sign::Several { machines, of, figure: Some(Figure::JacketCooling) };
            weighing.opposes(everybody(sign, 4.0));
        }
        // Its own valve: everybody else's water is cold.
        Some(Some(Way::High)) => {
            weighing.figure(seen, Figure::JacketCooling, Way::High, 1.5);
        }
        Some(Some(Way::Low) | None) => weighing.as_usual(seen, Figure::JacketCooling, 1.5),
        None => weighing.lacks(Missing::Jacket, true),
    }
    if slow == 0 && 0 < others {
        weighing.supports(everybody(Sign::Alone { of: others + 1 }, 1.0));
    } else if others < 2 * slow {
        let sign = Sign::Several { machines: slow + 1, of: others + 1, figure: None };
        weighing.opposes(everybody(sign, 2.0));
    }
    match seen.deviation(Figure::Mass) {
        Some(mass) if mass.way() == Some(Way::High) => {
            weighing.opposes(seen.clue(Sign::Off(*mass), Some(seen.record.batch.start), 3.5));
        }
        Some(_) => weighing.as_usual(seen, Figure::Mass, 0.8),
        None => {
            weighing.lacks(Missing::Mass, true);
            if let Some((motor, _)) = seen.leaning(Figure::Motor, Way::High) {
                weighing.opposes(seen.clue(Sign::Off(*motor), seen.since(Figure::Motor), 2.0));
            }
        }
    }
    if let Some(hot) = seen.off(Figure::SoakOver, Way::High) {
        weighing.opposes(seen.clue(Sign::Off(*hot), seen.since(Figure::SoakOver), 2.0));
    }
    // What is heated cools slowly.
    if let Some(heated) = seen.finding(FindingKind::HeaterStuck) {
        weighing.opposes(seen.clue(Sign::Found(FindingKind::HeaterStuck), Some(heated.from), 3.0));
    }
    // Longer than the plant file says, and no longer than ever here.
    if seen.found(FindingKind::SlowCooling) {
        weighing.unless_usual(seen, Figure::CoolingMinutes, 3.0);
    }
    // Cooled as fast as ever, against a jacket as cold as ever: only the last stretch took long, and that is the seed's.
    // Beside a fade the usual has faded too.
    if seen.off(Figure::JacketCooling, Way::High).is_none() && !seen.found(FindingKind::CoolingFade) {
        weighing.unless_usual(seen, Figure::CoolingTau, 3.0);
    }
    if seen.found(FindingKind::StirrerStopped) {
        weighing.opposes(seen.clue(Sign::Found(FindingKind::StirrerStopped), None, 1.5));
    }
    weighing.into_case()
}

fn fill(seen: &Seen<'_>) -> Option<Case> {
    let mut weighing = Weighing::on(Cause::Fill, seen);
    let told = seen.deviation(Figure::Mass).map(Deviation::way);
    match told {
        Some(Some(way)) => {
            weighing.figure(seen, Figure::Mass, way, 4.0);
            weighing.figure(seen, Figure::CoolingTau, way, 1.5);
            weighing.figure(seen, Figure::CoolingMinutes, way, 1.0);
            weighing.as_usual(seen, Figure::JacketCooling, 0.5);
        }
        Some(None) => return None,
        None => {
            weighing.lacks(Missing::Mass, true);
            let tau = seen.deviation(Figure::CoolingTau)?;
            let tau_way = tau.way()?;
            // Twice the mass cools half as fast and dips half as deep.
            let dip = seen.deviation(Figure::SeedDip);
            let factor = dip.and_then(|dip| Some(tau.ratio()? * dip.ratio()?));
            let dips_less = factor.is_some_and(|factor| (0.75..=1.3).contains(&factor));
            // A stirrer that turns more chocolate takes more current from the first hour on, and more chocolate melts longer.
            weighing.figure(seen, Figure::CoolingTau, tau_way, 2.5);
            weighing.figure(seen, Figure::Motor, tau_way, 2.5);
            weighing.figure(seen, Figure::MeltMinutes, tau_way, 2.0);
            if let Some(dip) = dip.filter(|dip| dips_less && dip.way().is_some()) {
                weighing.supports(seen.clue(Sign::Off(*dip), seen.since(Figure::SeedDip), 1.5));
            }
            weighing.as_usual(seen, Figure::JacketCooling, 0.5);
        }
    }
    weighing.into_case()
}

/// A jacket that usually swings by so much, °C, and now by less than this share of it, is neither heated nor cooled.
const STIRS: f64 = 0.5;
const STANDS_STILL: f64 = 0.35;

/// What was asked and what came differ, or swing.
fn control(seen: &Seen<'_>, day: &[Seen<'_>]) -> Option<Case> {
    let mut weighing = Weighing::on(Cause::Control, seen);
    for (kind, points) in [
        (FindingKind::Hunting, 5.0),
        (FindingKind::HeaterStuck, 5.0),
        (FindingKind::Scorch, 4.0),
        (FindingKind::Undershoot, 3.5),
        (FindingKind::TemperLoss, 3.0),
        (FindingKind::WarmHold, 3.5),
        (FindingKind::ColdHold, 3.5),
        (FindingKind::Solidifying, 2.5),
        (FindingKind::HoldDrift, 2.5),
    ] {
        weighing.finding(seen, kind, points);
    }
    for (figure, way, points) in [
        (Figure::Swing, Way::High, 4.0),
        (Figure::JacketSwing, Way::High, 3.0),
        (Figure::Under, Way::High, 3.0),
        (Figure::OffSetpoint, Way::High, 2.5),
        (Figure::OffSetpoint, Way::Low, 2.5),
        (Figure::Drift, Way::High, 1.5),
        (Figure::Drift, Way::Low, 1.5),
        (Figure::Lowest, Way::Low, 3.5),
        (Figure::SoakOver, Way::High, 4.0),
        (Figure::SoakMax, Way::High, 1.0),
        (Figure::FellBefore, Way::High, 4.0),
        (Figure::WorkingSd, Way::High, 3.0),
        (Figure::AboveLoss, Way::High, 1.0),
    ] {
        weighing.figure(seen, figure, way, points);
    }
    if let Some((off, beside)) = seen.out(Figure::OffSetpoint).zip(seen.deviation(Figure::JacketHold)) {
        let (moved, stayed) = (off.value - off.usual, beside.value - beside.usual);
        if stayed * moved < 0.0 && 0.5 * moved.abs() < stayed.abs() {
            weighing.opposes(seen.clue(Sign::JacketStayed(*off), seen.since(Figure::OffSetpoint), 3.0));
        } else if stayed.abs() < 0.4 * (off.value - off.usual).abs() {
            weighing.supports(seen.clue(Sign::JacketFollowed(*off), seen.since(Figure::OffSetpoint), 1.5));
        }
    }
    // A heater or a valve that works stirs the jacket all day.
    if let Some(swing) = seen.deviation(Figure::JacketSwing)
        && STIRS <= swing.usual
        && swing.value < STANDS_STILL * swing.usual
    {
        weighing.supports(seen.clue(Sign::Off(*swing), seen.since(Figure::JacketSwing), 4.0));
    }
    excused::excuse(&mut weighing, seen, day);
    if seen.found(FindingKind::TemperLoss) {
        weighing.unless_usual(seen, Figure::AboveLoss, 2.0);
    }
    // It swings as it always does: what was new is that it was told.
    if seen.found(FindingKind::Hunting)
        && seen.off(Figure::Swing, Way::High).is_none()
        && let Some(swing) = seen.deviation(Figure::Swing)
    {
        weighing.opposes(seen.clue(Sign::AsUsual(*swing), None, 3.0));
    }
    for kind in [
        FindingKind::StirrerStopped,
        FindingKind::ProbeFault,
        FindingKind::ProbeStuck,
        FindingKind::Spikes,
        FindingKind::ClockOff,
    ] {
        if let Some(finding) = seen.finding(kind) {
            weighing.opposes(seen.clue(Sign::Found(kind), Some(finding.from), 2.0));
        }
    }
    // What cools badly lands late and warm, whatever the controller does.
    if let Some(slow) = seen.finding(FindingKind::SlowCooling)
        && let Some(longer) = seen.off(Figure::CoolingMinutes, Way::High)
    {
        weighing.opposes(seen.clue(Sign::Off(*longer), Some(slow.from), 2.0));
    }
    // No controller moves a charge that fast.
    if let Some(jump) = seen.off(Figure::Jump, Way::High) {
        weighing.opposes(seen.clue(Sign::Off(*jump), seen.since(Figure::Jump), 6.0));
    }
    // Landing too warm because seed was missing is no fault of the controller.
    if seen.off(Figure::SeedDip, Way::Low).is_some() || seen.found(FindingKind::SeedMissed) {
        weighing.unless_usual(seen, Figure::OffSetpoint, 1.5);
    }
    weighing.lacks(Missing::Reference, !seen.record.events.iter().any(is_reference));
    weighing.into_case()
}

fn is_reference(event: &model::Event) -> bool {
    matches!(event.kind, model::EventKind::Reference { .. })
}

fn stirring(seen: &Seen<'_>) -> Option<Case> {
    let mut weighing = Weighing::on(Cause::Stirring, seen);
    weighing.finding(seen, FindingKind::StirrerStopped, 5.0);
    weighing.figure(seen, Figure::Unstirred, Way::High, 3.5);
    if weighing.supports.is_empty() {
        return None;
    }
    weighing.figure(seen, Figure::Motor, Way::Low, 1.0);
    weighing.lacks(Missing::Motor, seen.record.courses.of(Channel::Motor).is_empty());
    weighing.into_case()
}
