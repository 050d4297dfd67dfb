//! A thermocouple whose cold junction is the room is read by the room of its own time, also by a service that has just been started: what
//! waits at the broker comes before the room is told again.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use model::{Channel, Timestamp};
use testkit::{Mosquitto, wait_until};
use wire::Message;
use wire::recording::line;

use crate::program::{Service, output};
use crate::replay::{connected, exported};

/// 2026-03-02T12:00:00Z.
const NOON: i64 = 1_772_452_800;

fn plant(url: &str, name: &str) -> String {
    format!(
        "[plant]\nname = \"{name}\"\ntime_zone = \"Europe/Lisbon\"\n[mqtt]\nurl = \"{url}\"\n\
         [[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n\
         [[machine]]\nid = \"alder\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\n\
         [machine.channel.chocolate]\nsensor = \"type-k\"\ncold_junction = \"room\"\n"
    )
}

/// Publishes one SenML pack; its times count from noon.
fn publish(folder: &Path, url: &str, records: &str) {
    let message = Message {
        topic: "works/alder".to_owned(),
        payload: format!("[{{\"bt\":{NOON},{}", &records[2..]).into_bytes(),
        arrived: Timestamp::from_millis(NOON * 1_000),
        retained: false,
    };
    fs::write(folder.join("pack"), line(&message)).unwrap();
    output(&["replay", folder.join("pack").to_str().unwrap(), "--to", url, "--speed", "0"]);
}

/// Seconds after noon, and °C. From 22 °C on 0.324 mV lead to 30 °C (type K: 1.203 mV at 30 °C, NIST Monograph 175; 0.879 mV at 22 °C, from memory).
fn chocolate(data: &Path) -> BTreeMap<i64, String> {
    let readings = exported(data.to_str().unwrap(), &"alder".parse().unwrap());
    let of_chocolate = readings.into_iter().filter(|((_, channel), _)| *channel == Channel::Chocolate);
    of_chocolate.map(|((at, _), value)| (at.as_millis() / 1_000 - NOON, value.unwrap())).collect()
}

fn is_known(data: &Path, seconds: &[i64]) -> bool {
    chocolate(data).keys().copied().collect::<Vec<_>>() == seconds
}

struct Works {
    broker: Mosquitto,
    plant_file: PathBuf,
    data: PathBuf,
}

fn works(folder: &Path) -> Works {
    let broker_folder = folder.join("broker");
    fs::create_dir(&broker_folder).unwrap();
    let broker = Mosquitto::start_persistent(&broker_folder, &[]);
    let (plant_file, data) = (folder.join("plant.toml"), folder.join("data"));
    fs::write(&plant_file, plant(&broker.url(), "Tern Street works")).unwrap();
    Works { broker, plant_file, data }
}

/// What a probe says before the room does is on disk before it is acknowledged, and is read by the first room value, whichever process hears it.
#[test]
fn a_probe_that_speaks_before_its_room_loses_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let Works { broker, plant_file, data } = works(folder.path());
    let publish = |records: &str| publish(folder.path(), &broker.url(), records);
    let held = || {
        let file = rusqlite::Connection::open(data.join("journal.db")).unwrap();
        file.query_row("SELECT count(*) FROM held", [], |row| row.get::<_, i64>(0)).unwrap()
    };

    let service = Service::start(&plant_file, &data);
    wait_until("the service is connected", || connected(&service));
    publish(r#"[{"n":"chocolate","u":"mV","v":0.324},{"n":"chocolate","t":1,"u":"mV","v":0.324}]"#);
    wait_until("both wait on disk", || held() == 2);
    assert!(chocolate(&data).is_empty());
    service.stop();
    assert_eq!(held(), 2);

    let service = Service::start(&plant_file, &data);
    wait_until("the service is connected again", || connected(&service));
    publish(r#"[{"n":"chocolate","t":2,"u":"mV","v":0.324},{"n":"room","t":2,"v":22}]"#);
    wait_until("all are there", || is_known(&data, &[0, 1, 2]));
    assert_eq!(held(), 0);
    service.stop();
    assert_thirty_degrees(&data);
}

#[test]
fn the_room_is_remembered_over_a_stop_and_another_plant_file() {
    let folder = tempfile::tempdir().unwrap();
    let Works { broker, plant_file, data } = works(folder.path());
    let publish = |records: &str| publish(folder.path(), &broker.url(), records);

    let service = Service::start(&plant_file, &data);
    wait_until("the service is connected", || connected(&service));
    publish(r#"[{"n":"room","v":22},{"n":"chocolate","u":"mV","v":0.324}]"#);
    wait_until("the first reading is there", || is_known(&data, &[0]));
    service.stop();
    publish(r#"[{"n":"chocolate","t":1,"u":"mV","v":0.324}]"#);
    let service = Service::start(&plant_file, &data);
    wait_until("the one that waited is there", || is_known(&data, &[0, 1]));

    fs::write(&plant_file, plant(&broker.url(), "Gull Lane works")).unwrap();
    service.tell("HUP");
    wait_until("the other plant file holds", || service.get("/").1.contains("Gull Lane works"));
    publish(r#"[{"n":"chocolate","t":2,"u":"mV","v":0.324}]"#);
    wait_until("the one after it is there", || is_known(&data, &[0, 1, 2]));
    service.stop();
    assert_thirty_degrees(&data);
}

fn assert_thirty_degrees(data: &Path) {
    for (second, value) in chocolate(data) {
        let celsius: f64 = value.parse().unwrap();
        assert!((celsius - 30.0).abs() < 0.05, "{second}: {value}");
    }
}
