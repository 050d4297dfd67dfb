//! What displays are told stands at the broker, whatever becomes of the broker.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use intake::{Dialect, NoticeboardConfig, Notices, keep_posted};
use rumqttc::{AsyncClient, Event, MqttOptions, Packet, QoS};
use tempfile::tempdir;
use testkit::{Mosquitto, eventually};
use tokio::sync::{oneshot, watch};
use tokio::time::sleep;

type Seen = Arc<Mutex<BTreeMap<String, Vec<u8>>>>;

fn notices(all: &[(&str, &str)]) -> Notices {
    Arc::new(all.iter().map(|(topic, text)| ((*topic).to_owned(), text.as_bytes().to_vec())).collect())
}

/// A display: what it knows is what the broker tells it, anew with each connection.
fn display(port: u16) -> Seen {
    let seen = Seen::default();
    let shown = seen.clone();
    let (client, mut connection) = AsyncClient::new(MqttOptions::new("display", "127.0.0.1", port), 10);
    tokio::spawn(async move {
        loop {
            match connection.poll().await {
                Ok(Event::Incoming(Packet::ConnAck(_))) => {
                    shown.lock().unwrap().clear();
                    client.subscribe("works/+/standing", QoS::AtLeastOnce).await.unwrap();
                }
                Ok(Event::Incoming(Packet::Publish(publish))) => {
                    shown.lock().unwrap().insert(publish.topic, publish.payload.to_vec());
                }
                Ok(_) => {}
                Err(_) => sleep(Duration::from_millis(50)).await,
            }
        }
    });
    seen
}

async fn shows(seen: &Seen, expected: &[(&str, &str)]) {
    let expected = notices(expected);
    eventually("the notices stand", || *seen.lock().unwrap() == *expected).await;
}

async fn posts_again_after_a_restart(dialect: Dialect) {
    let folder = tempdir().unwrap();
    let mut broker = Mosquitto::start(folder.path(), &[]);
    let (post, posted) =
        watch::channel(notices(&[("works/alder/standing", "a1"), ("works/birch/standing", "b1")]));
    let config = NoticeboardConfig {
        broker: broker.url().parse().unwrap(),
        client_id: "board".to_owned(),
        credentials: None,
        first_try: dialect,
    };
    let seen = display(broker.port());
    let (stop, stopped) = oneshot::channel::<()>();
    let posting = tokio::spawn(keep_posted(config, posted, async move {
        let _ = stopped.await;
    }));
    shows(&seen, &[("works/alder/standing", "a1"), ("works/birch/standing", "b1")]).await;
    post.send_replace(notices(&[("works/alder/standing", "a2"), ("works/birch/standing", "b1")]));
    shows(&seen, &[("works/alder/standing", "a2"), ("works/birch/standing", "b1")]).await;
    // It keeps nothing: what stands afterwards was posted anew.
    broker.stop();
    seen.lock().unwrap().clear();
    broker.restart();
    shows(&seen, &[("works/alder/standing", "a2"), ("works/birch/standing", "b1")]).await;
    stop.send(()).unwrap();
    posting.await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn over_mqtt_5() {
    posts_again_after_a_restart(Dialect::V5).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn over_mqtt_3_1_1() {
    posts_again_after_a_restart(Dialect::V311).await;
}
