//! What people left undone, or did not tell: `seed-missed`, `long-hold`, `test-due`. What nobody told counts as not done.

use model::{FindingKind, Grade, Method, Phase, Span, Timestamp};

use super::{Condition, Excuse, Scene};
use crate::deeds::Mark;
use crate::recorder::Told;
use crate::true_phases::{Course, moments};

const SEEN_AFTER: Span = Span::from_mins(5);
const TEST_AFTER: Span = Span::from_mins(15);
/// A test that came within so much of the moment at which it would have been missed.
const NEARLY: Span = Span::from_mins(4);
/// What a rise to melt may be called while it is taken for a hold.
const MISTAKEN_FOR_A_HOLD: [FindingKind; 7] = [
    FindingKind::TemperLoss,
    FindingKind::WarmHold,
    FindingKind::ColdHold,
    FindingKind::HoldDrift,
    FindingKind::Hunting,
    FindingKind::LongHold,
    FindingKind::TestDue,
];

fn working(course: &Course, scene: &Scene<'_>) -> Option<(Timestamp, Timestamp)> {
    let span = course.phases.iter().find(|p| p.phase == Phase::Working)?;
    Some((span.from, span.to.unwrap_or(scene.moment(course.sure_to))))
}

/// What was left undone in `courses`, which may be those with easier or harder limits for a hold.
pub(super) fn undone(scene: &Scene<'_>, courses: &[Course], temperatures: &[Condition]) -> Vec<Condition> {
    let mut all = seed_missed(scene, courses);
    all.extend(long_hold(scene, courses));
    all.extend(test_due(scene, courses, temperatures));
    all
}

fn seed_missed(scene: &Scene<'_>, courses: &[Course]) -> Vec<Condition> {
    if scene.spec.method != Method::Seed {
        return Vec::new();
    }
    let seeds = moments(scene.record, |m| matches!(m, Mark::Seed { .. }));
    let one = |course: &Course| {
        let cooling = course.phases.iter().find(|p| p.phase == Phase::Cooling)?;
        let (from, to) = working(course, scene)?;
        let due = from + SEEN_AFTER;
        let seeded = |s: &Timestamp| cooling.from <= *s && *s <= due;
        if due >= to || cooling.from <= scene.record.start + Span::from_mins(2) || seeds.iter().any(seeded) {
            return None;
        }
        let nearly = seeds.iter().any(|s| due <= *s && *s <= due + NEARLY);
        let one = Condition::new(FindingKind::SeedMissed, (from, to), due, 0.0);
        Some(one.unless(nearly.then_some(Excuse::NearTheLimit)))
    };
    courses.iter().filter_map(one).collect()
}

/// Temper tests that were told: when they were made, and when one could know.
fn tests<'a>(scene: &Scene<'a>) -> Vec<(Timestamp, &'a Told)> {
    let tests = scene.record.told.iter().filter(|t| t.event == "temper-test");
    let mut tests: Vec<(Timestamp, &Told)> = tests.map(|t| (t.at.unwrap_or(t.sent), t)).collect();
    tests.sort_by_key(|t| t.0);
    tests
}

/// A rise to melt that lasts longer than a rise is held back, on a machine of which neither set-point nor charge was told:
/// by the contract a watch has to decide before it can know.
/// It may also be taken for a hold that goes on: cold pieces in what was left take it down first, lumps swing it.
pub(super) fn slow_rises(scene: &Scene<'_>) -> Vec<Condition> {
    const HELD_BACK: Span = Span::from_mins(20);
    const NEAR: Span = Span::from_mins(30);
    const TOLD_IN_TIME: Span = Span::from_mins(5);
    if scene.has(model::Channel::Setpoint) {
        return Vec::new();
    }
    let mut found = Vec::new();
    for pair in scene.courses.letter.windows(2) {
        let (Some(end), start) = (pair[0].end, pair[1].start) else { continue };
        let soak = pair[1].phases.iter().find(|p| p.phase == Phase::Soak).map_or(start, |p| p.from);
        let told = scene.record.told.iter().any(|t| {
            t.event == "charge" && start - NEAR <= t.at.unwrap_or(t.sent) && t.sent <= start + TOLD_IN_TIME
        });
        if end < start || told {
            continue;
        }
        // A rise is held back for so long; cold pieces that take the charge down before it rises are not.
        let quick = soak.since(start) < HELD_BACK;
        let falls = |kind: &FindingKind| matches!(kind, FindingKind::ColdHold | FindingKind::TestDue);
        for kind in MISTAKEN_FOR_A_HOLD.into_iter().filter(|kind| !quick || falls(kind)) {
            found.push(Condition::new(kind, (start, soak), start, 0.0).unless(Some(Excuse::RiseAlone)));
        }
    }
    found
}

fn long_hold(scene: &Scene<'_>, courses: &[Course]) -> Vec<Condition> {
    let longest = scene.spec.limits.max_hold;
    let tests = tests(scene);
    let mut found = Vec::new();
    for (from, to) in courses.iter().filter_map(|c| working(c, scene)) {
        let passed = |t: &&(Timestamp, &Told)| t.1.worst == Some(Grade::Good) && from <= t.0 && t.0 < to;
        let ends: Vec<Timestamp> = tests.iter().filter(passed).map(|t| t.0).chain([to]).collect();
        let mut since = from;
        for end in ends {
            let due = since + longest;
            if end > due - NEARLY {
                // Told late, or a fair test between: one may see it either way.
                let unsure = tests.iter().any(|(at, t)| {
                    since < *at
                        && *at <= due + NEARLY
                        && (t.worst == Some(Grade::Fair) || t.sent > due - NEARLY)
                });
                let near = (end <= due + NEARLY).then_some(Excuse::NearTheLimit);
                let one = Condition::new(FindingKind::LongHold, (since, end.max(due)), due, 0.0);
                found.push(one.unless(near.or(unsure.then_some(Excuse::NotTold))));
            }
            since = end;
        }
    }
    found
}

fn test_due(scene: &Scene<'_>, courses: &[Course], temperatures: &[Condition]) -> Vec<Condition> {
    let tests = tests(scene);
    let mut found: Vec<Condition> = Vec::new();
    for (from, to) in courses.iter().filter_map(|c| working(c, scene)) {
        let mut triggers = vec![(from, None)];
        let told = scene.record.told.iter().filter(|t| t.event == "top-up");
        triggers.extend(told.map(|t| {
            let soon = t.at.is_some_and(|at| t.sent < at + TEST_AFTER - NEARLY);
            (t.at.unwrap_or(t.sent), (!soon).then_some(Excuse::NotTold))
        }));
        let spoilt = |c: &&Condition| matches!(c.kind, FindingKind::TemperLoss | FindingKind::ColdHold);
        triggers.extend(temperatures.iter().filter(spoilt).map(|c| (c.due, c.excused())));
        triggers.retain(|(at, _)| from <= *at && *at < to);
        triggers.sort_by_key(|t| t.0);
        for (at, why) in triggers {
            let due = at + TEST_AFTER;
            let next = tests.iter().find(|t| t.0 >= at);
            let end = next.map_or(to, |t| t.0.min(to));
            // How long one may take for the test after a top-up, the contract leaves open; so is a test just before.
            let just_before = tests.iter().any(|t| at - NEARLY - NEARLY <= t.0 && t.0 < at);
            let late_told =
                next.is_some_and(|t| t.0 <= due + NEARLY || (t.1.sent > due && t.0 < due + NEARLY));
            let near = (end <= due + NEARLY || just_before).then_some(Excuse::NearTheLimit);
            let one = Condition::new(FindingKind::TestDue, (at, end.max(due)), due, 0.0)
                .unless(why.or(near).or(late_told.then_some(Excuse::NotTold)));
            match found.last_mut() {
                Some(open) if open.to > at && open.is_sure() => open.to = open.to.max(one.to),
                _ => found.push(one),
            }
        }
    }
    found
}
