//! A broker that loses our session and gives out packet ids from the beginning, and what comes again after that.

use std::collections::BTreeSet;

use tempfile::tempdir;
use testkit::eventually;

use crate::rig::{DAY, Rig, durable, journal_file, keys};
use crate::scripted::{PUBACK, Scripted};
use crate::sparkplug;

const MESSAGES: i64 = 40;

fn pack(n: i64) -> Vec<u8> {
    format!(r#"[{{"n":"chocolate","t":{:.3},"v":31.25}}]"#, (DAY + n) as f64 / 1000.0).into_bytes()
}

/// The messages of the first session are taken and not yet stored when the broker forgets it; the second session gives their packet
/// ids to other messages. Each acknowledgement of the second session must be for a message of the second session that is on disk,
/// and no message of either is lost.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn packet_ids_of_a_lost_session_acknowledge_nothing_of_the_next() {
    let folder = tempdir().unwrap();
    let (broker, address) = Scripted::start().await;
    let rig = Rig::start(folder.path(), address);
    let mut first = broker.welcome(false).await;
    let lock = rusqlite::Connection::open(journal_file(folder.path())).unwrap();
    lock.execute_batch("BEGIN IMMEDIATE").unwrap();
    for n in 0..MESSAGES {
        first.deliver(b"works/alder", n as u16 + 1, &pack(n)).await;
    }
    eventually("all came", || rig.messages() == MESSAGES as u64).await;
    drop(first);
    eventually("noticed", || !rig.is_connected()).await;
    lock.execute_batch("ROLLBACK").unwrap();
    eventually("the first session's messages are on disk", || rig.distinct() == MESSAGES as usize).await;

    let mut second = broker.welcome(false).await;
    lock.execute_batch("BEGIN IMMEDIATE").unwrap();
    for n in MESSAGES..2 * MESSAGES {
        second.deliver(b"works/alder", (n - MESSAGES) as u16 + 1, &pack(n)).await;
    }
    eventually("all came", || rig.messages() == 2 * MESSAGES as u64).await;
    assert_eq!(rig.stats.counts().acknowledged, 0, "nothing of either session has been acknowledged yet");
    lock.execute_batch("ROLLBACK").unwrap();
    for n in 0..MESSAGES {
        assert_eq!(second.expect(PUBACK).await.packet_id(), n as u16 + 1);
    }
    assert_eq!(rig.stats.possible_gaps().len(), 1, "a lost session is a possible gap");
    drop(second);
    rig.stop().await.unwrap();
    let stored = keys(&durable(folder.path()));
    let distinct: BTreeSet<_> = stored.iter().collect();
    assert_eq!((stored.len(), distinct.len()), (2 * MESSAGES as usize, 2 * MESSAGES as usize));
}

/// A bare number that comes again is stored again, and told: it cannot be known to be the same one.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_bare_number_that_comes_again_is_stored_and_told() {
    let folder = tempdir().unwrap();
    let (broker, address) = Scripted::start().await;
    let rig = Rig::start(folder.path(), address);
    let mut first = broker.welcome(false).await;
    first.deliver(b"works/alder/chocolate", 1, b"31.2").await;
    eventually("stored", || rig.stats.counts().readings == 1).await;
    drop(first);

    let mut second = broker.welcome(true).await;
    second.deliver_again(b"works/alder/chocolate", 1, b"31.2").await;
    assert_eq!(second.expect(PUBACK).await.packet_id(), 1);
    assert_eq!((rig.stats.counts().readings, rig.stats.counts().maybe_twice), (2, 1));
    // One with a time of its own is the same reading, however often it comes.
    second.deliver_again(b"works/alder", 2, &pack(0)).await;
    assert_eq!(second.expect(PUBACK).await.packet_id(), 2);
    assert_eq!(rig.stats.counts().maybe_twice, 1);
    // What waits for its birth cannot be known to be the same one, either.
    second.deliver_again(b"spBv1.0/hall/DDATA/edge/alder", 3, &sparkplug::bytes(sparkplug::DATA)).await;
    eventually("told", || rig.stats.counts().maybe_twice == 2).await;
    drop(second);
    rig.stop().await.unwrap();
}
