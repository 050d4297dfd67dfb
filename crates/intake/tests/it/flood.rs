//! Floods: of messages that cannot be read, and of readings from one machine. Neither stops the others, fills the disk or
//! goes unsaid.

use std::fs;

use tempfile::tempdir;
use testkit::{Mosquitto, eventually};

use crate::rig::{Rig, assert_stored, message, publish_beside, reading, readings};

const BAD: usize = 30_000;

/// Bytes of everything in the folder.
fn size(folder: &std::path::Path) -> u64 {
    fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().metadata().unwrap().len()).sum()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_flood_of_bad_messages_costs_no_disk_and_stops_nobody() {
    let (folder, broker_folder) = (tempdir().unwrap(), tempdir().unwrap());
    let broker =
        Mosquitto::start(broker_folder.path(), &["max_queued_messages 0", "max_inflight_messages 1000"]);
    let address = broker.url().parse().unwrap();
    let rig = Rig::start(folder.path(), broker.url().parse().unwrap());
    eventually("connected", || rig.is_connected()).await;
    let before = size(folder.path());
    let bad =
        (0..BAD).map(|n| message("works/alder/chocolate", format!("warm {n} ").repeat(40).as_bytes(), false));
    let flood = publish_beside(&address, bad.collect());
    let good = publish_beside(&address, readings("birch", 500));
    assert_eq!((flood.await.unwrap().published, good.await.unwrap().published), (BAD as u64, 500));
    eventually("all handed on", || rig.distinct() == 500).await;
    eventually("all acknowledged", || rig.stats.counts().acknowledged == BAD as u64 + 500).await;
    assert_eq!(rig.stats.counts().rejected, BAD as u64, "each is counted");
    assert_eq!(rig.stats.rejects().len(), 1_000, "the newest are kept");
    let grown = size(folder.path()) - before;
    assert!(grown < 500 * 1_000, "{grown} bytes for 500 readings");
    rig.stop().await.unwrap();
    assert_stored(folder.path(), &["birch"], 500);
}

/// Seven thousand readings within a minute of their own time: all stored, and told.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_machine_that_sends_too_much_is_told_and_nothing_of_it_is_lost() {
    let folder = tempdir().unwrap();
    let broker = Mosquitto::start(folder.path(), &["max_queued_messages 0", "max_inflight_messages 1000"]);
    let address = broker.url().parse().unwrap();
    let rig = Rig::start(folder.path(), broker.url().parse().unwrap());
    eventually("connected", || rig.is_connected()).await;
    let many = publish_beside(&address, readings("alder", 7_000));
    let few = publish_beside(&address, readings("birch", 100));
    assert_eq!((many.await.unwrap().published, few.await.unwrap().published), (7_000, 100));
    eventually("all handed on", || rig.distinct() == 7_100).await;
    let floods: Vec<String> = rig.stats.floods().iter().map(ToString::to_string).collect();
    assert_eq!(floods.len(), 1);
    assert!(floods[0].starts_with("alder sends too much: 6301 readings in the minute from "), "{floods:?}");
    // Two minutes later it has come to its senses.
    let later = |minute: i64| reading("alder", minute * 60_000);
    publish_beside(&address, vec![later(2), later(4)]).await.unwrap();
    eventually("it is over", || rig.stats.floods().is_empty()).await;
    rig.stop().await.unwrap();
}
