//! What a controller is not to blame for: a cut of the power, a top-up, a set-point that somebody chose.
//!
//! What began with one of these is its consequence as far as anybody can tell. A figure of the whole hold holds what came before and after
//! it, so that half of it counts on.

use model::{EventKind, FindingKind, Phase, Span, Timestamp};

use super::{Weighing, silence};
use crate::day::view::Seen;
use crate::day::{Clue, Figure, Sign, Way};

/// Findings of a hold that is too warm or too cold; one that may be either has no side.
pub(super) const HELD: [(FindingKind, Option<Way>); 6] = [
    (FindingKind::TemperLoss, Some(Way::High)),
    (FindingKind::WarmHold, Some(Way::High)),
    (FindingKind::ColdHold, Some(Way::Low)),
    (FindingKind::Undershoot, Some(Way::Low)),
    (FindingKind::Solidifying, Some(Way::Low)),
    (FindingKind::HoldDrift, None),
];

/// So long after a top-up a hold may be out for it (start value, common practice, no source).
const AFTER_TOP_UP: Span = Span::from_mins(15);

/// People tell a top-up while they make it, or a moment after.
const TOLD_LATE: Span = Span::from_mins(2);

/// From this share of the charge on a top-up is large (start value, common practice, no source).
const LARGE: f64 = 0.1;

/// A top-up shortly before the hold was out, as a sign, and when it was made.
pub(super) fn top_up(seen: &Seen<'_>) -> Option<(Sign, Timestamp)> {
    seen.record.events.iter().find_map(|event| {
        let EventKind::TopUp { mass_kg, temperature, .. } = event.kind else { return None };
        let follows = |from: Timestamp| event.at - TOLD_LATE <= from && from <= event.at + AFTER_TOP_UP;
        let is_its_doing = HELD.iter().any(|(kind, way)| {
            seen.found(*kind)
                && can_make(seen, temperature, *way)
                && seen.record.findings.iter().any(|found| found.kind == *kind && follows(found.from))
        });
        let share = mass_kg.zip(seen.record.batch.mass_kg).map(|(more, charge)| more / charge);
        let is_large = share.is_none_or(|share| LARGE <= share);
        is_its_doing.then_some((Sign::TopUp { mass_kg, temperature, is_large }, event.at))
    })
}

/// What is put in cold makes no hold too warm.
fn can_make(seen: &Seen<'_>, temperature: Option<f64>, way: Option<Way>) -> bool {
    match (temperature.zip(Figure::WorkingMean.of(seen.record)), way) {
        (Some((put_in, held)), Some(Way::High)) => held < put_in,
        (Some((put_in, held)), Some(Way::Low)) => put_in < held,
        (None, _) | (_, None) => true,
    }
}

/// Against control: what of its evidence has another reason.
pub(super) fn excuse(weighing: &mut Weighing, seen: &Seen<'_>, day: &[Seen<'_>]) {
    let working = seen.record.batch.first(Phase::Working).map(|span| span.from);
    let after = |clue: &Clue, at: Timestamp| {
        let is_found = matches!(clue.sign, Sign::Found(_));
        let is_of_the_hold =
            matches!(clue.sign, Sign::Off(_) | Sign::JacketFollowed(_)) && clue.since == working;
        if is_found && clue.since.is_some_and(|since| at - TOLD_LATE <= since) {
            1.0
        } else if is_of_the_hold && working <= Some(at) {
            0.5
        } else {
            0.0
        }
    };
    if let Some(cut) = silence::cut(seen, day) {
        let points = weighing.share(|clue| after(clue, cut.from));
        let sign = Sign::AfterGap { machines: cut.machines };
        weighing.opposes_if(seen.clue(sign, Some(cut.from), points));
    }
    if let Some((sign, at)) = top_up(seen) {
        let points = weighing.share(|clue| after(clue, at));
        weighing.opposes_if(seen.clue(sign, Some(at), points));
    }
    if let Some(asked) = seen.out(Figure::SetpointHold) {
        let is_asked_for = |clue: &Clue| {
            HELD.iter().any(|(kind, way)| clue.sign == Sign::Found(*kind) && *way == asked.way())
        };
        let points = weighing.share(|clue| if is_asked_for(clue) { 1.0 } else { 0.0 }).max(2.5);
        weighing.opposes_if(seen.clue(Sign::Off(*asked), seen.since(Figure::SetpointHold), points));
    }
}
