//! Real temperature recordings that are no kettles break nothing and cry no wolf.
//!
//! The series are excerpts of the Numenta Anomaly Benchmark (`recordings/README.md`), turned from °F into °C and watched as if they were
//! the chocolate of a kettle with dark couverture. None of them reaches its soak (43 °C), so that no batch is the truth.
//! Each is played twice: with its own times, a value every five minutes or every hour, and at a kettle's pace, a value every five
//! seconds. Only at that pace are phases looked for and can a process finding be raised; a white couverture, whose soak is reached, shows
//! that they are.

use std::fs;

use expect_test::{Expect, expect};
use model::{Span, Timestamp};
use serde_json::Value;
use wire::Message;
use wire::recording::line;

use crate::program::{output, root};

/// How often a kettle's probe reports at the slowest tick.
const KETTLE_PACE: Span = Span::from_secs(5);
/// Played at a kettle's pace the times are made up; this is the first.
const MADE_UP_START: &str = "2026-03-02T00:00:00Z";
/// A history that begins colder than this begins idle (contract, section 5); one that begins warmer may be in the middle of anything.
const IDLE_BELOW_C: f64 = 26.0;

/// Rows of a series: when, and °C.
type Rows = Vec<(Timestamp, f64)>;

fn rows(name: &str) -> Rows {
    let text = fs::read_to_string(root().join("tests/recordings").join(name)).unwrap();
    text.lines().skip(1).map(row).collect()
}

fn row(text: &str) -> (Timestamp, f64) {
    let (at, fahrenheit) = text.split_once(',').unwrap();
    let at = format!("{}Z", at.replace(' ', "T")).parse().unwrap();
    (at, (fahrenheit.parse::<f64>().unwrap() - 32.0) / 1.8)
}

/// A bare number that was measured when it arrived.
fn bare((at, celsius): (Timestamp, f64)) -> Message {
    message("works/alder/chocolate", format!("{celsius:.4}"), at)
}

fn message(topic: &str, payload: String, arrived: Timestamp) -> Message {
    Message { topic: topic.to_owned(), payload: payload.into_bytes(), arrived, retained: false }
}

/// The values from the first cold one on, each five seconds after the one before.
fn at_a_kettles_pace(rows: &Rows) -> Vec<Message> {
    let start: Timestamp = MADE_UP_START.parse().unwrap();
    let cold = rows.iter().skip_while(|(_, celsius)| *celsius >= IDLE_BELOW_C);
    cold.zip(0_i64..).map(|(&(_, celsius), n)| bare((start + KETTLE_PACE * n, celsius))).collect()
}

/// The program's analysis of a recorded stream of these messages.
fn analysed(messages: &[Message], family: &str) -> Value {
    let folder = tempfile::tempdir().unwrap();
    let (stream, plant) = (folder.path().join("stream.ndjson"), folder.path().join("plant.toml"));
    let lines: String = messages.iter().map(|message| line(message) + "\n").collect();
    fs::write(&stream, lines).unwrap();
    let text = format!(
        "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n\
         [[couverture]]\nid = \"some\"\nfamily = \"{family}\"\n\
         [[machine]]\nid = \"alder\"\nstyle = \"kettle\"\ncouverture = \"some\"\n"
    );
    fs::write(&plant, text).unwrap();
    let args = ["analyse", stream.to_str().unwrap(), "--plant", plant.to_str().unwrap(), "--format", "json"];
    serde_json::from_str(&output(&args)).unwrap()
}

/// What came in, how many batches there are, and each finding with its moments.
fn summary(document: &Value) -> String {
    let (intake, machine) = (&document["intake"], &document["machines"][0]);
    let mut lines = vec![
        format!(
            "{} messages, {} readings, {} twice, {} rejected",
            intake["messages"], intake["readings"], intake["duplicates"], intake["rejected"]
        ),
        format!(
            "known {}, {} batches",
            machine["coverage"]["chocolate"],
            machine["batches"].as_array().unwrap().len()
        ),
    ];
    let findings = machine["findings"].as_array().unwrap();
    let word = |finding: &Value, key: &str| finding[key].as_str().unwrap_or("-").to_owned();
    lines.extend(findings.iter().map(|finding| {
        let [kind, from, to, raised] = ["kind", "from", "to", "raised_at"].map(|key| word(finding, key));
        format!("{kind} from {from} to {to}, raised {raised}")
    }));
    lines.push(format!("{} findings of the plant", document["plant_findings"].as_array().unwrap().len()));
    lines.join("\n")
}

#[expect(clippy::needless_pass_by_value, reason = "an expectation reads best as the last argument")]
fn check(messages: &[Message], expected: Expect) {
    expected.assert_eq(&summary(&analysed(messages, "dark")));
}

fn as_recorded(name: &str, expected: Expect) {
    let messages: Vec<Message> = rows(name).into_iter().map(bare).collect();
    check(&messages, expected);
}

/// Once the machine stands between 30.5 and 32.5 °C for a quarter of an hour. In a history that begins in the middle of anything this can
/// only be taken for a hold, and what follows is told of it; at a kettle's pace it is too short for one.
/// Eight readings from 16:55 to 17:30 are below −10 °C (the second −12.4 °C), outside what a tempering machine can have.
#[test]
fn a_machine_that_is_stopped() {
    as_recorded(
        "machine-stop.csv",
        expect![[r#"
            1585 messages, 1585 readings, 0 twice, 0 rejected
            known 1.0, 1 batches
            test-due from 2013-12-15T20:40:00Z to 2013-12-15T23:05:00Z, raised 2013-12-15T20:55:00Z
            cold-hold from 2013-12-15T20:55:00Z to 2013-12-15T22:30:05Z, raised 2013-12-15T21:00:05Z
            solidifying from 2013-12-15T22:25:00Z to 2013-12-15T23:05:00Z, raised 2013-12-15T22:30:05Z
            long-hold from 2013-12-15T20:40:00Z to 2013-12-15T23:05:00Z, raised 2013-12-15T22:40:00Z
            probe-fault from 2013-12-16T16:55:00Z to 2013-12-16T17:35:00Z, raised 2013-12-16T17:00:00Z
            0 findings of the plant"#]],
    );
    check(
        &at_a_kettles_pace(&rows("machine-stop.csv")),
        expect![[r#"
        744 messages, 744 readings, 0 twice, 0 rejected
        known 1.0, 0 batches
        probe-fault from 2026-03-02T00:18:50Z to 2026-03-02T00:19:30Z, raised 2026-03-02T00:19:00Z
        0 findings of the plant"#]],
    );
}

/// It, too, stands in the working range for a while before it goes on falling.
#[test]
fn a_machine_that_fails() {
    as_recorded(
        "machine-failure.csv",
        expect![[r#"
            1153 messages, 1153 readings, 0 twice, 0 rejected
            known 1.0, 1 batches
            test-due from 2014-02-07T06:30:00Z to 2014-02-07T08:35:00Z, raised 2014-02-07T06:45:00Z
            cold-hold from 2014-02-07T07:10:00Z to 2014-02-07T07:50:05Z, raised 2014-02-07T07:15:05Z
            solidifying from 2014-02-07T07:45:00Z to 2014-02-07T08:35:00Z, raised 2014-02-07T07:50:05Z
            long-hold from 2014-02-07T06:30:00Z to 2014-02-07T08:35:00Z, raised 2014-02-07T08:30:00Z
            0 findings of the plant"#]],
    );
    check(
        &at_a_kettles_pace(&rows("machine-failure.csv")),
        expect![[r#"
        1062 messages, 1062 readings, 0 twice, 0 rejected
        known 1.0, 0 batches
        0 findings of the plant"#]],
    );
}

#[test]
fn office_air_with_gaps() {
    as_recorded(
        "ambient-gaps.csv",
        expect![[r#"
        2199 messages, 2199 readings, 0 twice, 0 rejected
        known 0.8454, 0 batches
        0 findings of the plant"#]],
    );
    check(
        &at_a_kettles_pace(&rows("ambient-gaps.csv")),
        expect![[r#"
        2199 messages, 2199 readings, 0 twice, 0 rejected
        known 1.0, 0 batches
        0 findings of the plant"#]],
    );
}

/// The recorder's clock was put back: twelve moments come twice.
#[test]
fn a_recording_whose_arrivals_step_back() {
    as_recorded(
        "machine-step-back.csv",
        expect![[r#"
        1165 messages, 1153 readings, 12 twice, 0 rejected
        known 1.0, 0 batches
        0 findings of the plant"#]],
    );
    check(
        &at_a_kettles_pace(&rows("machine-step-back.csv")),
        expect![[r#"
        1030 messages, 1030 readings, 0 twice, 0 rejected
        known 1.0, 0 batches
        0 findings of the plant"#]],
    );
}

/// The sender's clock was put back and stays an hour behind the arrivals: `clock-off` would be true from then on, and nothing else.
#[test]
fn a_sender_whose_clock_steps_back() {
    let rows = rows("machine-step-back.csv");
    let every = Span::from_mins(5);
    let first = rows[0].0;
    let senml = |(&(at, celsius), n): (&(Timestamp, f64), i64)| {
        let seconds = at.as_millis() / 1000;
        let pack = format!(r#"[{{"bn":"alder/","n":"chocolate","u":"Cel","t":{seconds},"v":{celsius:.4}}}]"#);
        message("works/alder", pack, first + every * n)
    };
    let messages: Vec<Message> = rows.iter().zip(0..).map(senml).collect();
    let document = analysed(&messages, "dark");
    assert_eq!(document["intake"]["readings"], rows.len() - 12);
    assert_eq!(document["intake"]["duplicates"], 12);
    assert_eq!(document["intake"]["rejected"], 0);
    let machine = &document["machines"][0];
    assert_eq!(machine["batches"], Value::Array(Vec::new()));
    let kinds: Vec<&str> =
        machine["findings"].as_array().unwrap().iter().map(|f| f["kind"].as_str().unwrap()).collect();
    assert!(kinds.iter().all(|kind| *kind == "clock-off"), "{kinds:?}");
}

/// The same values do reach the soak of a white couverture (38 °C): silence above is a judgement and not deafness.
#[test]
fn a_soak_that_is_reached_is_seen() {
    let messages = at_a_kettles_pace(&rows("machine-stop.csv"));
    let document = analysed(&messages, "white");
    let machine = &document["machines"][0];
    assert!(!machine["batches"].as_array().unwrap().is_empty());
    let kinds: Vec<&str> =
        machine["findings"].as_array().unwrap().iter().map(|f| f["kind"].as_str().unwrap()).collect();
    assert!(kinds.contains(&"temper-loss"), "{kinds:?}");
}

/// A second rise used to be dated to the foot of the first, which closed the batch between them at its own start.
#[test]
fn no_batch_ends_before_it_has_begun() {
    let from_its_first_row: Vec<Message> = {
        let mut at: Timestamp = MADE_UP_START.parse().unwrap();
        let paced = rows("machine-stop.csv").into_iter().map(|(_, celsius)| {
            at += KETTLE_PACE;
            bare((at, celsius))
        });
        paced.collect()
    };
    let document = analysed(&from_its_first_row, "white");
    let batches = document["machines"][0]["batches"].as_array().unwrap();
    let ids: std::collections::BTreeSet<&str> =
        batches.iter().map(|batch| batch["id"].as_str().unwrap()).collect();
    assert_eq!(ids.len(), batches.len(), "each batch once");
    for batch in batches {
        assert_ne!(batch["start"], batch["end"], "{}", batch["id"]);
        assert!(!batch["phases"].as_array().unwrap().is_empty(), "{}", batch["id"]);
    }
}
