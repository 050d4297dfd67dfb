//! What is weighed on made-up days.

use model::{BatchId, Channel, Event, EventKind, Grade, Phase, Span, TemperTest};

use super::*;
use crate::day::view::tests::record;
use crate::day::{Courses, DayRecord, MachineDay, UNUSUAL};
use crate::good::tests::finding;

/// What is weighed on a day of Alder after five batches like `record(_, 45, -1)`, changed by `change`.
fn weighed(today: Vec<DayRecord>, change: impl Fn(DayRecord) -> DayRecord) -> Vec<Case> {
    let past = (1..=5).map(|day| change(record(day, 45.0, -1.0))).collect();
    let days = [MachineDay::new("alder".parse().unwrap(), today, past, 10)];
    weigh(&Seen::all(&days))
}

fn points(cases: &[Case], cause: Cause) -> Option<f64> {
    cases.iter().find(|case| case.cause == cause).map(|case| case.points)
}

/// Its jacket goes up and down by `by` about its mean, once in four minutes.
fn stirred(mut record: DayRecord, by: f64) -> DayRecord {
    let (from, to) = record.span(Phase::Working).unwrap();
    let level = |channel| record.courses.values(channel, from, to)[0];
    let (chocolate, jacket) = (level(Channel::Chocolate), level(Channel::Jacket));
    let at = |step: i64| from + Span::from_mins(2 * step);
    let side = |step: i64| if step % 2 == 0 { by } else { -by };
    let held: Vec<_> = (0..30).map(|step| (at(step), Some(chocolate))).collect();
    let moved: Vec<_> = (0..30).map(|step| (at(step), Some(jacket + side(step)))).collect();
    record.courses = Courses::default().with(Channel::Chocolate, &held).with(Channel::Jacket, &moved);
    record
}

#[test]
fn a_jacket_that_stands_still_where_it_was_always_stirred_is_the_control() {
    let today = |by: f64| vec![stirred(record(8, 45.0, -1.0), by)];
    let of = |by: f64| points(&weighed(today(by), |past| stirred(past, 1.0)), Cause::Control);
    assert_eq!(of(1.0), None);
    assert_eq!(of(0.5), None, "half of its swing is still a swing");
    assert_eq!(of(0.1), Some(4.0));
}

#[test]
fn a_swing_as_ever_takes_the_weight_from_a_finding_of_hunting() {
    let swings = |mut record: DayRecord, by: f64| {
        let (from, to) = record.span(Phase::Working).unwrap();
        let at = |step: i64| from + Span::from_mins(2 * step);
        let side = |step: i64| 31.5 + if step % 2 == 0 { by } else { -by };
        let moved: Vec<_> =
            (0..((to - from).as_millis() / 120_000)).map(|s| (at(s), Some(side(s)))).collect();
        record.courses = Courses::default().with(Channel::Chocolate, &moved);
        record
    };
    let hunted = |by: f64| {
        let mut today = swings(record(8, 45.0, -1.0), by);
        today.findings.push(finding(&today.batch, FindingKind::Hunting));
        points(&weighed(vec![today], |past| swings(past, 0.4)), Cause::Control).unwrap()
    };
    assert!(hunted(0.4) < crate::day::UNUSUAL, "it swings as it always did: {}", hunted(0.4));
    assert!(crate::day::UNUSUAL <= hunted(1.2), "{}", hunted(1.2));
}

#[test]
fn what_follows_trouble_on_the_same_machine_counts_half() {
    let late = || {
        let mut late = record(9, 45.0, -1.0);
        late.batch.measures.cooling_minutes = Some(150.0);
        late
    };
    let mut first = record(8, 45.0, -1.0);
    first.findings.push(finding(&first.batch, FindingKind::HeaterStuck));
    let alone = points(&weighed(vec![late()], |past| past), Cause::People).unwrap();
    let behind = weighed(vec![first, late()], |past| past);
    assert_eq!(points(&behind, Cause::People), Some(alone / 2.0));
    let people = behind.iter().find(|case| case.cause == Cause::People).unwrap();
    assert_eq!(people.opposes[0].sign, Sign::Followed);
}

/// A day of several machines, each after five batches of its own like `record(_, 45, -1)`, changed by `change`.
fn works(today: Vec<(&str, Vec<DayRecord>)>, change: impl Fn(DayRecord) -> DayRecord) -> Vec<MachineDay> {
    let machine_day = |(machine, today): (&str, Vec<DayRecord>)| {
        let id: MachineId = machine.parse().unwrap();
        let own = |mut record: DayRecord| {
            record.batch.machine = id.clone();
            record.batch.id = BatchId::new(&id, record.batch.start);
            record
        };
        let past = (1..=5).map(|day| own(change(record(day, 45.0, -1.0)))).collect();
        MachineDay::new(id.clone(), today.into_iter().map(own).collect(), past, 10)
    };
    today.into_iter().map(machine_day).collect()
}

fn cases(days: &[MachineDay]) -> Vec<Case> {
    weigh(&Seen::all(days))
}

fn case(cases: &[Case], cause: Cause) -> &Case {
    cases.iter().find(|case| case.cause == cause).unwrap_or_else(|| panic!("{cause:?} is weighed: {cases:?}"))
}

fn told(record: &DayRecord, minute: i64, by: Option<&str>, kind: EventKind) -> Event {
    let at = record.batch.start + Span::from_mins(minute);
    Event { machine: record.batch.machine.clone(), at, by: by.map(str::to_owned), kind, raw: String::new() }
}

fn smear(grade: Grade) -> EventKind {
    let [gloss, contraction, snap] = [grade; 3];
    EventKind::TemperTest(TemperTest { gloss, contraction, snap, minutes: None })
}

/// Seeded by somebody, and tested once it was worked.
fn tested(grade: Grade, by: &str) -> DayRecord {
    let mut record = record(8, 45.0, -1.0);
    record.batch.lot = Some("L1".to_owned());
    let seed = EventKind::Seed { mass_kg: None, temperature: None, lot: None };
    record.events = vec![told(&record, 40, Some(by), seed), told(&record, 80, Some(by), smear(grade))];
    record
}

fn with(mut record: DayRecord, kind: FindingKind, minutes: (i64, i64)) -> DayRecord {
    let at = |minute: i64| record.batch.start + Span::from_mins(minute);
    let found = finding(&record.batch, kind);
    record.findings.push(model::Finding { from: at(minutes.0), to: Some(at(minutes.1)), ..found });
    record
}

#[test]
fn a_machine_that_ran_twice_is_one_machine() {
    let hot = |day| with(record(day, 45.0, -1.0), FindingKind::HotRoom, (0, 100));
    let room = |mut record: DayRecord| {
        let at = record.batch.start;
        record.courses = record.courses.with(Channel::Room, &[(at, Some(20.0))]);
        record
    };
    let today =
        vec![("alder", vec![room(hot(8)), room(hot(9))]), ("birch", vec![room(hot(8))]), ("cedar", vec![])];
    let weighed = cases(&works(today, room));
    let room = case(&weighed, Cause::Room);
    assert_eq!(room.machines.len(), 2, "{:?}", room.machines);
    let several = Sign::Several { machines: 2, of: 2, figure: None };
    assert!(room.supports.iter().any(|clue| clue.sign == several), "{:?}", room.supports);
}

#[test]
fn a_fade_that_stands_is_named_although_it_has_become_usual() {
    let stands = |mut record: DayRecord| {
        let fade = finding(&record.batch, FindingKind::CoolingFade);
        let raised = BatchId::new(&record.batch.machine, record.batch.start - Span::from_hours(24 * 9));
        record.findings.push(model::Finding { batch: Some(raised), ..fade });
        record
    };
    let weighed = cases(&works(vec![("alder", vec![stands(record(8, 45.0, -1.0))])], stands));
    let heat = case(&weighed, Cause::HeatTransfer);
    assert_eq!(heat.supports[0].sign, Sign::Stood(FindingKind::CoolingFade));
    assert!(UNUSUAL <= heat.points, "{heat:?}");
}

#[test]
fn a_lot_that_is_new_where_tests_fail_is_named() {
    let new = |grade| {
        let mut record = tested(grade, "ana");
        record.batch.lot = Some("L2".to_owned());
        record
    };
    let material = |birch: DayRecord, cedar: DayRecord| {
        let today = vec![("alder", vec![new(Grade::Poor)]), ("birch", vec![birch]), ("cedar", vec![cedar])];
        points(&cases(&works(today, |past| past)), Cause::Material)
    };
    let named = material(new(Grade::Poor), tested(Grade::Good, "ana"));
    assert!(named.is_some_and(|points| UNUSUAL <= points), "{named:?}");
    assert_eq!(material(new(Grade::Good), tested(Grade::Good, "ana")), None, "one alone is chance");
    assert_eq!(material(new(Grade::Poor), tested(Grade::Poor, "ana")), None, "none passed");
    let mut slow = new(Grade::Poor);
    slow.batch.measures.cooling_minutes = Some(150.0);
    assert_eq!(material(slow, tested(Grade::Good, "ana")), None, "its course explains it");
}

#[test]
fn what_one_person_worked_is_told_without_a_name() {
    let people = |birch: &str, cedar: &str, passed: Grade| {
        let today = vec![
            ("alder", vec![tested(Grade::Poor, "rui")]),
            ("birch", vec![tested(Grade::Poor, birch)]),
            ("cedar", vec![tested(passed, cedar)]),
        ];
        let weighed = cases(&works(today, |past| past));
        weighed.iter().find(|case| case.cause == Cause::People).map(|case| case.supports[0].sign)
    };
    assert_eq!(people("rui", "ana", Grade::Good), Some(Sign::OnePerson { failed: 2, passed: 1 }));
    assert_eq!(people("ana", "ana", Grade::Good), None, "two people failed");
    assert_eq!(people("rui", "rui", Grade::Good), None, "one of theirs passed");
    assert_eq!(people("rui", "ana", Grade::Poor), None, "none passed");
}

#[test]
fn a_hold_that_loses_its_temper_late_says_nothing_of_lot_or_person() {
    let late = |by: &str| {
        let mut record = tested(Grade::Good, by);
        record.events.push(told(&record, 120, Some(by), smear(Grade::Poor)));
        record
    };
    let today = vec![
        ("alder", vec![late("rui")]),
        ("birch", vec![late("rui")]),
        ("cedar", vec![tested(Grade::Good, "ana")]),
    ];
    assert_eq!(points(&cases(&works(today, |past| past)), Cause::People), None);
}

#[test]
fn a_top_up_before_a_cold_hold_is_the_method_and_not_the_controller() {
    let topped = |minute: i64, celsius: f64| {
        let mut record = with(record(8, 45.0, -1.0), FindingKind::ColdHold, (100, 120));
        record.batch.measures.working_mean_c = Some(31.4);
        let top_up = EventKind::TopUp { mass_kg: Some(10.0), temperature: Some(celsius), lot: None };
        record.events.push(told(&record, minute, None, top_up));
        let weighed = cases(&works(vec![("alder", vec![record])], |past| past));
        (points(&weighed, Cause::People), points(&weighed, Cause::Control))
    };
    assert_eq!(topped(95, 20.0), (Some(5.0), None));
    assert_eq!(topped(80, 20.0), (None, Some(3.5)), "twenty minutes before");
    assert_eq!(topped(95, 45.0), (None, Some(3.5)), "what is hot makes no hold cold");
}

#[test]
fn a_cut_that_several_machines_share_comes_before_control() {
    let cut = |cold_from: i64| {
        let silent = with(record(8, 45.0, -1.0), FindingKind::Silent, (95, 110));
        with(silent, FindingKind::ColdHold, (cold_from, 130))
    };
    let weighed = |birch: DayRecord, cold_from: i64| {
        let today = vec![("alder", vec![cut(cold_from)]), ("birch", vec![birch])];
        points(&cases(&works(today, |past| past)), Cause::Control)
    };
    assert_eq!(weighed(cut(110), 110), None, "it began behind the cut");
    assert_eq!(weighed(cut(110), 80), Some(3.5), "it was cold before");
    assert_eq!(weighed(record(8, 45.0, -1.0), 110), Some(3.5), "one machine alone is no cut");
}

#[test]
fn a_dip_that_nobody_could_hear_is_not_missed() {
    let seeded = |mut record: DayRecord, dip: Option<f64>| {
        record.batch.measures.seed_dip_c = dip;
        let from = record.batch.start;
        let way_down: Vec<_> =
            (0..135).map(|m| (from + Span::from_mins(m), Some(45.0 - m as f64 / 10.0))).collect();
        record.courses = record.courses.with(Channel::Chocolate, &way_down);
        record
    };
    let named = |today: DayRecord| {
        let past = |record| seeded(record, Some(3.0));
        points(&cases(&works(vec![("alder", vec![seeded(today, None)])], past)), Cause::People)
    };
    let named_with_hole = || {
        let mut record = seeded(record(8, 45.0, -1.0), None);
        let heard: Vec<_> = (record.courses.of(Channel::Chocolate).iter())
            .filter(|(at, _)| !(30..60).contains(&((*at - record.batch.start).as_mins_f64() as i64)))
            .map(|(at, value)| (*at, Some(*value)))
            .collect();
        record.courses = record.courses.with(Channel::Chocolate, &heard);
        let past = |record| seeded(record, Some(3.0));
        points(&cases(&works(vec![("alder", vec![record])], past)), Cause::People)
    };
    assert_eq!(named(record(8, 45.0, -1.0)), Some(3.0));
    assert_eq!(named(with(record(8, 45.0, -1.0), FindingKind::Silent, (30, 60))), None);
    assert_eq!(named_with_hole(), None, "a silence of the whole works has no finding in a recording");
}

#[test]
fn what_may_spoil_a_charge_names_a_cause_where_its_tests_fail() {
    let much_seed = |grade: Grade, share: f64| {
        let mut record = tested(grade, "ana");
        record.batch.mass_kg = Some(40.0);
        record.events[0].kind = EventKind::Seed { mass_kg: Some(40.0 * share), temperature: None, lot: None };
        record
    };
    let past = |mut before: DayRecord| {
        before.batch.mass_kg = Some(40.0);
        let seed = EventKind::Seed { mass_kg: Some(9.6), temperature: None, lot: None };
        before.events = vec![told(&before, 40, None, seed)];
        before
    };
    let people =
        |today| points(&cases(&works(vec![("alder", vec![today])], past)), Cause::People).unwrap_or(0.0);
    assert!(UNUSUAL <= people(much_seed(Grade::Poor, 0.46)));
    assert!(people(much_seed(Grade::Good, 0.46)) < UNUSUAL, "it passed");
    let soaked = |grade: Grade, celsius: f64| {
        let mut record = tested(grade, "ana");
        record.batch.measures.soak_max_c = Some(celsius);
        let past = |mut before: DayRecord| {
            before.batch.measures.soak_max_c = Some(47.0);
            before
        };
        points(&cases(&works(vec![("alder", vec![record])], past)), Cause::Recipe).unwrap_or(0.0)
    };
    assert!(UNUSUAL <= soaked(Grade::Poor, 41.0), "crystals were left");
    assert_eq!((soaked(Grade::Good, 41.0), soaked(Grade::Poor, 46.5)), (0.0, 0.0));
}
