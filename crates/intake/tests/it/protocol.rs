//! The rules of a session that only a scripted broker can check.

use intake::IntakeState;
use tempfile::tempdir;
use testkit::eventually;

use crate::rig::{DAY, Rig, durable, keys};
use crate::scripted::{CONNECT, DISCONNECT, PUBACK, SUBSCRIBE, Scripted};

fn pack(n: i64) -> Vec<u8> {
    format!(r#"[{{"n":"chocolate","t":{:.3},"v":31.25}}]"#, (DAY + n) as f64 / 1000.0).into_bytes()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn connects_as_agreed() {
    let folder = tempdir().unwrap();
    let (broker, address) = Scripted::start().await;
    let rig = Rig::start(folder.path(), address);
    let mut peer = broker.accept().await;
    let connect = peer.expect(CONNECT).await;
    // MQTT 5.0 section 3.1: name, level, flags, keep-alive, properties.
    assert_eq!(&connect.body[..7], b"\x00\x04MQTT\x05");
    assert_eq!(connect.body[7] & 0b10, 0, "clean start is off");
    assert_eq!(u16::from_be_bytes([connect.body[8], connect.body[9]]), 30, "keep-alive");
    let properties = &connect.body[11..11 + usize::from(connect.body[10])];
    let has = |wanted: &[u8]| properties.windows(wanted.len()).any(|window| window == wanted);
    assert!(has(&[0x21, 0x03, 0xe8]), "receive maximum 1,000: {properties:02x?}");
    assert!(
        has(&[&[0x11][..], &(30_u32 * 24 * 3600).to_be_bytes()].concat()),
        "session expiry: {properties:02x?}"
    );
    assert!(!has(&[0x22]), "no topic alias: {properties:02x?}");
    let client_id = &connect.body[11 + properties.len() + 2..];
    assert_eq!(client_id, b"halfdegree-test");

    peer.send(&[0x20, 3, 0, 0, 0]).await;
    let subscribe = peer.expect(SUBSCRIBE).await;
    peer.grant(&subscribe, 1).await;
    eventually("connected", || rig.is_connected()).await;
    let stopping = tokio::spawn(rig.stop());
    peer.expect(DISCONNECT).await;
    drop(peer);
    stopping.await.unwrap().unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn acknowledges_in_order_of_arrival_and_only_what_is_on_disk() {
    let folder = tempdir().unwrap();
    let (broker, address) = Scripted::start().await;
    let rig = Rig::start(folder.path(), address);
    let mut peer = broker.welcome(false).await;
    let ids = [7, 3, 900, 1, 65_535, 20];
    for (n, id) in ids.into_iter().enumerate() {
        peer.deliver(b"works/alder", id, &pack(n as i64)).await;
    }
    let on_disk = rusqlite::Connection::open(crate::rig::journal_file(folder.path())).unwrap();
    for (n, id) in ids.into_iter().enumerate() {
        assert_eq!(peer.expect(PUBACK).await.packet_id(), id);
        let stored: i64 =
            on_disk.query_row("SELECT coalesce(sum(arrivals), 0) FROM blocks", [], |row| row.get(0)).unwrap();
        assert!(stored > n as i64, "acknowledged before it was on disk");
    }
    drop(peer);
    rig.stop().await.unwrap();
}

/// The broker drops the connection before the acknowledgement and gives the same packet id to another message on the next.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn nothing_is_acknowledged_across_connections() {
    let folder = tempdir().unwrap();
    let (broker, address) = Scripted::start().await;
    let rig = Rig::start(folder.path(), address);
    let mut first = broker.welcome(false).await;
    let lock = rusqlite::Connection::open(crate::rig::journal_file(folder.path())).unwrap();
    lock.execute_batch("BEGIN IMMEDIATE").unwrap();
    first.deliver(b"works/alder", 1, &pack(1)).await;
    eventually("it came", || rig.messages() == 1).await;
    drop(first);
    eventually("noticed", || !rig.is_connected()).await;
    lock.execute_batch("ROLLBACK").unwrap();

    let mut second = broker.welcome(true).await;
    eventually("the first message is on disk", || rig.distinct() == 1).await;
    // The old acknowledgement has been tried by now, and has gone nowhere: the next one is for packet 2.
    second.deliver(b"works/alder", 2, &pack(2)).await;
    assert_eq!(second.expect(PUBACK).await.packet_id(), 2);
    second.deliver(b"works/alder", 1, &pack(3)).await;
    assert_eq!(second.expect(PUBACK).await.packet_id(), 1);
    drop(second);
    rig.stop().await.unwrap();
    assert_eq!(keys(&durable(folder.path())).len(), 3);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_refused_subscription_is_told() {
    const NOT_AUTHORISED: u8 = 0x87;
    let folder = tempdir().unwrap();
    let (broker, address) = Scripted::start().await;
    let rig = Rig::start(folder.path(), address);
    let mut peer = broker.accept().await;
    peer.expect(CONNECT).await;
    peer.send(&[0x20, 3, 0, 0, 0]).await;
    let subscribe = peer.expect(SUBSCRIBE).await;
    peer.grant(&subscribe, NOT_AUTHORISED).await;
    eventually("told", || {
        matches!(rig.stats.state(), IntakeState::Stalled { why } if why.contains("the broker refuses the subscription to `works/"))
    })
    .await;
    drop(peer);

    let mut peer = broker.accept().await;
    peer.expect(CONNECT).await;
    peer.send(&[0x20, 3, 0, 0, 0]).await;
    let subscribe = peer.expect(SUBSCRIBE).await;
    peer.grant(&subscribe, 0).await;
    eventually(
        "told",
        || matches!(rig.stats.state(), IntakeState::Stalled { why } if why.contains("at QoS 0 only")),
    )
    .await;
    drop(peer);
    rig.stop().await.unwrap();
}

/// A broker of 3.1.1 answers CONNECT of level 5 with return code 1 and hangs up (MQTT 3.1.1 section 3.1.2.2).
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn falls_back_to_3_1_1() {
    let folder = tempdir().unwrap();
    let (broker, address) = Scripted::start().await;
    let rig = Rig::start(folder.path(), address);
    let mut peer = broker.accept().await;
    assert_eq!(peer.expect(CONNECT).await.level(), 5);
    peer.send(&[0x20, 2, 0, 1]).await;
    drop(peer);
    let mut peer = broker.accept().await;
    let connect = peer.expect(CONNECT).await;
    assert_eq!(connect.level(), 4);
    assert_eq!(connect.body[7] & 0b10, 0, "clean session is off");
    peer.send(&[0x20, 2, 0, 0]).await;
    let subscribe = peer.expect(SUBSCRIBE).await;
    let [high, low] = subscribe.packet_id().to_be_bytes();
    // MQTT 3.1.1 section 3.9: as many codes as filters; here two or more, so that too few are told as well.
    peer.send(&[0x90, 3, high, low, 1]).await;
    eventually("answered", || rig.stats.counts().connections == 1).await;
    drop(peer);
    rig.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broker_that_refuses_5_0_in_words_is_tried_with_3_1_1() {
    const UNSUPPORTED_PROTOCOL_VERSION: u8 = 0x84;
    let folder = tempdir().unwrap();
    let (broker, address) = Scripted::start().await;
    let rig = Rig::start(folder.path(), address);
    let mut peer = broker.accept().await;
    peer.expect(CONNECT).await;
    peer.send(&[0x20, 3, 0, UNSUPPORTED_PROTOCOL_VERSION, 0]).await;
    drop(peer);
    let mut peer = broker.accept().await;
    assert_eq!(peer.expect(CONNECT).await.level(), 4);
    drop(peer);
    rig.stop().await.unwrap();
}

/// Topics are UTF-8 by the standard; one that is not is told and acknowledged, and the stream goes on.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_topic_that_is_no_text_is_rejected() {
    let folder = tempdir().unwrap();
    let (broker, address) = Scripted::start().await;
    let rig = Rig::start(folder.path(), address);
    let mut peer = broker.welcome(false).await;
    peer.deliver(b"works/\xff", 4, b"31.2").await;
    assert_eq!(peer.expect(PUBACK).await.packet_id(), 4);
    assert_eq!(rig.stats.rejects()[0].reason, "the topic is not UTF-8");
    drop(peer);
    rig.stop().await.unwrap();
}
