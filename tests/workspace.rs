//! The shape of the workspace: what stands at the top, which crate may use which, how files begin, which licences come in.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// A crate and what it may use. Arrows point to crates above it in this list; a new one is a change of its own.
const ARROWS: &[(&str, &[&str])] = &[
    ("model", &[]),
    ("maths", &[]),
    ("plant", &["model"]),
    ("handwork", &["model", "maths", "plant"]),
    ("wire", &["model", "plant", "maths"]),
    ("frames", &["model"]),
    ("engine", &["model", "plant", "maths", "frames"]),
    ("journal", &["model"]),
    ("store", &["model", "frames", "journal"]),
    ("records", &["model"]),
    ("alarms", &["model", "records"]),
    ("history", &["model", "plant", "maths", "store", "records", "alarms"]),
    ("charts", &["model"]),
    ("report", &["model", "history", "charts"]),
    ("reach", &["model", "plant", "records", "alarms", "report"]),
    ("paper", &[]),
    ("intake", &["model", "plant", "wire", "journal"]),
    (
        "web",
        &["model", "plant", "handwork", "wire", "store", "records", "alarms", "history", "charts", "report"],
    ),
    (
        "service",
        &[
            "model", "maths", "plant", "wire", "frames", "engine", "journal", "store", "records", "alarms",
            "reach", "history", "charts", "report", "intake", "web",
        ],
    ),
    ("simulator", &["model", "plant", "maths", "wire"]),
    (
        "halfdegree",
        &[
            "model",
            "plant",
            "handwork",
            "wire",
            "frames",
            "engine",
            "journal",
            "store",
            "records",
            "reach",
            "history",
            "report",
            "paper",
            "intake",
            "web",
            "service",
            "simulator",
        ],
    ),
    ("testkit", &["model", "wire"]),
];

/// What may stand at the top level besides dot-files.
const TOP: &[&str] = &[
    "Cargo.toml",
    "Cargo.lock",
    "README.md",
    "DEVELOPERS.md",
    "crates",
    "config",
    "dashboards",
    "tests",
    "sample-streams",
];

/// Licences that a dependency may have; with `OR` one of them is enough, with `AND` each has to be here.
const LICENCES: &[&str] = &[
    "MIT",
    "MIT-0",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-1-Clause",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "CDLA-Permissive-2.0",
    "ISC",
    "MPL-2.0",
    "OFL-1.1",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
    "0BSD",
];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").canonicalize().unwrap()
}

fn manifest(name: &str) -> toml::Table {
    let path = root().join("crates").join(name).join("Cargo.toml");
    fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display())).parse().unwrap()
}

#[test]
fn the_top_level_holds_what_was_agreed() {
    let tracked =
        Command::new("git").args(["ls-tree", "--name-only", "HEAD"]).current_dir(root()).output().unwrap();
    let names = String::from_utf8(tracked.stdout).unwrap();
    let extra: Vec<&str> =
        names.lines().filter(|name| !name.starts_with('.') && !TOP.contains(name)).collect();
    assert!(extra.is_empty(), "beyond the agreed top level: {extra:?}");
}

#[test]
fn every_crate_is_in_the_list_of_arrows() {
    let there: BTreeSet<String> = fs::read_dir(root().join("crates"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    let listed: BTreeSet<String> = ARROWS.iter().map(|(name, _)| (*name).to_owned()).collect();
    assert_eq!(there, listed);
}

#[test]
fn arrows_point_one_way() {
    let ours: BTreeSet<&str> = ARROWS.iter().map(|(name, _)| *name).collect();
    for (name, allowed) in ARROWS {
        let manifest = manifest(name);
        let used = manifest.get("dependencies").and_then(toml::Value::as_table).cloned().unwrap_or_default();
        for dependency in used.keys().filter(|dependency| ours.contains(dependency.as_str())) {
            assert!(allowed.contains(&dependency.as_str()), "`{name}` may not use `{dependency}`");
        }
    }
    for (place, (name, allowed)) in ARROWS.iter().enumerate() {
        for used in *allowed {
            let above = ARROWS.iter().position(|(other, _)| other == used).unwrap();
            assert!(above < place, "the arrow from `{name}` to `{used}` points up");
        }
    }
}

#[test]
fn tests_alone_use_the_testkit() {
    for (name, _) in ARROWS {
        let manifest = manifest(name);
        let used = manifest.get("dependencies").and_then(toml::Value::as_table).cloned().unwrap_or_default();
        assert!(!used.contains_key("testkit"), "`{name}` uses the testkit outside tests");
    }
}

fn rust_files(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            rust_files(&path, files);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            files.push(path);
        }
    }
}

#[test]
fn every_file_says_what_it_is() {
    let mut files = Vec::new();
    rust_files(&root().join("crates"), &mut files);
    rust_files(&root().join("tests"), &mut files);
    assert!(files.len() > 50);
    for file in files {
        let text = fs::read_to_string(&file).unwrap();
        assert!(text.starts_with("//! "), "{} does not open with what it is", file.display());
    }
}

#[test]
fn licences_are_ones_that_we_may_use() {
    let metadata = Command::new(env!("CARGO"))
        .args([
            "metadata",
            "--format-version",
            "1",
            "--locked",
            "--offline",
            "--filter-platform",
            "x86_64-unknown-linux-gnu",
        ])
        .current_dir(root())
        .output()
        .unwrap();
    assert!(metadata.status.success(), "{}", String::from_utf8_lossy(&metadata.stderr));
    let metadata: serde_json::Value = serde_json::from_slice(&metadata.stdout).unwrap();
    let packages = metadata["packages"].as_array().unwrap();
    assert!(packages.len() > 100);
    for package in packages {
        let licence = package["license"].as_str().unwrap_or("none");
        assert!(may_use(licence), "{} {} has the licence {licence}", package["name"], package["version"]);
    }
}

/// `A OR B`, `A AND B`, `A/B`, with brackets around an alternative.
fn may_use(licence: &str) -> bool {
    licence.split(" AND ").all(|part| {
        let part = part.trim_matches(|c| c == '(' || c == ')');
        part.split(" OR ")
            .flat_map(|one| one.split('/'))
            .any(|one| LICENCES.contains(&one.trim().trim_matches(|c| c == '(' || c == ')')))
    })
}

#[test]
fn a_licence_is_read_as_spdx_means_it() {
    assert!(may_use("MIT OR GPL-3.0"));
    assert!(may_use("(MIT OR Apache-2.0) AND Unicode-3.0"));
    assert!(!may_use("MIT AND GPL-3.0"));
    assert!(!may_use("none"));
}

/// The table of what it finds names every kind with its priority, and nothing that is none.
#[test]
fn the_readme_tells_of_every_finding() {
    let readme = fs::read_to_string(root().join("README.md")).unwrap();
    let table = readme.split("## What it finds").nth(1).unwrap().split("\n## ").next().unwrap();
    let first_cells = table.lines().filter_map(|line| line.strip_prefix("| `")?.split(" | ").next());
    let told: BTreeSet<&str> =
        first_cells.flat_map(|cell| cell.split("`, `")).map(|name| name.trim_matches('`')).collect();
    let kinds: BTreeSet<&str> = model::FindingKind::ALL.iter().map(|kind| kind.as_str()).collect();
    assert_eq!(told, kinds);
}
