//! Is the data believable: instrument, clock, gap.

use model::{Channel, EventKind, FindingKind, Span};

use super::{Weighing, silence};
use crate::day::view::{Seen, machines};
use crate::day::{Case, Cause, Figure, Missing, Sign, Way};

/// Two thermometers in one place that differ by more than this are not both right (start value, common practice, no source).
const AGREE_C: f64 = 0.3;

/// A hand thermometer's value is held against the probe of these minutes.
const BESIDE: Span = Span::from_mins(4);

pub(super) fn weigh(seen: &Seen<'_>, day: &[Seen<'_>]) -> Vec<Case> {
    [instrument(seen), clock(seen), gap(seen, day)].into_iter().flatten().collect()
}

fn instrument(seen: &Seen<'_>) -> Option<Case> {
    let mut weighing = Weighing::on(Cause::Instrument, seen);
    for (kind, points) in [
        (FindingKind::ProbeFault, 5.5),
        (FindingKind::ProbeStuck, 5.5),
        (FindingKind::Spikes, 4.5),
        (FindingKind::ProbeDrift, 4.5),
    ] {
        weighing.finding(seen, kind, points);
    }
    weighing.figure(seen, Figure::Jump, Way::High, 5.0);
    weighing.figure(seen, Figure::Still, Way::High, 4.0);
    stays_with_the_jacket(seen, &mut weighing);
    let has_hand = by_hand(seen, &mut weighing);
    if weighing.supports.is_empty() {
        return None;
    }
    weighing.lacks(Missing::Reference, !has_hand);
    weighing.into_case()
}

/// A probe that reads wrong moves away from everything at once: from the set-point, from the jacket, and in the soak.
fn stays_with_the_jacket(seen: &Seen<'_>, weighing: &mut Weighing) {
    let Some(off) = seen.out(Figure::OffSetpoint).copied() else { return };
    let moved = off.value - off.usual;
    if let Some(beside) = seen.deviation(Figure::JacketHold) {
        let apart = beside.value - beside.usual;
        if apart * moved < 0.0 && 0.5 * moved.abs() < apart.abs() {
            weighing.supports(seen.clue(Sign::JacketStayed(off), seen.since(Figure::OffSetpoint), 4.0));
        } else if apart.abs() < 0.4 * moved.abs() && !weighing.supports.is_empty() {
            weighing.opposes(seen.clue(Sign::JacketFollowed(off), seen.since(Figure::OffSetpoint), 1.5));
        }
    }
    let Some(way) = off.way() else { return };
    if weighing.supports.is_empty() {
        return;
    }
    weighing.figure(seen, Figure::SoakMax, way, 1.5);
    if way == Way::High
        && seen.test(true).is_none()
        && let Some(at) = seen.test(false)
    {
        weighing.supports(seen.clue(Sign::TestPassed, Some(at), 1.5));
    }
}

/// The hand thermometer beside the probe.
fn by_hand(seen: &Seen<'_>, weighing: &mut Weighing) -> bool {
    let mut has_one = false;
    for event in &seen.record.events {
        let EventKind::Reference { temperature } = event.kind else { continue };
        let probe = seen.record.courses.values(Channel::Chocolate, event.at - BESIDE, event.at + BESIDE);
        let Some(probe) = maths::statistics::median(&probe) else { continue };
        has_one = true;
        let apart = temperature - probe;
        if AGREE_C < apart.abs() {
            weighing.supports(seen.clue(Sign::HandDiffers(apart), Some(event.at), 4.0));
        } else if !weighing.supports.is_empty() {
            weighing.opposes(seen.clue(Sign::HandAgrees(apart), Some(event.at), 3.0));
        }
    }
    has_one
}

fn clock(seen: &Seen<'_>) -> Option<Case> {
    let mut weighing = Weighing::on(Cause::Clock, seen);
    weighing.finding(seen, FindingKind::ClockOff, 6.0);
    weighing.into_case()
}

/// Nothing came for a while: power or network.
fn gap(seen: &Seen<'_>, day: &[Seen<'_>]) -> Option<Case> {
    let mut weighing = Weighing::on(Cause::Gap, seen);
    let silent = weighing.finding(seen, FindingKind::Silent, 4.0);
    let cut = silence::cut(seen, day);
    // Where all fell silent there is no finding, and what is unknown stands for it.
    let unknown_points = if cut.is_some() && !silent { 4.0 } else { 1.5 };
    let unknown = weighing.figure(seen, Figure::Unknown, Way::High, unknown_points);
    if !silent && !unknown && cut.is_none() {
        return None;
    }
    if silent && !unknown && seen.usual(Figure::Unknown).is_some() {
        weighing.supports(seen.clue(Sign::CameLater, None, 0.5));
    }
    if let Some(cut) = cut {
        weighing.several(cut.machines, machines(day), None, 3.0);
    }
    for kind in [FindingKind::ProbeFault, FindingKind::ProbeStuck, FindingKind::ClockOff] {
        if let Some(finding) = seen.finding(kind) {
            weighing.opposes(seen.clue(Sign::Found(kind), Some(finding.from), 2.0));
        }
    }
    weighing.into_case()
}
