//! A made-up week, reviewed, as text.

use model::{BatchId, Confidence, FindingId, Grade, Measures, Method, PhaseSpan, Priority, Span, Standing};
use plant::parse_plant;

use super::*;

const PLANT: &str = "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n[mqtt]\nurl = \"embedded\"\n\
     [[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n[[machine]]\nid = \"birch\"\nstyle = \"kettle\"\n\
     couverture = \"dark-64\"\nmethod = \"seed\"\n[[machine]]\nid = \"alder\"\nstyle = \"kettle\"\n\
     couverture = \"dark-64\"\nmethod = \"seed\"\n";

/// Monday of 2026-W48, six in the morning.
fn monday() -> Timestamp {
    "2026-11-23T06:00:00Z".parse().unwrap()
}

/// A batch that began to cool so many days after that Monday at six.
fn batch(machine: &str, day: i64, cooling: f64, mean: f64) -> Batch {
    let machine: MachineId = machine.parse().unwrap();
    let from = monday() + Span::from_hours(24) * day;
    let span = |phase, hours: (i64, i64)| PhaseSpan {
        phase,
        from: from + Span::from_hours(hours.0),
        to: Some(from + Span::from_hours(hours.1)),
        confidence: Confidence::Medium,
    };
    let start = from - Span::from_hours(10);
    Batch {
        id: BatchId::new(&machine, start),
        machine,
        couverture: "dark-64".parse().unwrap(),
        lot: Some("L1".to_owned()),
        method: Method::Seed,
        mass_kg: Some(48.0),
        start,
        end: Some(from + Span::from_hours(9)),
        phases: vec![
            span(Phase::Melting, (-10, -8)),
            span(Phase::Cooling, (0, 1)),
            span(Phase::Working, (1, 9)),
        ],
        measures: Measures {
            cooling_minutes: Some(cooling),
            cooling_tau_min: Some(cooling / 2.0),
            settled_c: Some(mean),
            working_mean_c: Some(mean),
            working_sd_c: Some(0.08),
            working_minutes: Some(480.0),
            above_loss_c_min: Some(0.0),
            unknown_minutes: Some(0.0),
            ..Measures::default()
        },
        standing: Standing::InTemper,
        reasons: Vec::new(),
    }
}

fn test(batch: &Batch, hours: i64, grade: Grade) -> Event {
    let test = TemperTest { gloss: grade, contraction: Grade::Good, snap: Grade::Good, minutes: Some(5.0) };
    Event {
        machine: batch.machine.clone(),
        at: batch.first(Phase::Working).unwrap().from + Span::from_hours(hours),
        by: None,
        kind: EventKind::TemperTest(test),
        raw: String::new(),
    }
}

fn made_up() -> (Vec<Batch>, Vec<Finding>, Vec<Event>) {
    let mut batches: Vec<Batch> = (0..14)
        .map(|n| batch("alder", n - 18, 70.0 + (n % 3) as f64, 31.5 + 0.05 * (n % 3) as f64))
        .collect();
    batches.extend((0..5).map(|n| batch("alder", n, if n == 3 { 104.0 } else { 71.0 }, 31.5)));
    batches.push(batch("birch", 1, 80.0, 31.4));
    let mut events: Vec<Event> = batches.iter().map(|batch| test(batch, 0, Grade::Good)).collect();
    events
        .retain(|event| event.at < monday() + Span::from_hours(24) * 4 || event.machine.as_str() != "alder");
    // Wednesday's first test failed, and a later one passed.
    let wednesday = batches
        .iter()
        .find(|b| b.machine.as_str() == "alder" && anchor(b) == monday() + Span::from_hours(48));
    let wednesday = wednesday.unwrap();
    events.push(Event {
        at: test(wednesday, 0, Grade::Poor).at - Span::from_mins(1),
        ..test(wednesday, 0, Grade::Poor)
    });
    let thursday = &batches[14 + 3];
    let raised_at = anchor(thursday) + Span::from_mins(80);
    let findings = vec![Finding {
        id: FindingId::new("alder", "slow-cooling", raised_at),
        machine: Some(thursday.machine.clone()),
        batch: Some(thursday.id.clone()),
        kind: model::FindingKind::SlowCooling,
        priority: Priority::Medium,
        from: anchor(thursday),
        to: Some(raised_at + Span::from_mins(30)),
        raised_at,
        says: String::new(),
        evidence: Vec::new(),
        advice: String::new(),
        superseded_by: None,
    }];
    (batches, findings, events)
}

fn reviewed(batches: Vec<Batch>, findings: Vec<Finding>, events: Vec<Event>, actions: Vec<Action>) -> Review {
    let plant = parse_plant(PLANT).unwrap();
    let week = "2026-W48".parse().unwrap();
    let seen_to = monday() + Span::from_hours(24 * 8);
    review(WeekData {
        week,
        plant: &plant,
        batches,
        findings,
        events,
        rooms: Vec::new(),
        seen: Vec::new(),
        asides: Vec::new(),
        actions,
        seen_to,
    })
    .unwrap()
}

#[test]
fn a_week_is_counted_looked_at_and_charted() {
    let (batches, findings, events) = made_up();
    let review = reviewed(batches, findings, events, Vec::new());
    assert_eq!(review.all.batches, 6);
    assert_eq!(review.all.tested, Share { n: 5, of: 6 }, "Friday has no test");
    assert_eq!(review.all.first_pass, Share { n: 4, of: 5 }, "Wednesday failed its first");
    assert_eq!(review.all.recovered, 1);
    let machines: Vec<&str> = review.by_machine.iter().map(|group| group.id.as_str()).collect();
    assert_eq!(machines, ["birch", "alder"], "as in the plant file, not by their figures");
    let reasons: Vec<&Reason> = review.exceptions.iter().map(|exception| &exception.reasons[0]).collect();
    assert!(
        matches!(reasons[..], [Reason::NoTest, Reason::Found(..), Reason::Recovered { .. }]),
        "{reasons:?}"
    );
}

#[test]
fn limits_come_from_before_the_week_and_a_signal_has_its_rule() {
    let (batches, findings, events) = made_up();
    let review = reviewed(batches, findings, events, Vec::new());
    let signals: Vec<(Charted, Option<Rule>)> = review
        .charts
        .iter()
        .flat_map(|chart| chart.points.iter().map(|point| (chart.charted, point.signal)))
        .filter(|(_, signal)| signal.is_some())
        .collect();
    assert_eq!(
        signals,
        [(Charted::CoolingMinutes, Some(Rule::Beyond)), (Charted::CoolingTau, Some(Rule::Beyond))]
    );
    let capability: Vec<(usize, bool)> =
        review.holds.iter().map(|hold| (hold.capability_n, hold.capability.is_some())).collect();
    assert_eq!(capability, [(1, false), (19, true)], "one batch has no capability");
}

#[test]
fn a_week_without_batches_says_nothing_and_does_not_fall_over() {
    let review = reviewed(Vec::new(), Vec::new(), Vec::new(), Vec::new());
    assert_eq!((review.all.clone(), review.exceptions.len(), review.charts.len()), (Group::default(), 0, 0));
    assert_eq!(review.load.per_machine_day, None);
}

#[test]
fn an_action_is_held_against_the_batches_before_and_after() {
    let (mut batches, findings, events) = made_up();
    let done = monday() - Span::from_hours(1);
    for batch in batches.iter_mut().filter(|batch| done <= anchor(batch)) {
        batch.measures.cooling_minutes = Some(60.0);
    }
    // A couverture that was not made since is not compared.
    batches.push(Batch { couverture: "milk-38".parse().unwrap(), ..batch("alder", -3, 50.0, 30.0) });
    let action = Action {
        id: "2026-W47-1".to_owned(),
        week: "2026-W47".to_owned(),
        what: "flush the jacket".to_owned(),
        who: "rui".to_owned(),
        due: None,
        machine: Some("alder".parse().unwrap()),
        figure: Some("cooling_minutes".to_owned()),
        opened: monday() - Span::from_hours(100),
        done: Some(done),
    };
    let rows = reviewed(batches, findings, events, vec![action]).actions;
    let [effect] = &rows[0].effects[..] else { panic!("one couverture: {rows:?}") };
    assert_eq!((effect.before.map(|b| b.1), effect.after), (Some(14), Some((60.0, 5))));
    assert_eq!(effect.changed(), Some(true), "five below fourteen: two of C(19, 5) choices");
}

#[test]
fn prompts_are_no_findings_that_asked_for_somebody() {
    let (batches, mut findings, events) = made_up();
    let prompt =
        |kind| Finding { kind, id: FindingId::new("alder", "prompt", monday()), ..findings[0].clone() };
    findings.extend([prompt(model::FindingKind::TestDue), prompt(model::FindingKind::LongHold)]);
    let review = reviewed(batches, findings, events, Vec::new());
    assert_eq!((review.load.raised, review.kinds.len()), (1, 3));
    assert_eq!(review.load.per_machine_day, Some(1.0 / 6.0), "five days of Alder and one of Birch");
}

#[test]
fn one_that_recovered_is_counted_as_it_is_looked_at() {
    let of = |grades: &[Grade]| {
        let alder = batch("alder", 0, 70.0, 31.5);
        let tests = grades.iter().zip(0..).map(|(grade, hour)| test(&alder, hour, *grade)).collect();
        let review = reviewed(vec![alder.clone()], Vec::new(), tests, Vec::new());
        let is_listed = |reason: &Reason| matches!(reason, Reason::Recovered { .. });
        let listed =
            review.exceptions.iter().flat_map(|exception| &exception.reasons).filter(|r| is_listed(r));
        (review.all.recovered, listed.count())
    };
    assert_eq!(of(&[Grade::Poor, Grade::Fair]), (1, 1));
    assert_eq!(of(&[Grade::Poor, Grade::Good, Grade::Poor]), (0, 0));
    assert_eq!(of(&[Grade::Good]), (0, 0));
}

#[test]
fn unknown_minutes_are_a_part_of_settling_and_working() {
    let mut alder = batch("alder", 0, 70.0, 31.5);
    let working = alder.phases.pop().unwrap();
    let settled = working.from + Span::from_hours(1);
    alder.phases.push(PhaseSpan { phase: Phase::Settling, to: Some(settled), ..working });
    alder.phases.push(PhaseSpan { from: settled, ..working });
    alder.measures.working_minutes = Some(420.0);
    alder.measures.unknown_minutes = Some(48.0);
    let review = reviewed(vec![alder], Vec::new(), Vec::new(), Vec::new());
    assert_eq!(review.holds[0].unknown_percent, Some(10.0));
    assert_eq!((review.quality.held_h, review.quality.unknown_h), (8.0, 0.8));
}

#[test]
fn a_lot_is_new_in_the_week_in_which_its_first_batch_began_to_cool() {
    let mut alder = batch("alder", 0, 70.0, 31.5);
    alder.start = alder.start - Span::from_hours(2);
    let lots = reviewed(vec![alder], Vec::new(), Vec::new(), Vec::new()).lots;
    assert!(lots[0].is_new && lots[0].first == monday(), "its night began on Sunday: {lots:?}");
    assert_eq!(lots[0].began, monday() - Span::from_hours(12), "and so did the batch");
}

#[test]
fn what_was_raised_weeks_ago_and_stands_is_of_this_week_too() {
    let raised = monday() - Span::from_hours(24 * 10);
    let drift = |to: Option<Timestamp>| Finding {
        id: FindingId::new("alder", "probe-drift", raised),
        batch: Some(batch("alder", -10, 70.0, 31.5).id),
        kind: model::FindingKind::ProbeDrift,
        from: raised,
        to,
        raised_at: raised,
        ..made_up().1[0].clone()
    };
    // Midnight, six hours before the batches begin to cool.
    let midnight = |day: i64| monday() + Span::from_hours(24 * day - 6);
    let of = |to: Option<Timestamp>| {
        let week =
            [("alder", 0), ("alder", 4), ("birch", 1)].map(|(machine, day)| batch(machine, day, 70.0, 31.5));
        let tests = week.iter().map(|batch| test(batch, 0, Grade::Good)).collect();
        reviewed(week.to_vec(), vec![drift(to)], tests, Vec::new())
    };
    let stands = of(None);
    let row = &stands.kinds[0];
    assert_eq!((row.week, row.from_before, row.open, row.machines.len()), (0, 1, 1, 1));
    assert_eq!(row.lasted, Span::from_hours(24 * 7), "the part within the week");
    let reason = Reason::Stood { kind: model::FindingKind::ProbeDrift, since: raised };
    let reasons: Vec<(&str, &[Reason])> =
        stands.exceptions.iter().map(|one| (one.batch.machine.as_str(), &one.reasons[..])).collect();
    assert_eq!(reasons, [("alder", &[reason.clone()][..]), ("alder", &[reason][..])], "and not Birch's");
    assert_eq!((stands.alarms.week.raised, stands.alarms.week.standing), (0, 1));
    let mended = of(Some(midnight(2)));
    assert_eq!((mended.kinds[0].lasted, mended.kinds[0].open), (Span::from_hours(48), 0));
    assert_eq!((mended.exceptions.len(), mended.alarms.week.standing), (1, 0));
    assert_eq!(of(Some(midnight(7) + Span::from_hours(1))).kinds[0].open, 1, "it was mended after the week");
}

#[test]
fn a_machine_has_faded_from_fifteen_per_cent_on() {
    let alder = vec![batch("alder", 0, 70.0, 31.5)];
    let mut trend = reviewed(alder, Vec::new(), Vec::new(), Vec::new()).trends.remove(0);
    let mut of = |tau: f64| {
        (trend.before, trend.week) = (Some(30.0), Some((tau, 5)));
        trend.has_faded()
    };
    assert_eq!([30.5, 34.6].map(&mut of), [false, true]);
}
