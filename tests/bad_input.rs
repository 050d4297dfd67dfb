//! Each kind of bad input gets its sentence: plant files, payloads, lines of a stream, arguments, queries.
//!
//! A sentence says what is wrong, where, and what to do; it is asserted as it stands. What is beside the bad part is still read.

mod arguments;
mod payloads;
mod plant_files;
mod queries;
mod streams;

use std::fs;
use std::path::Path;

use expect_test::Expect;
use model::Timestamp;
use tempfile::TempDir;
use wire::Message;

use crate::program::{program, text};

/// A plant without fault. No broker answers at its address.
const PLANT: &str = r#"[plant]
name = "Tern Street works"
time_zone = "Europe/Lisbon"
[mqtt]
url = "mqtt://127.0.0.1:1"
[[couverture]]
id = "dark-64"
family = "dark"
[[machine]]
id = "alder"
style = "kettle"
couverture = "dark-64"
"#;

/// 2026-03-02T05:00:00Z: when the first message of a stream arrives.
const FIRST_ARRIVAL_MS: i64 = 1_772_427_600_000;

/// A folder of its own that holds `plant.toml`.
fn folder_with(plant: &str) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("plant.toml"), plant).unwrap();
    folder
}

/// Runs the program in a folder: exit code, standard output, standard error.
fn told_in(folder: &Path, args: &[&str]) -> String {
    let output = program().current_dir(folder).args(args).output().unwrap();
    format!("exit {}\n{}{}", output.status.code().unwrap(), text(&output.stdout), text(&output.stderr))
}

/// The same in a folder that holds the good plant file and nothing else.
#[expect(clippy::needless_pass_by_value, reason = "an expectation reads best as the last argument")]
fn check_args(args: &[&str], expected: Expect) {
    expected.assert_eq(&told_in(folder_with(PLANT).path(), args));
}

/// Payloads on topics, one a second.
fn messages(payloads: &[(&str, &str)]) -> Vec<Message> {
    let message = |(&(topic, payload), second): (&(&str, &str), i64)| Message {
        topic: topic.to_owned(),
        payload: payload.as_bytes().to_vec(),
        arrived: Timestamp::from_millis(FIRST_ARRIVAL_MS + 1000 * second),
        retained: false,
    };
    payloads.iter().zip(0..).map(message).collect()
}
