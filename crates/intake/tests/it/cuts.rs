//! Connections that break under load.

use tempfile::tempdir;
use testkit::{Mosquitto, Proxy, eventually};

use crate::rig::{Rig, assert_stored, publish_beside, reading, v311};

const CUTS: i64 = 6;
const SLICE: i64 = 4_000;

async fn cut_under_load(change: fn(&mut intake::IntakeConfig)) {
    let folder = tempdir().unwrap();
    let broker = Mosquitto::start_persistent(folder.path(), &["max_inflight_messages 1000"]);
    let proxy = Proxy::to(broker.port());
    let rig = Rig::start_with(folder.path(), proxy.url().parse().unwrap(), change);
    eventually("connected", || rig.is_connected()).await;
    let address = broker.url().parse().unwrap();
    for cut in 0..CUTS {
        // A slice of the stream for each cut, so that there is always something to cut.
        let slice = (SLICE * cut..SLICE * (cut + 1)).map(|n| reading("alder", n)).collect();
        let seen = rig.messages();
        let publisher = publish_beside(&address, slice);
        eventually("messages flow", || rig.messages() > seen + 500).await;
        proxy.cut();
        eventually("connected again", || rig.stats.counts().connections == 2 + cut as u64).await;
        assert_eq!(publisher.await.unwrap().published, SLICE as u64);
    }
    eventually("all handed on", || rig.distinct() == (CUTS * SLICE) as usize).await;
    assert_eq!(rig.stats.possible_gaps(), [], "the session outlived every connection");
    rig.stop().await.unwrap();
    assert_stored(folder.path(), &["alder"], CUTS * SLICE);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_cut_wire_loses_nothing() {
    cut_under_load(|_| {}).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_cut_wire_loses_nothing_over_mqtt_3_1_1() {
    cut_under_load(v311).await;
}
