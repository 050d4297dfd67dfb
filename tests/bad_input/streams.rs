//! A stream is read as far as it can be: broken lines and payloads are counted and told, and the rest counts.

use std::fs;

use expect_test::expect;
use wire::recording::line;

use super::payloads::BAD_PAYLOADS;
use super::{PLANT, check_args, folder_with, messages};
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
