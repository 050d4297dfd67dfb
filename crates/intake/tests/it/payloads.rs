//! What cannot be read, what is too large, and what the broker kept from earlier.

use tempfile::tempdir;
use testkit::{Mosquitto, eventually};

use crate::rig::{Rig, durable, keys, message, publish, reading, v311};

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_cannot_be_read_is_counted_logged_and_acknowledged() {
    let folder = tempdir().unwrap();
    let broker = Mosquitto::start_persistent(folder.path(), &[]);
    let address = broker.url().parse().unwrap();
    let rig = Rig::start(folder.path(), broker.url().parse().unwrap());
    eventually("connected", || rig.is_connected()).await;
    let messages = vec![
        message("works/alder/chocolate", b"warm", false),
        message("works/alder/chocolate", &[0xff, 0xfe], false),
        reading("alder", 1),
    ];
    publish(&address, messages).await;
    eventually("handed on", || rig.distinct() == 1).await;
    eventually("acknowledged", || rig.stats.counts().acknowledged == 3).await;
    assert_eq!(rig.stats.counts().rejected, 2);
    let rejects = rig.stats.rejects();
    assert_eq!(rejects.len(), 2);
    assert!(
        rejects.iter().all(|reject| reject.topic == "works/alder/chocolate" && !reject.reason.is_empty())
    );
    assert!(rig.is_connected(), "a payload never stops the stream");
    rig.stop().await.unwrap();

    let rig = Rig::start(folder.path(), broker.url().parse().unwrap());
    eventually("connected", || rig.is_connected()).await;
    publish(&address, vec![reading("alder", 2)]).await;
    eventually("handed on", || rig.distinct() == 1).await;
    assert_eq!(rig.messages(), 1, "what was rejected is not delivered again");
    rig.stop().await.unwrap();
}

/// 3.1.1 has no word for the largest packet, so one that is too large is taken, told and acknowledged: refused, it would
/// come again for ever.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_huge_payload_is_rejected_over_mqtt_3_1_1() {
    let folder = tempdir().unwrap();
    let broker = Mosquitto::start(folder.path(), &[]);
    let address = broker.url().parse().unwrap();
    let rig = Rig::start_with(folder.path(), broker.url().parse().unwrap(), v311);
    eventually("connected", || rig.is_connected()).await;
    publish(
        &address,
        vec![message("works/alder/chocolate", &vec![b'1'; 6 << 20], false), reading("alder", 1)],
    )
    .await;
    eventually("handed on", || rig.distinct() == 1).await;
    let rejects = rig.stats.rejects();
    assert_eq!(rejects.len(), 1);
    assert!(
        rejects[0].reason.starts_with("the payload is larger than 4194304 bytes"),
        "{}",
        rejects[0].reason
    );
    assert_eq!(rig.stats.counts().connections, 1);
    rig.stop().await.unwrap();
}

/// 5.0 tells the broker, which then keeps such a packet to itself (MQTT 5.0 section 3.1.2.11.4).
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_huge_payload_does_not_stop_the_stream_over_mqtt_5() {
    let folder = tempdir().unwrap();
    let broker = Mosquitto::start(folder.path(), &[]);
    let address = broker.url().parse().unwrap();
    let rig = Rig::start(folder.path(), broker.url().parse().unwrap());
    eventually("connected", || rig.is_connected()).await;
    publish(
        &address,
        vec![message("works/alder/chocolate", &vec![b'1'; 6 << 20], false), reading("alder", 1)],
    )
    .await;
    eventually("handed on", || rig.distinct() == 1).await;
    assert_eq!((rig.stats.counts().connections, rig.messages()), (1, 1));
    rig.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_retained_message_is_a_reading_only_with_a_time_of_its_own() {
    let folder = tempdir().unwrap();
    let broker = Mosquitto::start(folder.path(), &[]);
    let address = broker.url().parse().unwrap();
    let mut with_time = reading("birch", 5);
    with_time.retained = true;
    publish(&address, vec![message("works/alder/chocolate", b"31.5", true), with_time]).await;

    let rig = Rig::start(folder.path(), broker.url().parse().unwrap());
    eventually("both came", || rig.messages() == 2).await;
    publish(&address, vec![reading("alder", 6)]).await;
    eventually("handed on", || rig.distinct() == 2).await;
    rig.stop().await.unwrap();
    let stored = durable(folder.path());
    assert_eq!(keys(&stored), [("birch".to_owned(), 5), ("alder".to_owned(), 6)]);
    assert_eq!(stored.iter().map(|arrival| arrival.retained).collect::<Vec<bool>>(), [true, false]);
}
