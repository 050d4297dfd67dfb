//! Sparkplug B through a real broker: data whose birth nobody has seen, the request for it, and the answer.

use std::path::Path;

use journal::Journal;
use model::{Arrival, Channel, Content};
use rumqttc::{AsyncClient, Event, MqttOptions, Packet, QoS};
use tempfile::tempdir;
use testkit::{Mosquitto, eventually, wait_until};
use tokio::runtime::Builder;
use tokio::time::{Duration, timeout};

use crate::rig::{Rig, durable, journal_file, message, publish};

/// By alias 7, at 2023-11-14T22:13:20.900Z, 31.25; sequence number 2. With the birth below: the byte vectors of the decoder's
/// own tests, the metric's name made `chocolate`.
pub(crate) const DATA: &str = "08e8d795ffbc31121210071884d795ffbc31690000000000403f401802";
/// The node: `bdSeq` 0, sequence number 0.
const NODE_BIRTH: &str = "08eaf2f5a8a02b12120a05626453657118eaf2f5a8a02b200458001800";
/// The device: `chocolate`, alias 7, Double, 31.5 at 22:13:20; sequence number 1.
const BIRTH: &str = "0880d095ffbc31121f0a0963686f636f6c61746510071880d095ffbc31200a690000000000803f401801";
/// What is asked for: metric `Node Control/Rebirth`.
const REBIRTH: &[u8] = b"Node Control/Rebirth";

pub(crate) fn bytes(hex: &str) -> Vec<u8> {
    (0..hex.len()).step_by(2).map(|place| u8::from_str_radix(&hex[place..place + 2], 16).unwrap()).collect()
}

/// The chocolate in the journal so far, in its order; there is nothing else.
fn values(folder: &Path) -> Vec<Option<f64>> {
    let value = |arrival: Arrival| match arrival.content {
        Content::Reading(reading) if reading.channel == Channel::Chocolate => reading.value,
        other @ (Content::Reading(_) | Content::Event(_)) => panic!("{other:?}"),
    };
    durable(folder).into_iter().map(value).collect()
}

/// The edge node's ear: resolves with the first command that it is sent.
async fn listen(port: u16, subscribed: tokio::sync::oneshot::Sender<()>) -> Vec<u8> {
    let (client, mut connection) = AsyncClient::new(MqttOptions::new("edge", "127.0.0.1", port), 10);
    client.subscribe("spBv1.0/hall/NCMD/edge", QoS::AtMostOnce).await.unwrap();
    let mut subscribed = Some(subscribed);
    loop {
        let event = connection.poll().await.unwrap();
        if let Event::Incoming(Packet::SubAck(_)) = &event {
            subscribed.take().unwrap().send(()).unwrap();
        }
        if let Event::Incoming(Packet::Publish(command)) = event {
            return command.payload.to_vec();
        }
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn data_before_their_birth_are_asked_about_and_kept() {
    let (folder, broker_folder) = (tempdir().unwrap(), tempdir().unwrap());
    let broker = Mosquitto::start(broker_folder.path(), &[]);
    let address = broker.url().parse().unwrap();
    let rig = Rig::start(folder.path(), broker.url().parse().unwrap());
    let (subscribed, is_subscribed) = tokio::sync::oneshot::channel();
    let command = tokio::spawn(listen(broker.port(), subscribed));
    is_subscribed.await.unwrap();
    eventually("connected", || rig.is_connected()).await;

    publish(&address, vec![message("spBv1.0/hall/DDATA/edge/alder", &bytes(DATA), false)]).await;
    let command = timeout(Duration::from_secs(10), command).await.expect("a request").unwrap();
    assert!(command.windows(REBIRTH.len()).any(|part| part == REBIRTH), "{command:?}");
    assert!(durable(folder.path()).is_empty(), "nobody knows yet what alias 7 is");

    publish(
        &address,
        vec![
            message("spBv1.0/hall/NBIRTH/edge", &bytes(NODE_BIRTH), false),
            message("spBv1.0/hall/DBIRTH/edge/alder", &bytes(BIRTH), false),
        ],
    )
    .await;
    eventually("both are stored", || durable(folder.path()).len() == 2).await;
    rig.stop().await.unwrap();
    assert_eq!(values(folder.path()), [Some(31.25), Some(31.5)]);
}

/// Acknowledged, and then the process is thrown away before the birth comes; the next one is told to stop before it comes.
#[test]
fn what_waits_outlives_the_process() {
    let (folder, broker_folder) = (tempdir().unwrap(), tempdir().unwrap());
    let broker = Mosquitto::start(broker_folder.path(), &[]);
    let address: intake::BrokerAddress = broker.url().parse().unwrap();
    let runtime = || Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap();
    let (first, second) = (runtime(), runtime());
    let rig = first.block_on(async { Rig::start(folder.path(), address.clone()) });
    wait_until("connected", || rig.is_connected());
    second.block_on(publish(&address, vec![message("spBv1.0/hall/DDATA/edge/alder", &bytes(DATA), false)]));
    wait_until("acknowledged", || rig.stats.counts().acknowledged == 1);
    first.shutdown_background();
    let journal = journal_file(folder.path());
    wait_until("the journal has been let go", || Journal::open(&journal).is_ok());
    assert!(durable(folder.path()).is_empty());

    second.block_on(async {
        let start = || Rig::start(folder.path(), address.clone());
        let rig = start();
        eventually("connected", || rig.is_connected()).await;
        rig.stop().await.unwrap();
        let rig = start();
        eventually("connected", || rig.is_connected()).await;
        let birth = message("spBv1.0/hall/DBIRTH/edge/alder", &bytes(BIRTH), false);
        publish(&address, vec![birth]).await;
        eventually("both are stored", || durable(folder.path()).len() == 2).await;
        rig.stop().await.unwrap();
    });
    assert_eq!(values(folder.path()), [Some(31.25), Some(31.5)]);
    assert!(Journal::open(&journal).unwrap().0.held().unwrap().is_empty(), "nothing is kept for good");
}

/// The count breaks, nobody sends anything more, and the service is stopped before the doubt is over.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_waits_at_the_end_is_kept_too() {
    let (folder, broker_folder) = (tempdir().unwrap(), tempdir().unwrap());
    let broker = Mosquitto::start(broker_folder.path(), &[]);
    let address = broker.url().parse().unwrap();
    let rig = Rig::start(folder.path(), broker.url().parse().unwrap());
    eventually("connected", || rig.is_connected()).await;
    let late = bytes(&DATA.replace("401802", "401809"));
    publish(
        &address,
        vec![
            message("spBv1.0/hall/NBIRTH/edge", &bytes(NODE_BIRTH), false),
            message("spBv1.0/hall/DBIRTH/edge/alder", &bytes(BIRTH), false),
            message("spBv1.0/hall/DDATA/edge/alder", &late, false),
        ],
    )
    .await;
    // The request comes back to us as a fourth: it is under the same subscription, and left alone.
    eventually("all came", || rig.messages() == 4).await;
    rig.stop().await.unwrap();
    assert_eq!(durable(folder.path()).len(), 2);
}
