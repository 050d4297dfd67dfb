//! Statements as people read them, for made-up batches.

use super::*;
use crate::sample::{at, batch, event, finding, overheated, test};
use expect_test::{Expect, expect};
use model::{EventKind, Grade, Phase, Priority, Standing};

fn check(batch: &Batch, findings: &[Finding], events: &[Event], usual: Option<&Measures>, expected: &Expect) {
    let zone = TimeZone::get("Europe/Lisbon").unwrap();
    let telling = Telling {
        batch,
        machine: "Alder",
        couverture: "Dark 64",
        findings,
        events: Some(events),
        usual,
        zone: &zone,
        seen_to: at("13:00"),
    };
    let told = statement(&telling);
    let verdict = told.join(" ");
    assert!(verdict.contains(crate::TEMPER_CAUTION));
    assert!(batch.standing == Standing::InTemper || !verdict.contains("is in temper"), "{verdict}");
    expected.assert_eq(&told.join("\n\n"));
}

#[test]
fn a_good_morning_without_a_test() {
    let usual = Measures { cooling_minutes: Some(70.0), ..Measures::default() };
    check(
        &batch(),
        &[],
        &[],
        Some(&usual),
        &expect![[r#"
            Alder has held Dark 64 (48 kg, lot L2207) since Mon 2 March 04:30. It was melted to 46.1 °C and soaked for 43 min. From 06:05 it cooled to the working range in 1 h 11 min, as usual here. Nobody reported seed, but a dip of 3.1 °C is consistent with it. It has been working since 07:40, 5 h 20 min so far, at 31.5 °C on average with a scatter of 0.08 °C.

            No temper test was made. Its course is consistent with a batch in temper. Temperature alone never proves temper; only a temper test does.

            Make a temper test before anything is moulded."#]],
    );
}

#[test]
fn seed_top_up_and_a_passed_test() {
    let mut batch = batch();
    batch.standing = Standing::InTemper;
    batch.reasons = vec!["the last temper test passed".to_owned()];
    batch.measures.cooling_minutes = Some(110.0);
    let usual = Measures { cooling_minutes: Some(70.0), ..Measures::default() };
    let seed = event("06:50", EventKind::Seed { mass_kg: Some(12.0), temperature: Some(20.0), lot: None });
    let top_up = event("09:10", EventKind::TopUp { mass_kg: Some(3.0), temperature: None, lot: None });
    check(
        &batch,
        &[],
        &[seed, top_up, test("08:05", Grade::Good), test("09:30", Grade::Good)],
        Some(&usual),
        &expect![[r#"
            Alder has held Dark 64 (48 kg, lot L2207) since Mon 2 March 04:30. It was melted to 46.1 °C and soaked for 43 min. From 06:05 it cooled to the working range in 1 h 50 min; 1 h 10 min is usual here. Seed went in (12 kg at 06:50), and the temperature dipped by 3.1 °C. It has been working since 07:40, 5 h 20 min so far, at 31.5 °C on average with a scatter of 0.08 °C. It was topped up at 09:10. Two temper tests: good at 08:05; good at 09:30.

            It is in temper by its last test at 09:30, and nothing that was recorded since speaks against it. Temperature alone never proves temper; only a temper test does.

            Go on, and test again at the usual interval and after every top-up."#]],
    );
}

#[test]
fn a_charge_that_melted_overnight_says_the_next_day_once() {
    let mut batch = batch();
    batch.start = at("04:30") - model::Span::from_hours(8);
    batch.phases[0].from = batch.start;
    check(
        &batch,
        &[],
        &[test("08:05", Grade::Good)],
        None,
        &expect![[r#"
        Alder has held Dark 64 (48 kg, lot L2207) since Sun 1 March 20:30. It was melted to 46.1 °C and soaked for 43 min. From Mon 2 March 06:05 it cooled to the working range in 1 h 11 min. Nobody reported seed, but a dip of 3.1 °C is consistent with it. It has been working since 07:40, 5 h 20 min so far, at 31.5 °C on average with a scatter of 0.08 °C. One temper test: good at 08:05.

        No temper test was made. Its course is consistent with a batch in temper. Temperature alone never proves temper; only a temper test does.

        Make a temper test before anything is moulded."#]],
    );
}

#[test]
fn many_tests_are_told_by_how_they_went() {
    let mut batch = batch();
    batch.standing = Standing::Doubtful;
    batch.reasons = vec!["the last temper test was only fair".to_owned()];
    let grades = [
        ("08:00", Grade::Good),
        ("09:00", Grade::Good),
        ("10:00", Grade::Poor),
        ("11:00", Grade::Fair),
        ("12:00", Grade::Fair),
    ];
    check(
        &batch,
        &[],
        &grades.map(|(at, grade)| test(at, grade)),
        None,
        &expect![[r#"
        Alder has held Dark 64 (48 kg, lot L2207) since Mon 2 March 04:30. It was melted to 46.1 °C and soaked for 43 min. From 06:05 it cooled to the working range in 1 h 11 min. Nobody reported seed, but a dip of 3.1 °C is consistent with it. It has been working since 07:40, 5 h 20 min so far, at 31.5 °C on average with a scatter of 0.08 °C. Five temper tests (two good, two fair and one poor): the first was good at 08:00, the last fair (snap) at 12:00.

        Its temper is in doubt until the next temper test: the last temper test was only fair. Temperature alone never proves temper; only a temper test does.

        Make a temper test before anything more is moulded."#]],
    );
}

#[test]
fn an_overheated_hold_that_goes_on() {
    check(
        &batch(),
        &overheated(),
        &[],
        None,
        &expect![[r#"
            Alder has held Dark 64 (48 kg, lot L2207) since Mon 2 March 04:30. It was melted to 46.1 °C and soaked for 43 min. From 06:05 it cooled to the working range in 1 h 11 min. Nobody reported seed, but a dip of 3.1 °C is consistent with it. It has been working since 07:40, 5 h 20 min so far, at 31.5 °C on average with a scatter of 0.08 °C.

            It was up to 34.3 °C warm, 1.4 °C·min above the temper-loss limit. That began at 10:05 and goes on. Before, it was a warm hold.

            After a temper loss its temper is at risk, and no temper test has shown otherwise. Temperature alone never proves temper; only a temper test does.

            Stop moulding and make a temper test."#]],
    );
}

#[test]
fn a_failed_test_after_a_good_one() {
    let mut batch = batch();
    batch.standing = Standing::OffTemper;
    batch.end = Some(at("12:50"));
    batch.phases.last_mut().unwrap().to = Some(at("12:50"));
    batch.reasons = vec!["the last temper test failed".to_owned()];
    check(
        &batch,
        &[],
        &[test("08:05", Grade::Good), test("11:40", Grade::Poor)],
        None,
        &expect![[r#"
            Alder held Dark 64 (48 kg, lot L2207) from Mon 2 March 04:30 to 12:50. It was melted to 46.1 °C and soaked for 43 min. From 06:05 it cooled to the working range in 1 h 11 min. Nobody reported seed, but a dip of 3.1 °C is consistent with it. It was worked from 07:40 for 5 h 20 min, at 31.5 °C on average with a scatter of 0.08 °C. Two temper tests: good at 08:05; poor (snap) at 11:40.

            The last temper test failed: the batch is off temper, and what was made since the last good test at 08:05 is in question. Temperature alone never proves temper; only a temper test does.

            Keep apart what was made since the last good test, and let the person in charge of quality decide."#]],
    );
}

#[test]
fn a_charge_that_was_poured_in_melted_begins_the_record() {
    let mut batch = batch();
    batch.phases.drain(..2);
    batch.phases[0].from = at("06:05");
    batch.start = at("06:05");
    let charge = |time| {
        event(time, EventKind::Charge { couverture: None, lot: None, mass_kg: Some(48.0), method: None })
    };
    let told = |charge: &Event| {
        let zone = TimeZone::get("Europe/Lisbon").unwrap();
        let events = std::slice::from_ref(charge);
        let (machine, couverture, seen_to) = ("Alder", "Dark 64", at("13:00"));
        let telling = Telling {
            batch: &batch,
            machine,
            couverture,
            findings: &[],
            events: Some(events),
            usual: None,
            zone: &zone,
            seen_to,
        };
        statement(&telling).remove(0)
    };
    let middle = "The record begins in the middle";
    assert!(!told(&charge("06:05")).contains(middle), "{}", told(&charge("06:05")));
    assert!(told(&charge("09:00")).contains(middle), "a later charge is another one");
}

#[test]
fn seen_from_the_middle_with_a_gap() {
    let mut batch = batch();
    batch.phases.drain(..2);
    batch.phases[0].from = at("06:40");
    batch.start = at("06:40");
    batch.measures.soak_max_c = None;
    batch.measures.cooling_minutes = None;
    batch.measures.seed_dip_c = None;
    batch.measures.unknown_minutes = Some(18.0);
    let silent = finding(
        FindingKind::Silent,
        Priority::High,
        "09:00",
        Some("09:18"),
        "No readings arrive.",
        "Measure by hand.",
    );
    check(
        &batch,
        &[silent],
        &[],
        None,
        &expect![[r#"
            Alder has held Dark 64 (48 kg, lot L2207) since Mon 2 March 06:40. The record begins in the middle, in cooling; what was before is not known. It was cooling until 07:16; for how long is not known. It has been working since 07:40, 5 h 20 min so far, at 31.5 °C on average with a scatter of 0.08 °C. For 18 min of settling and working nothing usable is known; that time is neither good nor bad.

            No readings arrive. That was from 09:00, for 18 min.

            No temper test was made. As far as it is known, its course is consistent with a batch in temper. For a part of the time the readings are in doubt: nothing arrived. Temperature alone never proves temper; only a temper test does.

            Make a temper test before anything is moulded."#]],
    );
}

#[test]
fn still_cooling() {
    let mut batch = batch();
    batch.phases.truncate(3);
    batch.phases[2].to = None;
    batch.phases[2].from = at("12:20");
    batch.phases[1].to = Some(at("12:20"));
    batch.measures = Measures { soak_max_c: Some(46.1), ..Measures::default() };
    let usual = Measures { cooling_minutes: Some(70.0), ..Measures::default() };
    check(
        &batch,
        &[],
        &[],
        Some(&usual),
        &expect![[r#"
        Alder has held Dark 64 (48 kg, lot L2207) since Mon 2 March 04:30. It was melted to 46.1 °C and soaked for 6 h 58 min. It has been cooling since 12:20, for 40 min of the usual 1 h 10 min.

        It is not ready yet. Temperature alone never proves temper; only a temper test does.

        Make a temper test once it has settled in the working range."#]],
    );
}

#[test]
fn no_sign_of_seed_and_many_findings() {
    let mut batch = batch();
    batch.measures.seed_dip_c = Some(0.0);
    let low = |minute: &str| {
        finding(
            FindingKind::HotRoom,
            Priority::Low,
            minute,
            Some("12:00"),
            "The room is at 24.6 °C.",
            "Cool the room.",
        )
    };
    let mut findings: Vec<Finding> = ["08:00", "08:30", "09:00", "09:30", "10:00", "10:30"].map(low).to_vec();
    findings.push(finding(
        FindingKind::SeedMissed,
        Priority::Medium,
        "07:40",
        None,
        "It reached the working range without a dip.",
        "Ask whether seed went in.",
    ));
    check(
        &batch,
        &findings,
        &[],
        None,
        &expect![[r#"
            Alder has held Dark 64 (48 kg, lot L2207) since Mon 2 March 04:30. It was melted to 46.1 °C and soaked for 43 min. From 06:05 it cooled to the working range in 1 h 11 min. It has been working since 07:40, 5 h 20 min so far, at 31.5 °C on average with a scatter of 0.08 °C.

            It reached the working range without a dip. That began at 07:40 and goes on. The room is at 24.6 °C. That was from 08:00, for 4 h. It happened five times more.

            There is no sign of seed, and no temper test was made. Without seed it is most likely out of temper, however right the temperature is. Temperature alone never proves temper; only a temper test does.

            Ask whether seed went in."#]],
    );
}

#[test]
fn a_batch_of_which_nothing_is_known_yet() {
    let mut batch = batch();
    batch.phases.truncate(1);
    batch.phases[0].to = None;
    batch.measures = Measures::default();
    assert_eq!(batch.phases[0].phase, Phase::Melting);
    check(
        &batch,
        &[],
        &[],
        None,
        &expect![[r#"
        Alder has held Dark 64 (48 kg, lot L2207) since Mon 2 March 04:30.

        It is not ready yet. Temperature alone never proves temper; only a temper test does.

        Make a temper test once it has settled in the working range."#]],
    );
}
