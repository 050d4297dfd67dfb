//! A works for one run: broker, wire, disk, service and publishers, and what can be done to them.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use tempfile::TempDir;
use testkit::{Mosquitto, Proxy, wait_until, wait_while_growing};

use crate::program::{Service, output};
use crate::zero_loss::disk::Disk;
use crate::zero_loss::faults::Dice;
use crate::zero_loss::publishers::{Publisher, bare, time, timed, value};
use crate::zero_loss::tally::{Account, Outcome};

/// Machines whose messages carry their own time, and the one that sends bare numbers.
const TIMED: [&str; 3] = ["alder", "birch", "cedar"];
const BARE: &str = "elm";

/// Messages a second of each: together enough that every fault hits messages on their way.
const TIMED_PER_SECOND: u64 = 1_000;
const BARE_PER_SECOND: u64 = 50;

/// What the broker may have on the way to us (the receive maximum).
const WINDOW: u64 = 1_000;

/// A service is hit after so many readings at most.
const READINGS_BEFORE: u64 = 2_000;

pub(crate) struct Site {
    folder: TempDir,
    broker: Mosquitto,
    wire: Proxy,
    disk: Disk,
    publishers: Vec<Publisher>,
    /// `None` only between an end and the next start.
    service: Option<Service>,
    dice: Dice,
}

/// What the service says of itself.
struct Health(serde_json::Value);

impl Health {
    fn count(&self, name: &str) -> u64 {
        self.0[name].as_u64().unwrap()
    }

    fn is(&self, state: &str) -> bool {
        self.0["intake"] == state
    }
}

impl Site {
    pub(crate) fn open(seed: u64) -> Site {
        let folder = tempfile::tempdir().unwrap();
        let broker_folder = folder.path().join("broker");
        fs::create_dir(&broker_folder).unwrap();
        let broker = Mosquitto::start_persistent(&broker_folder, &["max_inflight_messages 1000"]);
        let wire = Proxy::to(broker.port());
        fs::write(folder.path().join("plant.toml"), plant(&wire.url())).unwrap();
        let disk = Disk::build(folder.path(), &folder.path().join("data"));
        let mut site =
            Site { folder, broker, wire, disk, publishers: Vec::new(), service: None, dice: Dice(seed) };
        // The session has to be there before the first message, or the broker delivers it to nobody.
        site.start();
        wait_until("connected", || site.health().is("connected"));
        let url = site.broker.url();
        let timed = TIMED.map(|machine| Publisher::start(&url, machine, TIMED_PER_SECOND, timed));
        site.publishers.extend(timed);
        site.publishers.push(Publisher::start(&url, BARE, BARE_PER_SECOND, bare));
        site
    }

    /// Messages that the publishers have handed over.
    pub(crate) fn published(&self) -> u64 {
        self.publishers.iter().map(Publisher::sent).sum()
    }

    fn data(&self) -> PathBuf {
        self.folder.path().join("data")
    }

    fn start(&mut self) {
        let plant = self.folder.path().join("plant.toml");
        let service = Service::start_in(&plant, &self.data(), &self.disk.environment());
        self.service = Some(service);
    }

    fn service(&self) -> &Service {
        self.service.as_ref().expect("a service runs between faults")
    }

    fn health(&self) -> Health {
        Health(self.service().json("/healthz")["health"].clone())
    }

    /// Waits until this run of the service has taken some more readings, so that the fault hits it at work.
    fn wait_for_work(&mut self) {
        let more = 1 + self.dice.throw(READINGS_BEFORE);
        let before = self.health().count("readings");
        wait_until("readings are taken", || before + more <= self.health().count("readings"));
    }

    fn kill(&mut self) {
        self.service.take().expect("a service runs between faults").kill();
    }

    pub(crate) fn kill_service(&mut self) {
        self.wait_for_work();
        self.kill();
        self.start();
    }

    pub(crate) fn kill_service_at_start(&mut self) {
        self.wait_for_work();
        self.kill();
        self.start();
        self.kill();
        self.start();
    }

    pub(crate) fn stop_broker(&mut self) {
        self.wait_for_work();
        self.broker.stop();
        wait_until("the end is noticed", || !self.health().is("connected"));
        self.broker.restart();
        self.wait_for_work();
    }

    pub(crate) fn cut_wire(&mut self) {
        self.wait_for_work();
        let connections = self.wire.connections();
        wait_until("something is cut", || 0 < self.wire.cut());
        wait_until("connected anew", || connections < self.wire.connections());
        self.wait_for_work();
    }

    pub(crate) fn freeze_wire(&mut self) {
        self.wait_for_work();
        self.wire.freeze();
        let (passed, sent) = (self.wire.forwarded(), self.published());
        wait_until("messages pile up", || sent + 2 * WINDOW < self.published());
        // What was in the hands of a thread when the wire froze may still have been counted.
        assert!(self.wire.forwarded() <= passed + 64 * 1024, "nothing passes");
        self.wire.thaw();
        self.wait_for_work();
    }

    /// Returns with the disk frozen, the broker's window full and nothing stored any more.
    fn freeze_at_work(&mut self) {
        self.wait_for_work();
        self.disk.freeze();
        wait_until("the window is full", || {
            let health = self.health();
            health.count("readings") + WINDOW <= health.count("messages")
        });
        wait_until("it is told", || self.health().is("held"));
    }

    pub(crate) fn freeze_disk(&mut self) {
        self.freeze_at_work();
        self.disk.thaw();
        self.wait_for_work();
        wait_until("it is over", || self.health().is("connected"));
    }

    pub(crate) fn kill_while_disk_is_frozen(&mut self) {
        self.freeze_at_work();
        self.kill();
        self.disk.thaw();
        self.start();
    }

    pub(crate) fn fill_disk(&mut self) {
        self.wait_for_work();
        self.disk.fill();
        wait_until("it is told", || {
            let health = self.health();
            health.is("held") && health.0["troubles"].to_string().contains("is full")
        });
        self.disk.make_room();
        self.wait_for_work();
        wait_until("it is over", || self.health().is("connected"));
    }

    /// Ends the publishers, waits until everything has come, stops the service and counts.
    pub(crate) fn close(mut self) -> Outcome {
        let publishers = std::mem::take(&mut self.publishers);
        let acknowledged: BTreeMap<&str, u64> =
            publishers.into_iter().map(|publisher| (publisher.machine, publisher.stop())).collect();
        for machine in TIMED {
            let last = acknowledged[machine] - 1;
            wait_while_growing(
                "the last message is stored",
                || self.health().count("readings"),
                || is_stored(&self.data(), machine, last),
            );
        }
        // By its value. Counts would not do: a message whose connection is given up is counted, and counted again when it comes again.
        let last = (acknowledged[BARE] - 1) as f64 / 1000.0;
        wait_while_growing(
            "the last bare number is stored",
            || self.health().count("readings"),
            || rows(&self.data(), BARE, &[]).iter().any(|(_, value)| (value - last).abs() < 5e-4),
        );
        self.service.take().expect("a service runs between faults").stop();
        Outcome {
            timed: TIMED.map(|machine| account(&self.data(), machine, acknowledged[machine])).to_vec(),
            bare: self.account_of_bare(acknowledged[BARE]),
        }
    }

    /// A bare number has no time that would tell it; its value does.
    fn account_of_bare(&self, acknowledged: u64) -> Account {
        let mut times: BTreeMap<u64, u64> = BTreeMap::new();
        for (_, value) in rows(&self.data(), BARE, &[]) {
            *times.entry((value * 1000.0).round() as u64).or_default() += 1;
        }
        Account {
            machine: BARE.to_owned(),
            acknowledged,
            lost: (0..acknowledged).filter(|n| !times.contains_key(n)).count() as u64,
            doubled: times.values().filter(|times| 1 < **times).count() as u64,
            strange: times.keys().filter(|n| acknowledged <= **n).count() as u64,
        }
    }
}

/// Time and value of every reading, as `halfdegree export` gives them back.
fn rows(data: &Path, machine: &str, more: &[&str]) -> Vec<(String, f64)> {
    let mut args = vec!["export", "--data", data.to_str().unwrap(), "--machine", machine];
    args.extend(more);
    let csv = output(&args);
    let mut lines = csv.lines();
    let columns: Vec<&str> = lines.next().unwrap_or_default().split(',').collect();
    let Some(column) = columns.iter().position(|name| *name == "chocolate") else { return Vec::new() };
    lines
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            let at: model::Timestamp = cells[0].parse().unwrap();
            (at.to_string(), cells[column].parse().unwrap())
        })
        .collect()
}

/// Is the message with this number there? They come in their order, so the last one is there only when all are, or when some are lost.
pub(crate) fn is_stored(data: &Path, machine: &str, number: u64) -> bool {
    !rows(data, machine, &["--from", &time(number).to_string()]).is_empty()
}

/// Compares what is there with a sequence of messages that carry their own times.
pub(crate) fn account(data: &Path, machine: &str, acknowledged: u64) -> Account {
    let mut there: BTreeMap<String, Vec<f64>> = BTreeMap::new();
    for (at, value) in rows(data, machine, &[]) {
        there.entry(at).or_default().push(value);
    }
    let mut account = Account { machine: machine.to_owned(), acknowledged, ..Account::default() };
    for n in 0..acknowledged {
        match there.remove(&time(n).to_string()).as_deref() {
            Some([stored]) if (stored - value(n)).abs() < 5e-4 => {}
            Some([_]) | None => account.lost += 1,
            Some(_) => account.doubled += 1,
        }
    }
    account.strange = there.len() as u64;
    account
}

/// The plant of this works, at the broker with this address.
pub(crate) fn plant(url: &str) -> String {
    let mut text = format!(
        "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n\n[mqtt]\nurl = \"{url}\"\n\n\
         [[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n"
    );
    for machine in TIMED.iter().chain([&BARE]) {
        text += &format!(
            "\n[[machine]]\nid = \"{machine}\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\n"
        );
    }
    text
}
