//! The main job with real parts: Mosquitto, `serve`, `replay`. The service is stopped and killed while messages flow; every reading is
//! there once, and batches and findings are those of the analysis.

use std::collections::BTreeMap;
use std::fs;
use std::process::Stdio;

use engine::Analyst;
use intake::{EmbeddedBroker, EmbeddedListen};
use model::{Channel, Content, MachineId, Timestamp};
use testkit::{Mosquitto, wait_until};
use wire::Message;

use crate::program::{Service, output, program, text};
use crate::streams::Sample;

/// Readings after which the service is stopped, and those after which it is killed; counted anew by each run of it.
const STOPPED_AFTER: u64 = 6_000;
const KILLED_AFTER: u64 = 6_000;

pub(crate) fn readings_taken(service: &Service) -> u64 {
    service.json("/healthz")["health"]["readings"].as_u64().unwrap()
}

pub(crate) fn connected(service: &Service) -> bool {
    service.json("/healthz")["health"]["intake"] == "connected"
}

#[test]
fn stopped_and_killed_on_the_way_every_reading_is_there_once() {
    let folder = tempfile::tempdir().unwrap();
    let broker_folder = folder.path().join("broker");
    fs::create_dir(&broker_folder).unwrap();
    let broker =
        Mosquitto::start_persistent(&broker_folder, &["max_queued_messages 0", "max_inflight_messages 1000"]);
    let sample = Sample::read("good-day");
    let plant = folder.path().join("plant.toml");
    let ours = sample.plant_text.replace("\"embedded\"", &format!("\"{}\"", broker.url()));
    assert_ne!(ours, sample.plant_text);
    fs::write(&plant, ours).unwrap();
    let stream = folder.path().join("stream.ndjson");
    let lines: Vec<String> = sample.timed_messages().iter().map(wire::recording::line).collect();
    fs::write(&stream, lines.join("\n")).unwrap();
    let data = folder.path().join("data");

    let service = Service::start(&plant, &data);
    wait_until("the service is connected", || connected(&service));
    let mut replay = program()
        .arg("replay")
        .arg(&stream)
        .args(["--to", &broker.url(), "--speed", "0"])
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    wait_until("some readings are taken", || readings_taken(&service) >= STOPPED_AFTER);
    service.stop();
    let service = Service::start(&plant, &data);
    wait_until("some more are taken", || readings_taken(&service) >= KILLED_AFTER);
    service.kill();
    let service = Service::start(&plant, &data);
    assert!(replay.wait().unwrap().success());

    let expected = expected_readings(&sample);
    for (machine, readings) in &expected {
        let data = data.to_str().unwrap();
        wait_until("all readings have come", || exported(data, machine).len() >= readings.len());
        assert_eq!(&exported(data, machine), readings, "{machine}");
    }
    same_batches_and_findings(&service, &sample);
    for machine in expected.keys() {
        displays_are_told(&service, broker.port(), machine);
    }
    service.stop();
}

/// The broker inside the service speaks MQTT 3.1.1 on its first port, which is no trouble of whoever replays.
#[test]
fn a_broker_of_the_older_version_is_no_trouble() {
    let anywhere = ([127, 0, 0, 1], 0).into();
    let broker = EmbeddedBroker::start(EmbeddedListen { v311: anywhere, v5: anywhere }, None).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let stream = folder.path().join("stream.ndjson");
    let lines: Vec<String> =
        Sample::read("good-day").timed_messages().iter().take(2).map(wire::recording::line).collect();
    fs::write(&stream, lines.join("\n")).unwrap();
    let to = format!("mqtt://{}", broker.listen().v311);
    let output = program().arg("replay").arg(&stream).args(["--to", &to, "--speed", "0"]).output().unwrap();
    assert_eq!(text(&output.stderr), "2 messages published, each acknowledged by the broker\n");
}

/// A stock recording begins with what the broker had kept. Published again it would be new, and a value of some day a reading of now.
#[test]
fn what_is_no_reading_in_a_recording_is_not_made_into_one() {
    let anywhere = ([127, 0, 0, 1], 0).into();
    let broker = EmbeddedBroker::start(EmbeddedListen { v311: anywhere, v5: anywhere }, None).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let stream = folder.path().join("stream.ndjson");
    let recorded = |topic: &str, payload: &str, retained: bool| {
        let arrived = Timestamp::from_millis(1_772_427_600_000);
        wire::recording::line(&Message {
            topic: topic.to_owned(),
            payload: payload.into(),
            arrived,
            retained,
        })
    };
    let lines = [
        recorded("works/alder/chocolate", "77.7", true),
        recorded("works/alder/event", r#"{"event":"end"}"#, true),
        recorded("works/alder", r#"[{"n":"chocolate","t":1772427500,"v":31.5}]"#, true),
        recorded("works/alder/standing", r#"{"standing":"in-temper"}"#, true),
        recorded("works/alder/standing", r#"{"standing":"unproven"}"#, false),
        recorded("works/alder/chocolate", "31.6", false),
    ];
    fs::write(&stream, lines.join("\n")).unwrap();
    let to = format!("mqtt://{}", broker.listen().v5);
    let output = program().arg("replay").arg(&stream).args(["--to", &to, "--speed", "0"]).output().unwrap();
    assert_eq!(
        text(&output.stderr),
        "halfdegree: 2 left out: the broker had kept them from earlier, and they do not say from when, so that they are no readings\n\
         halfdegree: 2 left out: they tell displays of standings, which the service does itself\n\
         2 messages published, each acknowledged by the broker\n"
    );
    assert_eq!(output.status.code(), Some(0));
}

/// What stands at the broker for light towers is, within seconds, what the API says of the machine.
fn displays_are_told(service: &Service, port: u16, machine: &MachineId) {
    let topic = format!("works/{machine}/standing");
    wait_until("the display shows what the API says", || {
        let machines = service.json("/api/v1/machines");
        let all = machines["machines"].as_array().unwrap();
        let said = all.iter().find(|one| one["id"] == machine.as_str()).unwrap();
        let told = retained(port, &topic);
        told["machine"] == said["id"]
            && told["phase"] == said["phase"]
            && told["batch"] == said["batch"]["id"]
            && told["standing"] == said["batch"]["standing"]
            && told["open_findings"] == said["open_findings"]
    });
}

/// The message that the broker keeps under a topic.
fn retained(port: u16, topic: &str) -> serde_json::Value {
    let options = rumqttc::MqttOptions::new("display", "127.0.0.1", port);
    let (client, mut connection) = rumqttc::Client::new(options, 10);
    client.subscribe(topic, rumqttc::QoS::AtLeastOnce).unwrap();
    for event in connection.iter() {
        if let rumqttc::Event::Incoming(rumqttc::Packet::Publish(publish)) = event.unwrap() {
            assert!(publish.retain, "{topic}");
            return serde_json::from_slice(&publish.payload).unwrap();
        }
    }
    unreachable!("the connection goes on for ever")
}

type Readings = BTreeMap<(Timestamp, Channel), Option<String>>;

pub(crate) fn expected_readings(sample: &Sample) -> BTreeMap<MachineId, Readings> {
    let mut expected: BTreeMap<MachineId, Readings> = BTreeMap::new();
    for arrival in &sample.arrivals {
        if let Content::Reading(reading) = &arrival.content {
            let value = reading.value.map(|value| format!("{value:.3}"));
            expected.entry(reading.machine.clone()).or_default().insert((reading.at, reading.channel), value);
        }
    }
    expected
}

/// What `halfdegree export` gives back.
pub(crate) fn exported(data: &str, machine: &MachineId) -> Readings {
    let csv = output(&["export", "--data", data, "--machine", machine.as_str()]);
    let mut lines = csv.lines();
    let header: Vec<&str> = lines.next().unwrap().split(',').collect();
    let mut readings = Readings::new();
    for line in lines {
        let cells: Vec<&str> = line.split(',').collect();
        let at: Timestamp = cells[0].parse().unwrap();
        for (name, cell) in header.iter().zip(&cells).skip(1) {
            match name.parse::<Channel>() {
                Ok(channel) if !cell.is_empty() => {
                    let value: f64 = cell.parse().unwrap();
                    let before = readings.insert((at, channel), Some(format!("{value:.3}")));
                    assert_eq!(before, None, "{machine} {channel} {at} twice");
                }
                Ok(_) => {}
                Err(_) => cell.split(' ').filter_map(|name| name.parse().ok()).for_each(|channel| {
                    readings.insert((at, channel), None);
                }),
            }
        }
    }
    readings
}

pub(crate) fn same_batches_and_findings(service: &Service, sample: &Sample) {
    let mut analyst = Analyst::new(sample.plant.clone());
    sample.arrivals.iter().for_each(|arrival| analyst.push(arrival));
    let analysis = analyst.finish().unwrap();
    let mut batches: Vec<String> =
        analysis.machines.iter().flat_map(|m| &m.batches).map(|batch| batch.id.to_string()).collect();
    batches.sort();
    // Silence is told by the clock of arrivals, and a replay has its own.
    let mut findings: Vec<String> = analysis
        .machines
        .iter()
        .flat_map(|m| &m.findings)
        .filter(|finding| finding.kind.as_str() != "silent")
        .map(|finding| finding.id.to_string())
        .collect();
    findings.sort();
    let ids = |path: &str, list: &str| -> Vec<String> {
        let answer = service.json(path);
        let list = answer.as_array().or(answer[list].as_array()).cloned().unwrap();
        let wanted = list.iter().filter(|entry| entry["kind"] != "silent");
        let mut ids: Vec<String> = wanted.map(|entry| entry["id"].as_str().unwrap().to_owned()).collect();
        ids.sort();
        ids
    };
    wait_until("batches are written down", || ids("/api/v1/batches?limit=100", "batches") == batches);
    assert_eq!(ids("/api/v1/findings?limit=100", "findings"), findings);
}
