//! What stands in the service's log, and what does not: never a password, and never a line a message.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use intake::{BrokerAddress, Credentials, Pace, Progress, ReplayConfig};
use model::Timestamp;
use tempfile::TempDir;
use testkit::{Mosquitto, wait_until};
use wire::Message;

use crate::program::{Service, program};

const USER: &str = "kettles";
const PASSWORD: &str = "tern-4-street";

/// Bad messages of the flood.
const BAD: u64 = 20_000;

struct Site {
    folder: TempDir,
    broker: Mosquitto,
    service: Service,
}

impl Site {
    /// A service that tells everything it can, at a broker that wants a password.
    fn start(detail: &str) -> Site {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        fs::create_dir(at("broker")).unwrap();
        let made = Command::new("mosquitto_passwd")
            .args(["-b", "-c"])
            .arg(at("users"))
            .args([USER, PASSWORD])
            .status();
        assert!(made.unwrap().success());
        let users = format!("password_file {}", at("users").display());
        let broker =
            Mosquitto::start(&at("broker"), &["allow_anonymous false", "max_queued_messages 0", &users]);
        let plant = format!(
            "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n\n[mqtt]\nurl = \"{}\"\nuser = \"{USER}\"\n\
             password_env = \"TERN_STREET_MQTT\"\n\n[[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n\n[[machine]]\n\
             id = \"alder\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\n",
            broker.url()
        );
        fs::write(at("plant.toml"), plant).unwrap();
        let mut command = program();
        command.env("HALFDEGREE_LOG", detail).env("TERN_STREET_MQTT", PASSWORD);
        command.stderr(fs::File::create(at("log")).unwrap());
        let service = Service::launch(command, &at("plant.toml"), &at("data"));
        wait_until("connected", || service.json("/healthz")["health"]["intake"] == "connected");
        Site { folder, broker, service }
    }

    fn log(&self) -> String {
        fs::read_to_string(self.folder.path().join("log")).unwrap()
    }

    fn data(&self) -> PathBuf {
        self.folder.path().join("data")
    }

    fn publish(&self, messages: impl IntoIterator<Item = Message>) -> Progress {
        let broker: BrokerAddress = self.broker.url().parse().unwrap();
        let credentials = Some(Credentials { user: USER.into(), password: PASSWORD.into() });
        let config = ReplayConfig { credentials, ..ReplayConfig::new(broker, Pace::UNPACED) };
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        runtime.block_on(intake::replay(config, messages, |_| {})).unwrap()
    }
}

fn message(payload: String) -> Message {
    let topic = "works/alder/chocolate".to_owned();
    Message { topic, payload: payload.into_bytes(), arrived: Timestamp::from_millis(0), retained: false }
}

fn size(folder: &Path) -> u64 {
    let entries = fs::read_dir(folder).unwrap().map(Result::unwrap);
    entries
        .map(
            |entry| if entry.path().is_dir() { size(&entry.path()) } else { entry.metadata().unwrap().len() },
        )
        .sum()
}

#[test]
fn no_password_stands_in_the_most_talkative_log_nor_on_a_page() {
    let mut site = Site::start("trace");
    site.publish([message("31.2".to_owned())]);
    wait_until("stored", || site.service.json("/healthz")["health"]["readings"] == 1);
    // A broker that comes back has us knock again, with everything that is said on the way.
    site.broker.stop();
    wait_until("noticed", || site.service.json("/healthz")["health"]["intake"] != "connected");
    site.broker.restart();
    wait_until("back", || site.service.json("/healthz")["health"]["intake"] == "connected");
    let pages = ["/healthz", "/", "/api/v1/machines"].map(|path| site.service.get(path).1);
    let log = site.log();
    assert!(log.contains("subscribed"), "the log tells something: {log}");
    assert!(!log.contains(PASSWORD), "the password is in the log");
    assert!(pages.iter().all(|page| !page.contains(PASSWORD)), "the password is on a page");
    site.service.stop();
}

#[test]
fn a_flood_of_bad_messages_fills_neither_log_nor_disk() {
    let site = Site::start("info");
    let (lines, bytes) = (site.log().lines().count(), size(&site.data()));
    let sent = site.publish((0..BAD).map(|n| message(format!("warm {n} ").repeat(40))));
    assert_eq!(sent.published, BAD);
    wait_until("all are counted", || site.service.json("/healthz")["health"]["rejected"] == BAD);
    let log = site.log();
    assert!(log.contains("messages could not be read"), "{log}");
    assert!(log.lines().count() <= lines + 3, "{log}");
    let grown = size(&site.data()).saturating_sub(bytes);
    assert!(grown < 1 << 20, "{grown} bytes on disk for {BAD} bad messages");
    site.service.stop();
}
