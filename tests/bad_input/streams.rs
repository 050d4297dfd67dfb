//! A stream is read as far as it can be: broken lines and payloads are counted and told, and the rest counts.

use std::fs;
use std::process::{Child, Stdio};

use expect_test::expect;
use wire::recording::line;

use super::payloads::BAD_PAYLOADS;
use super::{PLANT, check_args, folder_with, messages, told_in};
use crate::program::{program, text};

const GOOD: (&str, &str) = ("works/alder/chocolate", "31.24");

/// A recorded stream of these payloads.
fn stream(payloads: &[(&str, &str)]) -> String {
    messages(payloads).iter().map(|message| line(message) + "\n").collect()
}

/// Analyses a stream: exit code, intake, and what was said on standard error.
fn analysed(bytes: impl AsRef<[u8]>) -> (i32, serde_json::Value, String) {
    let folder = folder_with(PLANT);
    fs::write(folder.path().join("stream"), bytes).unwrap();
    let args = ["analyse", "stream", "--plant", "plant.toml", "--format", "json"];
    let output = program().current_dir(folder.path()).args(args).output().unwrap();
    let document: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    (output.status.code().unwrap(), document["intake"].clone(), text(&output.stderr).to_owned())
}

fn analysed_text(lines: &str) -> String {
    let (code, intake, said) = analysed(lines);
    format!("exit {code}\n{intake}\n{said}")
}

#[test]
fn bad_payloads_are_counted_and_the_rest_is_read() {
    let (first, second) = BAD_PAYLOADS.split_at(BAD_PAYLOADS.len() / 2);
    let payloads = [&[GOOD], first, &[GOOD], second, &[GOOD]].concat();
    expect![[r#"
        exit 0
        {"messages":17,"readings":3,"duplicates":0,"rejected":14}
        halfdegree: 1 not taken: `31,24` has a decimal comma; send it with a point
        halfdegree: 1 not taken: `at` is `noon`, which is not a time with a zone such as 2026-03-02T07:05:00Z
        halfdegree: 1 not taken: `stir` is not an event; the events are charge, seed, top-up, temper-test, reference, note and end
        halfdegree: 1 not taken: `vibration` is not a channel; the channels are chocolate, jacket, room, humidity, setpoint, stirrer and motor
        halfdegree: 1 not taken: `warm` is not a number; send a bare number such as 31.24, or a SenML pack
        halfdegree: 9 not taken for other reasons
    "#]]
    .assert_eq(&analysed_text(&stream(&payloads)));
}

#[test]
fn a_broken_line_is_told_with_its_place_and_the_rest_is_read() {
    let good = stream(&[GOOD, GOOD]);
    let (first, second) = good.trim_end().split_once('\n').unwrap();
    let no_time = r#"{"topic":"works/alder/chocolate","payload":31.2}"#;
    let local_time = r#"{"tst":"2026-03-02T05:00:00","topic":"works/alder/chocolate","payload":31.2}"#;
    let cut_off = &first[..40];
    let lines = [first, "hello", no_time, local_time, second, cut_off].join("\n");
    expect![[r#"
        exit 0
        {"messages":2,"readings":2,"duplicates":0,"rejected":4}
        halfdegree: stream: line 2: this is not a recorded message (expected value at line 1 column 1)
        halfdegree: stream: line 3: the arrival time `tst` is missing
        halfdegree: stream: line 4: `tst` is `2026-03-02T05:00:00`, which is not a time such as 2026-03-02T05:00:00.250000Z
        halfdegree: stream: line 6: this is not a recorded message (EOF while parsing a string at line 1 column 40)
    "#]].assert_eq(&analysed_text(&lines));
}

#[test]
fn a_couverture_that_nobody_has_written_down_is_told() {
    let charge = r#"{"event":"charge","couverture":"dark-99"}"#;
    let soak = [("works/alder/event", charge)].into_iter().chain([("works/alder/chocolate", "46.0"); 400]);
    let stream = stream(&soak.collect::<Vec<_>>());
    expect![[r#"
        exit 0
        {"messages":401,"readings":400,"duplicates":0,"rejected":0}
        halfdegree: a charge of alder-2026-03-02T05:00 names the couverture `dark-99`, which is not in the plant file; the limits of `dark-64` are used. Add it to the plant file, or correct the charge
    "#]].assert_eq(&analysed_text(&stream));
}

/// As after a full disk: what can be unpacked is read, and the end is told.
#[test]
fn a_packed_stream_that_was_cut_off() {
    let packed = zstd::encode_all(stream(&[GOOD; 4000]).as_bytes(), 3).unwrap();
    let (code, intake, said) = analysed(&packed[..packed.len() - 4]);
    assert_eq!((code, &intake["rejected"]), (0, &1.into()));
    let read = intake["messages"].as_u64().unwrap();
    assert!((1..4000).contains(&read), "{read} were read");
    let line = read + 1;
    assert_eq!(
        said,
        format!(
            "halfdegree: stream: line {line}: the file breaks off here (incomplete frame); what came before was read\n"
        )
    );
}

#[test]
fn a_stream_that_is_not_there() {
    check_args(
        &["analyse", "other.ndjson", "--plant", "plant.toml"],
        expect![[r#"
        exit 2
        halfdegree: cannot read other.ndjson: cannot open other.ndjson: No such file or directory (os error 2)
    "#]],
    );
    check_args(
        &["replay", "other.ndjson", "--to", "mqtt://127.0.0.1:1"],
        expect![[r#"
        exit 2
        halfdegree: cannot read other.ndjson: cannot open other.ndjson: No such file or directory (os error 2)
    "#]],
    );
}

/// A plant file given for a stream, and a stream of other machines than those of the plant file.
#[test]
fn what_nothing_could_be_read_of_is_no_answer() {
    let name = ["analyse", "plant.toml", "--plant", "plant.toml"];
    check_args(
        &name,
        expect![[r#"
        exit 2
        halfdegree: plant.toml: line 1: this is not a recorded message (expected value at line 1 column 2)
        halfdegree: plant.toml: line 2: this is not a recorded message (expected ident at line 1 column 2)
        halfdegree: plant.toml: line 3: this is not a recorded message (expected ident at line 1 column 2)
        halfdegree: plant.toml: line 4: this is not a recorded message (expected value at line 1 column 2)
        halfdegree: plant.toml: line 5: this is not a recorded message (expected value at line 1 column 1)
        halfdegree: lines that could not be read besides these: 7
        halfdegree: this is no recorded stream: none of its lines could be read. A stream is what `mosquitto_sub -t 'works/#' -F %J` prints, a message a line
    "#]],
    );
    let folder = folder_with(PLANT);
    let other = [("works/oak/chocolate", "31.24"), ("works/oak/chocolate", "31.25"), ("works/oak/stir", "1")];
    fs::write(folder.path().join("stream"), stream(&other)).unwrap();
    let args = ["analyse", "stream", "--plant", "plant.toml"];
    expect![[r#"
        exit 2
        halfdegree: 3 not taken: there is no machine `oak` in the plant file
        halfdegree: none of the 3 messages could be taken; is plant.toml the plant file that belongs to them?
    "#]]
    .assert_eq(&told_in(folder.path(), &args));
}

/// As with `| head -1`.
#[test]
fn a_reader_who_has_seen_enough_is_no_fault() {
    let run = |args: &[&str], hang_up: fn(&mut Child)| {
        let folder = folder_with(PLANT);
        let mut command = program();
        command.current_dir(folder.path()).args(args).stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = command.spawn().unwrap();
        hang_up(&mut child);
        let output = child.wait_with_output().unwrap();
        (output.status.code(), text(&output.stderr).to_owned())
    };
    let no_stream = ["analyse", "plant.toml", "--plant", "plant.toml"];
    assert_eq!(run(&no_stream, |child| drop(child.stderr.take())), (Some(2), String::new()));
    let check = ["check", "plant.toml"];
    assert_eq!(run(&check, |child| drop(child.stdout.take())), (Some(0), String::new()));
}
