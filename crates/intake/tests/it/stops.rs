//! Ends of every kind while messages flow: told to stop, thrown away, and started again on the same session.

use std::time::Instant;

use tempfile::tempdir;
use testkit::{Mosquitto, eventually, wait_until};
use tokio::runtime::{Builder, Runtime};

use crate::rig::{
    Rig, assert_stored, assert_stored_once, durable, durable_keys, publish_beside, readings, v311,
};

async fn stopped_and_started_again(change: fn(&mut intake::IntakeConfig)) {
    let folder = tempdir().unwrap();
    let broker = Mosquitto::start_persistent(folder.path(), &["max_inflight_messages 100"]);
    let address: intake::BrokerAddress = broker.url().parse().unwrap();
    let mut rig = Rig::start_with(folder.path(), address.clone(), change);
    eventually("connected", || rig.is_connected()).await;
    let publisher = publish_beside(&address, readings("alder", 20_000));
    for _ in 0..4 {
        let stats = std::sync::Arc::clone(&rig.stats);
        eventually("messages flow", || stats.counts().messages > 1_000).await;
        rig.stop().await.unwrap();
        rig = Rig::start_with(folder.path(), address.clone(), change);
    }
    assert_eq!(publisher.await.unwrap().published, 20_000);
    eventually("all stored", || durable(folder.path()).len() >= 20_000).await;
    rig.stop().await.unwrap();
    // Told to stop, the intake acknowledges what it has stored, so nothing comes twice.
    assert_stored_once(folder.path(), &["alder"], 20_000);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn told_to_stop_under_load_nothing_is_lost_or_doubled() {
    stopped_and_started_again(|_| {}).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn told_to_stop_under_load_over_mqtt_3_1_1() {
    stopped_and_started_again(v311).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn stopping_before_there_is_a_broker_is_quick() {
    let folder = tempdir().unwrap();
    let rig = Rig::start(folder.path(), "mqtt://127.0.0.1:1".parse().unwrap());
    eventually("told", || matches!(rig.stats.state(), intake::IntakeState::Reconnecting { why } if why.contains("cannot reach"))).await;
    let asked = Instant::now();
    rig.stop().await.unwrap();
    assert!(asked.elapsed().as_secs() < 1);
}

/// Thrown away in the middle, as by a kill: tasks vanish where they stand, and the connection with them.
#[test]
fn thrown_away_under_load_everything_is_delivered_again() {
    let folder = tempdir().unwrap();
    let broker = Mosquitto::start_persistent(folder.path(), &["max_inflight_messages 1000"]);
    let address: intake::BrokerAddress = broker.url().parse().unwrap();
    let outside = runtime();
    let first = runtime();
    let rig = first.block_on(async { Rig::start(folder.path(), address.clone()) });
    wait_until("connected", || rig.is_connected());
    let publisher = {
        let _entered = outside.enter();
        publish_beside(&address, readings("alder", 20_000))
    };
    let mut inside = first;
    let mut stats = std::sync::Arc::clone(&rig.stats);
    let mut rigs = vec![rig];
    for _ in 0..4 {
        wait_until("messages flow", || stats.counts().messages > 500);
        inside.shutdown_background();
        wait_until("the journal has been let go", || {
            journal::Journal::open(crate::rig::journal_file(folder.path())).is_ok()
        });
        inside = runtime();
        let rig = inside.block_on(async { Rig::start(folder.path(), address.clone()) });
        stats = std::sync::Arc::clone(&rig.stats);
        rigs.push(rig);
    }
    assert_eq!(outside.block_on(publisher).unwrap().published, 20_000);
    let last = rigs.pop().unwrap();
    wait_until("all stored", || durable_keys(folder.path()).len() == 20_000);
    inside.block_on(last.stop()).unwrap();
    assert_stored(folder.path(), &["alder"], 20_000);
}

fn runtime() -> Runtime {
    Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap()
}

/// After an outage Mosquitto 2.0 sends all that it has kept at once, whatever we said about how many messages we take.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_long_queue_comes_over_one_connection_and_each_message_once() {
    let (folder, count) = (tempdir().unwrap(), 120_000);
    let broker = Mosquitto::start_persistent(folder.path(), &["max_inflight_messages 1000"]);
    let address: intake::BrokerAddress = broker.url().parse().unwrap();
    let start = || Rig::start(folder.path(), address.clone());
    let rig = start();
    eventually("connected", || rig.is_connected()).await;
    rig.stop().await.unwrap();
    assert_eq!(publish_beside(&address, readings("alder", count)).await.unwrap().published, count as u64);
    let rig = start();
    eventually("all stored", || rig.stats.counts().acknowledged == count as u64).await;
    assert_eq!((rig.messages(), rig.stats.counts().given_up), (count as u64, 0));
    rig.stop().await.unwrap();
    assert_stored_once(folder.path(), &["alder"], count);
    // All acknowledgements were written before we said goodbye.
    let rig = start();
    publish_beside(&address, readings("birch", 1)).await.unwrap();
    eventually("the newest", || rig.distinct() == 1).await;
    assert_eq!(rig.messages(), 1);
    rig.stop().await.unwrap();
}
