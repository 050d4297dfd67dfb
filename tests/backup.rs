//! A backup while the service takes what comes as fast as it can; put back elsewhere it holds what had come by then, whole
//! and in order, and the service goes on from it.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::process::Stdio;

use testkit::{Mosquitto, wait_until};

use crate::program::{Service, output, program, run, text};

/// Enough that backups fall into the middle, at some thousand messages a second.
const MESSAGES: usize = 20_000;
/// The backup is begun when so much has been taken.
const TAKEN_BEFORE: u64 = 3_000;

const PLANT: &str = "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n\
     [mqtt]\nurl = \"URL\"\n[[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n\
     [[machine]]\nid = \"alder\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\n";

/// A reading a second of Alder's chocolate; each has its own value, so that none can stand for another.
fn stream() -> String {
    let line = |n: usize| {
        let (t, value) = (1_772_427_600 + n, 20.0 + n as f64 / 1000.0);
        let payload = format!(r#"[{{"n":"chocolate","u":"Cel","t":{t},"v":{value:.3}}}]"#);
        format!(
            r#"{{"tst":"2026-03-02T05:00:00.000000Z","topic":"works/alder","qos":1,"retain":0,"payloadlen":{},"payload":{payload}}}"#,
            payload.len()
        )
    };
    (0..MESSAGES).map(line).collect::<Vec<_>>().join("\n")
}

fn exported(data: &Path) -> Vec<String> {
    let csv = output(&["export", "--data", data.to_str().unwrap(), "--machine", "alder"]);
    csv.lines().skip(1).map(str::to_owned).collect()
}

fn readings_taken(service: &Service) -> u64 {
    service.json("/healthz")["health"]["readings"].as_u64().unwrap()
}

#[test]
fn a_backup_under_load_holds_all_that_had_come_and_nothing_torn() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    fs::create_dir(at("broker")).unwrap();
    let broker = Mosquitto::start_persistent(&at("broker"), &["max_inflight_messages 1000"]);
    fs::write(at("plant.toml"), PLANT.replace("URL", &broker.url())).unwrap();
    fs::write(at("stream.ndjson"), stream()).unwrap();
    let service = Service::start(&at("plant.toml"), &at("data"));
    wait_until("connected", || service.json("/healthz")["health"]["intake"] == "connected");
    let mut replay = program()
        .arg("replay")
        .arg(at("stream.ndjson"))
        .args(["--to", &broker.url(), "--speed", "0"])
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    wait_until("some have been taken", || TAKEN_BEFORE <= readings_taken(&service));
    let taken_before = readings_taken(&service) as usize;
    let backup = at("backup");
    output(&["backup", "--data", at("data").to_str().unwrap(), backup.to_str().unwrap()]);
    let taken_after = readings_taken(&service) as usize;
    assert!(taken_after < MESSAGES, "the backup was made while readings came");
    assert!(replay.wait().unwrap().success());
    wait_until("all have been taken", || exported(&at("data")).len() == MESSAGES);
    service.stop();

    output(&["restore", "--data", at("elsewhere").to_str().unwrap(), backup.to_str().unwrap()]);
    let (whole, restored) = (exported(&at("data")), exported(&at("elsewhere")));
    assert!(
        taken_before <= restored.len() && restored.len() <= whole.len(),
        "{taken_before} {}",
        restored.len()
    );
    // One publisher, so readings came in order: what the backup holds is where the whole begins, without a hole.
    assert_eq!(restored[..], whole[..restored.len()]);
    let distinct: BTreeSet<&String> = whole.iter().collect();
    assert_eq!(distinct.len(), MESSAGES);

    let again = run(&["restore", "--data", at("elsewhere").to_str().unwrap(), backup.to_str().unwrap()]);
    assert_eq!(again.status.code(), Some(2));
    assert!(text(&again.stderr).contains("is there already"), "{}", text(&again.stderr));

    let service = Service::start(&at("plant.toml"), &at("elsewhere"));
    let gaps = service.json("/healthz")["health"]["possible_gaps"].clone();
    assert!(
        gaps[0]
            .as_str()
            .unwrap()
            .ends_with("a backup was put back; what came after it was made is not in it"),
        "{gaps}"
    );
    let (status, metrics) = service.get("/metrics");
    assert_eq!(status, 200);
    assert!(metrics.contains("halfdegree_possible_gaps 1.0"), "{metrics}");
    service.stop();
}
