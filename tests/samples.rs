//! Each sample stream gives the analysis that stands beside it. `UPDATE_EXPECT=1` rewrites those; the diff is read before it is
//! committed.

use expect_test::expect_file;

use crate::program::{output, root};

/// Name of each sample: `sample-streams/<name>.ndjson.zst`, with its plant file and its expected analysis.
const SAMPLES: &[&str] = &["good-day", "overheated-hold", "slow-cooling", "drifting-hold", "bench-bowl"];

fn check(name: &str) {
    let folder = root().join("sample-streams");
    let stream = folder.join(format!("{name}.ndjson.zst"));
    let plant = folder.join(format!("{name}.plant.toml"));
    let (stream, plant) = (stream.to_str().unwrap(), plant.to_str().unwrap());
    let json = output(&["analyse", stream, "--plant", plant, "--format", "json"]);
    expect_file![folder.join(format!("{name}.analysis.json"))].assert_eq(&json);
    let text = output(&["analyse", stream, "--plant", plant]);
    expect_file![folder.join(format!("{name}.analysis.txt"))].assert_eq(&text);
}

#[test]
fn good_day() {
    check("good-day");
}

#[test]
fn overheated_hold() {
    check("overheated-hold");
}

#[test]
fn slow_cooling() {
    check("slow-cooling");
}

#[test]
fn drifting_hold() {
    check("drifting-hold");
}

#[test]
fn bench_bowl() {
    check("bench-bowl");
}

#[test]
fn every_sample_has_a_test() {
    let mut there: Vec<String> = std::fs::read_dir(root().join("sample-streams"))
        .unwrap()
        .filter_map(|entry| {
            entry.unwrap().file_name().into_string().unwrap().strip_suffix(".ndjson.zst").map(str::to_owned)
        })
        .collect();
    there.sort();
    let mut listed: Vec<String> = SAMPLES.iter().map(|name| (*name).to_owned()).collect();
    listed.sort();
    assert_eq!(there, listed);
}
