//! A journal that takes nothing: a second connection holds SQLite's write lock, as a backup program might.

use std::time::{Duration, Instant};

use intake::{IntakeError, IntakeState, NotKept};
use rusqlite::Connection;
use tempfile::tempdir;
use testkit::{Mosquitto, eventually};
use tokio::sync::mpsc;

use crate::rig::{
    Rig, arrival, assert_stored, assert_stored_once, durable, expected, journal_file, keys, publish, reading,
    readings,
};

fn lock(folder: &std::path::Path) -> Connection {
    let other = Connection::open(journal_file(folder)).unwrap();
    other.busy_timeout(Duration::from_secs(5)).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    other
}

fn is_stalled(rig: &Rig) -> bool {
    matches!(rig.stats.state(), IntakeState::Stalled { why } if why.contains("is locked"))
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_locked_journal_is_told_and_waited_out_without_loss_or_doubles() {
    let folder = tempdir().unwrap();
    let broker = Mosquitto::start_persistent(folder.path(), &["max_inflight_messages 1000"]);
    let address = broker.url().parse().unwrap();
    let rig = Rig::start(folder.path(), broker.url().parse().unwrap());
    eventually("connected", || rig.is_connected()).await;
    publish(&address, readings("alder", 100)).await;
    eventually("handed on", || rig.distinct() == 100).await;

    let other = lock(folder.path());
    publish(&address, (100..5_000).map(|n| reading("alder", n)).collect()).await;
    eventually("stalled", || is_stalled(&rig)).await;
    let counts = rig.stats.counts();
    assert_eq!(
        (counts.readings, counts.acknowledged),
        (100, 100),
        "nothing is acknowledged that is not on disk"
    );
    assert!(counts.messages <= 100 + 1000, "the broker keeps what goes beyond the receive maximum");
    other.execute_batch("ROLLBACK").unwrap();

    eventually("all handed on", || rig.distinct() == 5_000).await;
    assert_eq!(rig.stats.state(), IntakeState::Connected);
    assert_eq!(rig.stats.counts().connections, 1, "the connection was kept, so nothing came twice");
    rig.stop().await.unwrap();
    assert_stored_once(folder.path(), &["alder"], 5_000);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn stopping_while_the_journal_takes_nothing_leaves_the_rest_with_the_broker() {
    let folder = tempdir().unwrap();
    let broker = Mosquitto::start_persistent(folder.path(), &[]);
    let address = broker.url().parse().unwrap();
    let rig = Rig::start(folder.path(), broker.url().parse().unwrap());
    eventually("connected", || rig.is_connected()).await;
    let other = lock(folder.path());
    publish(&address, readings("alder", 50)).await;
    eventually("stalled", || is_stalled(&rig)).await;
    let submit = rig.submit.clone();
    let submitted = tokio::spawn(async move { submit.submit(vec![arrival("birch", 0)]).await });

    let asked = Instant::now();
    let stopped = rig.stop().await;
    assert!(asked.elapsed() < Duration::from_secs(5), "{:?}", asked.elapsed());
    let Err(error @ IntakeError::StoppedLate { .. }) = stopped else { panic!("{stopped:?}") };
    assert!(error.to_string().ends_with("what was not acknowledged stays with the broker"), "{error}");
    assert_eq!(submitted.await.unwrap(), Err(NotKept));
    other.execute_batch("ROLLBACK").unwrap();

    eventually("the journal has been let go", || journal::Journal::open(journal_file(folder.path())).is_ok())
        .await;
    let rig = Rig::start(folder.path(), broker.url().parse().unwrap());
    eventually("delivered again", || rig.distinct() >= 50).await;
    rig.stop().await.unwrap();
    assert_stored(folder.path(), &["alder"], 50);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_submitted_is_answered_when_it_is_on_disk() {
    let folder = tempdir().unwrap();
    let broker = Mosquitto::start(folder.path(), &[]);
    let rig = Rig::start(folder.path(), broker.url().parse().unwrap());
    rig.submit.submit(vec![arrival("alder", 7)]).await.unwrap();
    eventually("handed on", || rig.distinct() == 1).await;

    let other = lock(folder.path());
    let submit = rig.submit.clone();
    let waiting = tokio::spawn(async move { submit.submit(vec![arrival("birch", 8)]).await });
    eventually("stalled", || is_stalled(&rig)).await;
    assert!(!waiting.is_finished(), "no answer before it is on disk");
    other.execute_batch("ROLLBACK").unwrap();
    waiting.await.unwrap().unwrap();
    rig.stop().await.unwrap();
    assert_eq!(keys(&durable(folder.path())), [("alder".to_owned(), 7), ("birch".to_owned(), 8)]);
}

/// Whoever takes the blocks is behind: then so are we, and the broker waits. Nothing is dropped, nothing is given up.
/// More is published than two blocks and the queue in front of the journal hold, 500 each and 2,000.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_slow_taker_holds_everything_back() {
    const ALL: u32 = 6_000;
    let folder = tempdir().unwrap();
    let broker = Mosquitto::start_persistent(folder.path(), &["max_inflight_messages 100"]);
    let address = broker.url().parse().unwrap();
    let (blocks, mut taken) = mpsc::channel(1);
    let rig = Rig::start_into(folder.path(), broker.url().parse().unwrap(), blocks, |_| {});
    eventually("connected", || rig.is_connected()).await;
    publish(&address, readings("alder", ALL.into())).await;
    eventually("held back", || {
        let counts = rig.stats.counts();
        counts.messages < ALL.into() && counts.messages > counts.acknowledged && counts.blocks == 2
    })
    .await;
    let mut seen = Vec::new();
    while seen.len() < ALL as usize {
        seen.extend(taken.recv().await.unwrap().arrivals);
    }
    assert_eq!(keys(&seen), Vec::from_iter(expected(&["alder"], ALL.into())));
    assert_eq!(rig.stats.counts().given_up, 0);
    rig.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn blocks_that_nobody_takes_end_the_intake() {
    let folder = tempdir().unwrap();
    let broker = Mosquitto::start(folder.path(), &[]);
    let (blocks, taken) = mpsc::channel(1);
    drop(taken);
    let rig = Rig::start_into(folder.path(), broker.url().parse().unwrap(), blocks, |_| {});
    rig.submit.submit(vec![arrival("alder", 1)]).await.unwrap();
    assert!(matches!(rig.ended().await, Err(IntakeError::BlocksNotTaken)));
    assert_eq!(durable(folder.path()).len(), 1, "what was answered is on disk");
}
