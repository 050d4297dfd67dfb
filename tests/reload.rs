//! A service that runs is given another plant file, or told to stop, while messages flow: every reading is there once, a plant file with
//! faults changes nothing, and the service manager hears how it stands (`sd_notify(3)`).

use std::fs::{self, File};
use std::io::Write;
use std::net::TcpStream;
use std::os::unix::net::UnixDatagram;
use std::path::{Path, PathBuf};
use std::process::{Child, Stdio};
use std::time::{Duration, Instant};

use tempfile::TempDir;
use testkit::{Mosquitto, wait_until};

use crate::program::{Service, program};
use crate::replay::{connected, expected_readings, exported, readings_taken, same_batches_and_findings};
use crate::streams::Sample;

/// What we promise of SIGTERM.
const STOPS_WITHIN: Duration = Duration::from_secs(5);

struct Site {
    folder: TempDir,
    broker: Mosquitto,
    sample: Sample,
    plant_text: String,
    manager: UnixDatagram,
}

impl Site {
    fn new() -> Site {
        let folder = tempfile::tempdir().unwrap();
        let broker_folder = folder.path().join("broker");
        fs::create_dir(&broker_folder).unwrap();
        let broker = Mosquitto::start_persistent(&broker_folder, &["max_inflight_messages 1000"]);
        let sample = Sample::read("good-day");
        let plant_text = sample.plant_text.replace("\"embedded\"", &format!("\"{}\"", broker.url()));
        fs::write(folder.path().join("plant.toml"), &plant_text).unwrap();
        let lines: Vec<String> = sample.timed_messages().iter().map(wire::recording::line).collect();
        fs::write(folder.path().join("stream.ndjson"), lines.join("\n")).unwrap();
        let manager = UnixDatagram::bind(folder.path().join("notify")).unwrap();
        manager.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
        Site { folder, broker, sample, plant_text, manager }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn serve(&self) -> Service {
        let mut command = program();
        command
            .env("HALFDEGREE_LOG", "info")
            .env("NOTIFY_SOCKET", self.path("notify"))
            .stderr(File::create(self.path("log")).unwrap());
        let service = Service::launch(command, &self.path("plant.toml"), &self.path("data"));
        self.hears("READY=1");
        wait_until("the service is connected", || connected(&service));
        service
    }

    fn replay(&self) -> Child {
        let mut replay = program();
        replay.arg("replay").arg(self.path("stream.ndjson"));
        replay.args(["--to", &self.broker.url(), "--speed", "0"]).stderr(Stdio::null()).spawn().unwrap()
    }

    /// Waits for the next message to the service manager, which must hold this line.
    fn hears(&self, line: &str) -> String {
        let mut message = [0; 256];
        let length = self.manager.recv(&mut message).unwrap();
        let message = String::from_utf8(message[..length].to_vec()).unwrap();
        assert!(message.lines().any(|found| found == line), "{line} is not in {message:?}");
        message
    }

    fn plant_with(&self, more: &str) {
        fs::write(self.path("plant.toml"), format!("{}\n{more}", self.plant_text)).unwrap();
    }

    fn log(&self) -> String {
        fs::read_to_string(self.path("log")).unwrap()
    }
}

fn machine(id: &str) -> String {
    format!("[[machine]]\nid = \"{id}\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\n")
}

fn machines(service: &Service) -> Vec<String> {
    let machines = service.json("/api/v1/machines");
    machines["machines"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| one["id"].as_str().unwrap().to_owned())
        .collect()
}

#[test]
fn another_plant_file_is_taken_over_under_load_and_no_reading_is_lost_or_doubled() {
    let site = Site::new();
    let service = site.serve();
    let address = service.address().to_owned();
    let mut replay = site.replay();
    for n in 1..4 {
        wait_until("some readings are taken", || readings_taken(&service) >= 2_000);
        site.plant_with(&(1..=n).map(|n| machine(&format!("new-{n}"))).collect::<String>());
        service.tell("HUP");
        let said = site.hears("RELOADING=1");
        assert!(said.lines().any(|line| line.starts_with("MONOTONIC_USEC=")), "{said:?}");
        site.hears("READY=1");
        wait_until("it is connected again", || connected(&service));
        assert!(machines(&service).contains(&format!("new-{n}")), "{:?}", machines(&service));
    }
    assert_eq!(service.address(), address);
    assert!(replay.wait().unwrap().success());
    let expected = expected_readings(&site.sample);
    assert!(!expected.is_empty());
    for (machine, readings) in &expected {
        let data = site.path("data").to_str().unwrap().to_owned();
        wait_until("all readings have come", || exported(&data, machine).len() >= readings.len());
        assert_eq!(&exported(&data, machine), readings, "{machine}");
    }
    same_batches_and_findings(&service, &site.sample);
    let log = site.log();
    for told in ["machine new-1 is new", "machine new-3 is new"] {
        assert!(log.contains(told), "{told:?} is not in {log}");
    }
    service.stop();
    site.hears("STOPPING=1");
}

#[test]
fn a_plant_file_with_faults_is_refused_whole_and_the_old_one_goes_on() {
    let site = Site::new();
    let service = site.serve();
    let before = machines(&service);
    let refused = |text: &str, says: &[&str]| {
        fs::write(site.path("plant.toml"), text).unwrap();
        service.tell("HUP");
        site.hears("RELOADING=1");
        site.hears("READY=1");
        let log = site.log();
        for line in says {
            assert!(log.contains(line), "{line:?} is not in {log}");
        }
        assert_eq!(machines(&service), before);
        assert!(connected(&service), "its session was not touched");
    };
    let two_faults = format!(
        "{}\n[[machine]]\nid = \"new-1\"\nstyle = \"kettel\"\ncouverture = \"dark-65\"\n",
        site.plant_text
    );
    let not_taken = "the plant file is not taken over, and the service goes on with the old one: ";
    refused(&two_faults, &[not_taken, "kettel", "dark-65"]);
    let inside = site.plant_text.replace(&format!("\"{}\"", site.broker.url()), "\"embedded\"");
    refused(&inside, &["goes from mqtt://127.0.0.1:", "to embedded, which needs a restart"]);
    fs::remove_file(site.path("plant.toml")).unwrap();
    service.tell("HUP");
    site.hears("RELOADING=1");
    site.hears("READY=1");
    assert!(site.log().contains("cannot read the plant file"));
    let reconnects = service.get("/metrics").1;
    assert!(reconnects.contains("halfdegree_reconnects_total 0"), "{reconnects}");
    service.stop();
}

/// Somebody whose network stands still in the middle of asking.
fn stuck(service: &Service, said: &str) -> TcpStream {
    let mut stream = TcpStream::connect(service.address()).unwrap();
    stream.write_all(said.as_bytes()).unwrap();
    stream
}

#[test]
fn a_stop_under_load_takes_less_than_five_seconds_and_loses_nothing() {
    let site = Site::new();
    let service = site.serve();
    let mut replay = site.replay();
    let _half_a_head = stuck(&service, "GET / HTTP/1.1\r\nHost: ");
    let _half_a_body = stuck(
        &service,
        "POST /machines/alder/events HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nContent-Length: 900\r\n\r\n{",
    );
    let _live = stuck(&service, "GET /live HTTP/1.1\r\nHost: x\r\n\r\n");
    wait_until("it is at work", || readings_taken(&service) >= 5_000);
    let told = Instant::now();
    service.stop();
    assert!(told.elapsed() < STOPS_WITHIN, "it took {:?}", told.elapsed());
    site.hears("STOPPING=1");
    let service = site.serve();
    assert!(replay.wait().unwrap().success());
    for (machine, readings) in &expected_readings(&site.sample) {
        let data = site.path("data").to_str().unwrap().to_owned();
        wait_until("all readings have come", || exported(&data, machine).len() >= readings.len());
        assert_eq!(&exported(&data, machine), readings, "{machine}");
    }
    service.stop();
}

#[test]
fn a_log_for_programs_is_an_object_a_line() {
    let site = Site::new();
    let mut command = program();
    command.env("HALFDEGREE_LOG", "info").stderr(File::create(site.path("log")).unwrap());
    command.args(["--log-format", "json"]);
    let service = Service::launch(command, &site.path("plant.toml"), Path::new(&site.path("data")));
    wait_until("it has said that it is connected", || site.log().contains("subscribed"));
    service.stop();
    for line in site.log().lines() {
        let said: serde_json::Value = serde_json::from_str(line).unwrap();
        assert!(
            said["timestamp"].is_string() && said["level"].is_string() && said["message"].is_string(),
            "{line}"
        );
    }
}

#[test]
fn a_manager_that_asks_for_it_hears_that_the_service_runs() {
    let site = Site::new();
    let mut command = program();
    command.env("NOTIFY_SOCKET", site.path("notify")).env("WATCHDOG_USEC", "300000");
    let service = Service::launch(command, &site.path("plant.toml"), Path::new(&site.path("data")));
    let mut heard = Vec::new();
    while heard.iter().filter(|message| *message == "WATCHDOG=1").count() < 3
        || !heard.contains(&"READY=1".to_owned())
    {
        let mut message = [0; 256];
        let length = site.manager.recv(&mut message).unwrap();
        heard.push(String::from_utf8_lossy(&message[..length]).trim().to_owned());
    }
    service.stop();
}
