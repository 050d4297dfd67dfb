//! The everyday: several clients, both versions, a broker that restarts.

use tempfile::tempdir;
use testkit::{Mosquitto, eventually};

use crate::rig::{Rig, assert_stored, assert_stored_once, durable, keys, publish, publish_beside, v311};

async fn two_clients(change: impl FnOnce(&mut intake::IntakeConfig)) {
    let folder = tempdir().unwrap();
    let broker = Mosquitto::start(folder.path(), &[]);
    let address = broker.url().parse().unwrap();
    let rig = Rig::start_with(folder.path(), broker.url().parse().unwrap(), change);
    eventually("connected", || rig.is_connected()).await;
    let alder = publish_beside(&address, crate::rig::readings("alder", 500));
    let birch = publish_beside(&address, crate::rig::readings("birch", 500));
    assert_eq!((alder.await.unwrap().published, birch.await.unwrap().published), (500, 500));
    eventually("all handed on", || rig.distinct() == 1000).await;
    let counts = rig.stats.counts();
    assert_eq!((counts.messages, counts.readings, counts.acknowledged), (1000, 1000, 1000));
    assert_eq!((counts.connections, counts.given_up, counts.rejected), (1, 0, 0));
    assert!(counts.blocks < 1000, "messages that come together are kept together");
    rig.stop().await.unwrap();

    let stored = keys(&durable(folder.path()));
    let of_alder: Vec<i64> =
        stored.iter().filter(|(machine, _)| machine == "alder").map(|(_, n)| *n).collect();
    assert_eq!(of_alder, (0..500).collect::<Vec<i64>>(), "in the order in which they came, each once");
    assert_stored_once(folder.path(), &["alder", "birch"], 500);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn two_clients_over_mqtt_5() {
    two_clients(|_| {}).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn two_clients_over_mqtt_3_1_1() {
    two_clients(v311).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broker_that_restarts_under_load_loses_nothing() {
    let folder = tempdir().unwrap();
    let mut broker = Mosquitto::start_persistent(folder.path(), &["max_inflight_messages 100"]);
    let address = broker.url().parse().unwrap();
    let rig = Rig::start(folder.path(), broker.url().parse().unwrap());
    eventually("connected", || rig.is_connected()).await;
    let publisher = publish_beside(&address, crate::rig::readings("alder", 20_000));
    for seen in [2_000, 7_000] {
        eventually("messages flow", || rig.messages() > seen).await;
        broker.stop();
        broker.restart();
    }
    assert_eq!(publisher.await.unwrap().published, 20_000);
    eventually("all handed on", || rig.distinct() == 20_000).await;
    let counts = rig.stats.counts();
    assert_eq!(counts.connections, 3, "one connection a start of the broker");
    assert_eq!(rig.stats.possible_gaps(), [], "the sessions came back with the broker");
    rig.stop().await.unwrap();
    assert_stored(folder.path(), &["alder"], 20_000);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broker_that_has_forgotten_us_means_a_possible_gap() {
    let folder = tempdir().unwrap();
    let mut broker = Mosquitto::start(folder.path(), &[]);
    let address = broker.url().parse().unwrap();
    let rig = Rig::start(folder.path(), broker.url().parse().unwrap());
    eventually("connected", || rig.is_connected()).await;
    assert_eq!(rig.stats.possible_gaps(), [], "a new plant has no past to miss");
    publish(&address, crate::rig::readings("alder", 1)).await;
    eventually("one message", || rig.messages() == 1).await;
    let heard = rig.stats.last_arrival().unwrap();
    broker.kill();
    eventually("told", || !rig.is_connected()).await;
    broker.restart();
    eventually("connected again", || rig.is_connected()).await;
    let gaps = rig.stats.possible_gaps();
    assert_eq!(gaps.len(), 1);
    assert_eq!(gaps[0].from, heard);
    assert!(gaps[0].from <= gaps[0].to);
    publish(&address, crate::rig::readings("alder", 10)).await;
    eventually("subscribed anew", || rig.messages() == 11).await;
    rig.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_plant_with_a_past_misses_its_session_at_the_first_connection_too() {
    let folder = tempdir().unwrap();
    let broker = Mosquitto::start(folder.path(), &[]);
    let past = crate::rig::at(0);
    let rig =
        Rig::start_with(folder.path(), broker.url().parse().unwrap(), |config| config.heard = Some(past));
    eventually("connected", || rig.is_connected()).await;
    assert_eq!(rig.stats.possible_gaps().first().map(|gap| gap.from), Some(past));
    rig.stop().await.unwrap();
}
