//! A small file system that really fills: a `tmpfs` of some megabytes, which needs root. Elsewhere the disk of [`disk`](super::disk)
//! alone refuses writes, as in the long run.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use testkit::{Mosquitto, wait_until, wait_while_growing};

use crate::program::Service;
use crate::zero_loss::publishers::{Publisher, timed};

/// Room for a fresh data folder and some seconds of readings.
const SMALL: &str = "size=3m";
const ROOMY: &str = "size=200m";

/// Mounted for as long as it lives.
struct SmallDisk {
    path: PathBuf,
}

impl SmallDisk {
    /// `None` where we may not mount.
    fn mount(path: PathBuf) -> Option<SmallDisk> {
        fs::create_dir(&path).unwrap();
        mount(&["-t", "tmpfs", "-o", SMALL, "none"], &path).then_some(SmallDisk { path })
    }

    fn make_room(&self) {
        assert!(mount(&["-o", &format!("remount,{ROOMY}")], &self.path));
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        // Lazily, because a service that is being killed may still hold it for a moment.
        let _ = Command::new("umount").arg("-l").arg(&self.path).status();
    }
}

fn mount(args: &[&str], path: &Path) -> bool {
    let done = Command::new("mount").args(args).arg(path).output();
    done.is_ok_and(|done| done.status.success())
}

#[test]
fn a_small_file_system_fills_and_goes_on_when_there_is_room() {
    let folder = tempfile::tempdir().unwrap();
    let Some(small) = SmallDisk::mount(folder.path().join("small")) else {
        eprintln!(
            "cannot mount a tmpfs here (that needs root): the full disk is the one of the zero-loss run alone"
        );
        return;
    };
    let broker_folder = folder.path().join("broker");
    fs::create_dir(&broker_folder).unwrap();
    let broker = Mosquitto::start_persistent(&broker_folder, &["max_inflight_messages 1000"]);
    let plant = folder.path().join("plant.toml");
    fs::write(&plant, super::site::plant(&broker.url())).unwrap();
    let data = small.path.join("data");
    let service = Service::start(&plant, &data);
    let health = || service.json("/healthz")["health"].clone();
    wait_until("connected", || health()["intake"] == "connected");
    let publisher = Publisher::start(&broker.url(), "alder", 2_000, timed);
    wait_until("the disk is full and that is told", || {
        let health = health();
        health["intake"] == "held" && health["troubles"].to_string().contains("is full")
    });
    let stored = health()["readings"].as_u64().unwrap();
    small.make_room();
    wait_until("it goes on", || stored + 5_000 < health()["readings"].as_u64().unwrap());
    let acknowledged = publisher.stop();
    wait_while_growing(
        "the last message is stored",
        || health()["readings"].as_u64().unwrap(),
        || super::site::is_stored(&data, "alder", acknowledged - 1),
    );
    assert_eq!(health()["intake"], "connected");
    service.stop();
    let account = super::site::account(&data, "alder", acknowledged);
    assert_eq!((account.lost, account.doubled, account.strange), (0, 0, 0), "{account}");
}
