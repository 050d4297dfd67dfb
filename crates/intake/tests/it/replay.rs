//! The replay publisher.

use std::time::Instant;

use intake::{Dialect, Pace, Progress, ReplayConfig};
use tempfile::tempdir;
use testkit::{Mosquitto, eventually};

use crate::rig::{Rig, assert_stored, at, message, reading, readings};

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broker_that_is_not_there_is_told_at_once() {
    let config = ReplayConfig::new("mqtt://127.0.0.1:1".parse().unwrap(), Pace::UNPACED);
    let error = intake::replay(config, readings("alder", 1), |_| {}).await.unwrap_err().to_string();
    assert!(
        error.starts_with(
            "cannot publish to mqtt://127.0.0.1:1: cannot reach the broker at mqtt://127.0.0.1:1: "
        ),
        "{error}"
    );
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn keeps_time_order_and_the_retained_flag_and_tells_how_far_it_is() {
    let folder = tempdir().unwrap();
    let broker = Mosquitto::start(folder.path(), &[]);
    // 1.5 s of recording, five times as fast.
    let mut messages: Vec<_> = (0..=15).map(|n| reading("alder", 100 * n)).collect();
    messages.push(message("works/alder/room", b"21.5", true));
    let mut seen: Vec<Progress> = Vec::new();
    let config = ReplayConfig {
        first_try: Dialect::V311,
        ..ReplayConfig::new(broker.url().parse().unwrap(), Pace::times(5.0).unwrap())
    };
    let rig = Rig::start(folder.path(), broker.url().parse().unwrap());
    eventually("connected", || rig.is_connected()).await;
    let started = Instant::now();
    let last = intake::replay(config, messages, |progress| seen.push(progress)).await.unwrap();
    assert!(started.elapsed().as_millis() >= 300, "{:?}", started.elapsed());
    assert_eq!(seen.len(), 17);
    assert!(seen.windows(2).all(|pair| pair[0].published < pair[1].published));
    assert_eq!(seen[15], Progress { published: 16, refused: 0, at: Some(at(1500)) });
    assert_eq!(seen.last(), Some(&last));
    eventually("all came", || rig.messages() == 17).await;
    rig.stop().await.unwrap();

    // The broker has kept the retained one for a subscriber that comes later.
    let late = tempdir().unwrap();
    let rig = Rig::start_with(late.path(), broker.url().parse().unwrap(), |config| {
        config.client_id = "late".into()
    });
    eventually("the retained message", || rig.messages() == 1).await;
    rig.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn says_done_only_when_the_broker_has_everything() {
    let folder = tempdir().unwrap();
    let mut broker = Mosquitto::start_persistent(folder.path(), &[]);
    let address: intake::BrokerAddress = broker.url().parse().unwrap();
    let rig = Rig::start(folder.path(), address.clone());
    eventually("connected", || rig.is_connected()).await;
    rig.stop().await.unwrap();
    // The subscriber is away: the broker queues for its session, and a stopped broker comes back in the middle.
    let (progress, mut published) = tokio::sync::watch::channel(0);
    let config = ReplayConfig::new(address.clone(), Pace::UNPACED);
    let replay = tokio::spawn(async move {
        intake::replay(config, readings("alder", 30_000), |now| {
            progress.send_replace(now.published);
        })
        .await
    });
    published.wait_for(|published| *published > 2_000).await.unwrap();
    broker.stop();
    broker.restart();
    assert_eq!(replay.await.unwrap().unwrap().published, 30_000);
    let rig = Rig::start(folder.path(), address);
    eventually("all came", || rig.distinct() == 30_000).await;
    rig.stop().await.unwrap();
    assert_stored(folder.path(), &["alder"], 30_000);
}
