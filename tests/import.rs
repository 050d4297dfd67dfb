//! `import`: a logger's file becomes batches and findings as if it had come live, once however often it is brought in; a past is added
//! beside what stands; and what cannot be read gets its sentence.

use std::fmt::Write;
use std::fs;
use std::path::Path;

use model::{Channel, MachineId};
use tempfile::TempDir;
use testkit::{Mosquitto, wait_until};

use crate::program::{Service, program, text};
use crate::replay::{connected, expected_readings, exported};
use crate::streams::Sample;

/// Runs `import` on `night.csv` for alder; exit code and what it said.
fn import(folder: &Path, more: &[&str]) -> String {
    let args = ["import", "night.csv", "--plant", "plant.toml", "--data", "data", "--machine", "alder"];
    let output = program().current_dir(folder).args(args).args(more).output().unwrap();
    format!("exit {}\n{}{}", output.status.code().unwrap(), text(&output.stdout), text(&output.stderr))
}

/// Alder's good day as a spreadsheet in Lisbon has it: date and time apart, semicolons, decimal commas, a mark before the text.
fn logger_file(sample: &Sample) -> String {
    let mut csv = "\u{feff}Logger 7;;;\r\nDate;Time;\"Temp 1 (°C)\";\"Temp 2 (°C)\"\r\n".to_owned();
    let alder: MachineId = "alder".parse().unwrap();
    let mut rows: std::collections::BTreeMap<_, [String; 2]> = std::collections::BTreeMap::new();
    for ((at, channel), value) in &expected_readings(sample)[&alder] {
        let column = match channel {
            Channel::Chocolate => 0,
            Channel::Jacket => 1,
            Channel::Room | Channel::Humidity | Channel::Setpoint | Channel::Stirrer | Channel::Motor => {
                continue;
            }
        };
        if let Some(value) = value {
            rows.entry(*at).or_default()[column] = value.replace('.', ",");
        }
    }
    for (at, [chocolate, jacket]) in rows {
        let local = sample.plant.time_zone.local(at);
        let (date, time) = (local.date().strftime("%d.%m.%Y"), local.time().strftime("%H:%M:%S%.3f"));
        write!(csv, "{date};{time};{chocolate};{jacket}\r\n").unwrap();
    }
    csv
}

const COLUMNS: [&str; 10] = [
    "--column",
    "chocolate=temp 1 (°C)",
    "--column",
    "jacket=Temp 2 (°C)",
    "--time-column",
    "Date",
    "--time-column",
    "Time",
    "--time-format",
    "%d.%m.%Y %H:%M:%S%.f",
];

fn batches(service: &Service) -> Vec<String> {
    let batches = service.json("/api/v1/batches?machine=alder&limit=100");
    batches["batches"]
        .as_array()
        .unwrap()
        .iter()
        .map(|batch| batch["id"].as_str().unwrap().to_owned())
        .collect()
}

#[test]
fn a_loggers_file_becomes_batches_and_is_taken_once() {
    let folder = tempfile::tempdir().unwrap();
    let sample = Sample::read("good-day");
    let broker_folder = folder.path().join("broker");
    fs::create_dir(&broker_folder).unwrap();
    let broker = Mosquitto::start(&broker_folder, &[]);
    let plant = sample.plant_text.replace("\"embedded\"", &format!("\"{}\"", broker.url()));
    fs::write(folder.path().join("plant.toml"), plant).unwrap();
    fs::write(folder.path().join("night.csv"), logger_file(&sample)).unwrap();
    let dry: Vec<&str> = COLUMNS.into_iter().chain(["--dry-run"]).collect();
    let told = import(folder.path(), &dry);
    assert!(told.starts_with("exit 0\nnight.csv: lines understood: "), "{told}");
    assert!(told.contains("put aside: 0; columns are set apart by `;`"), "{told}");
    assert!(told.ends_with("Dry run: nothing was written.\n"), "{told}");
    assert!(!folder.path().join("data").exists());

    let told = import(folder.path(), &COLUMNS);
    assert!(told.starts_with("exit 0\n"), "{told}");
    assert!(told.contains("; there already: 0."), "{told}");
    let alder: MachineId = "alder".parse().unwrap();
    let mut expected = expected_readings(&sample)[&alder].clone();
    expected.retain(|(_, channel), value| {
        value.is_some() && matches!(channel, Channel::Chocolate | Channel::Jacket)
    });
    let data = folder.path().join("data");
    assert_eq!(exported(data.to_str().unwrap(), &alder), expected);
    let service = Service::start(&folder.path().join("plant.toml"), &data);
    let first = batches(&service);
    assert!(!first.is_empty());
    wait_until("connected", || connected(&service));
    let gaps = &service.json("/healthz")["health"]["possible_gaps"];
    assert_eq!(gaps, &serde_json::json!([]), "no broker ever had what a file brought");
    let refused = import(folder.path(), &COLUMNS);
    assert!(refused.starts_with("exit 2\n"), "{refused}");
    assert!(refused.contains("a service that is running on the folder has to be stopped first"), "{refused}");
    service.stop();

    let again = import(folder.path(), &COLUMNS);
    assert!(again.contains("Readings written: 0; there already: "), "{again}");
    assert_eq!(exported(data.to_str().unwrap(), &alder), expected);
    let service = Service::start(&folder.path().join("plant.toml"), &data);
    assert_eq!(batches(&service), first);
    service.stop();
}

/// The folder has seen November; the good day of March is added behind it.
#[test]
fn a_past_is_added_beside_what_stands() {
    let folder = tempfile::tempdir().unwrap();
    let data = crate::formats::copied("data-1", folder.path());
    let sample = Sample::read("good-day");
    fs::write(folder.path().join("plant.toml"), without_broker(&sample)).unwrap();
    fs::write(folder.path().join("night.csv"), logger_file(&sample)).unwrap();
    let alder: MachineId = "alder".parse().unwrap();
    let before = exported(data.to_str().unwrap(), &alder);
    let told = import(folder.path(), &COLUMNS);
    assert!(told.contains("Batches added: "), "{told}");
    assert!(!told.contains("Batches added: 0"), "{told}");
    let after = exported(data.to_str().unwrap(), &alder);
    assert!(before.iter().all(|(key, value)| after.get(key) == Some(value)), "what stood there stands");
    let service = Service::start(&folder.path().join("plant.toml"), &data);
    assert!(batches(&service).iter().any(|id| id.starts_with("alder-2026-03-")), "{:?}", batches(&service));
    service.stop();
    assert!(import(folder.path(), &COLUMNS).contains("Readings written: 0;"));
}

/// The plant file with a broker that is away: a broker inside the service wants the one port that another test may hold.
fn without_broker(sample: &Sample) -> String {
    sample.plant_text.replace("url = \"embedded\"", "url = \"mqtt://127.0.0.1:9\"")
}

fn site(csv: &str) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("plant.toml"), Sample::read("good-day").plant_text).unwrap();
    fs::write(folder.path().join("night.csv"), csv).unwrap();
    folder
}

#[test]
fn what_cannot_be_read_gets_its_sentence() {
    let plain = ["--column", "chocolate=Temp1", "--time-column", "time"];
    let says = |csv: &str, more: &[&str], sentence: &str| {
        let args: Vec<&str> = plain.iter().chain(more).copied().collect();
        let told = import(site(csv).path(), &args);
        assert!(told.starts_with("exit 2\n") && told.contains(sentence), "{sentence:?} is not in {told}");
    };
    let good = "time,Temp1\n2026-03-02 05:00:00,45.0\n";
    says("", &[], "halfdegree: cannot read night.csv: the file is empty");
    says(
        "Zeit,Temp1\n1,2\n",
        &[],
        "`time` cannot be found; the line that looks most like a header has `Zeit`, `Temp1`",
    );
    says(
        "time,Temp1\nyesterday,45\n",
        &[],
        "no line of night.csv could be read; see to --time-format and --column",
    );
    says("time,Temp1\n", &[], "halfdegree: night.csv has nothing behind the line that names the columns");
    says(
        good,
        &["--time-zone", "Europe/Tern"],
        "`Europe/Tern` is no time zone; write one such as Europe/Lisbon, or Etc/UTC",
    );
    says(good, &["--time-format", "soon"], "write iso, unix-s, unix-ms, or a pattern such as");
    says(
        good,
        &["--column", "choc=Temp1"],
        "the channels are chocolate, jacket, room, humidity, setpoint, stirrer, motor",
    );
    says(good, &["--column", "chocolate=Temp2"], "--column names chocolate twice; a channel has one column");
    says(
        good,
        &["--column", "jacket=Temp1"],
        "--column takes `Temp1` for chocolate and for jacket; a column is one of them",
    );
    says(
        "time,Temp1\n2026-10-25 00:30:00,45\n2026-10-25 01:30:00,45\n",
        &["--time-zone", "Europe/Lisbon"],
        "lines with a time in the hour that comes twice when clocks go back: 1 (the first is line 3); say which is meant by --hour-twice",
    );
    let told = import(
        site("time,Temp1\n2026-03-02 05:00:00,113\nyesterday,9\n").path(),
        &[&plain[..], &["--dry-run"]].concat(),
    );
    for line in [
        "  put aside: line 3: `yesterday` is not a time such as 2026-03-02 05:00:10",
        "If the file has °F, say --fahrenheit.",
    ] {
        assert!(told.contains(line), "{line:?} is not in {told}");
    }
}

#[test]
fn what_cannot_be_a_reading_is_put_aside_and_what_takes_anothers_place_is_told() {
    let plain = ["--column", "chocolate=Temp1", "--time-column", "time"];
    let folder = site(
        "time,Temp1\n2026-03-02 05:00:00,45.0\n2026-03-02 05:00:10,99999999999999\n1500-03-02 05:00:20,45.0\n2026-03-02 05:00:30\n",
    );
    let told = import(folder.path(), &plain);
    for line in [
        "night.csv: lines understood: 1, put aside: 3;",
        "  put aside: line 3: `99999999999999` is no temperature of a works; those are between -10 and 120 °C (column `Temp1`)",
        "  put aside: line 4: 1500-03-02T05:37:05Z is before 2001, and no reading of a logger whose clock is right",
        "  put aside: line 5: it has a time and no value",
        "Readings written: 1; there already: 0.\n",
    ] {
        assert!(told.contains(line), "{line:?} is not in {told}");
    }
    fs::write(folder.path().join("night.csv"), "time,Temp1\n2026-03-02 05:00:00,46.0\n").unwrap();
    let told = import(folder.path(), &plain);
    let line = "Readings that were there with another value, in whose place the file's stands now: 1.\n";
    assert!(told.contains(line) && told.contains("Readings written: 0; there already: 0.\n"), "{told}");
}
