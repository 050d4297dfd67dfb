//! The broker inside the process.

use intake::{BrokerAddress, Credentials, EmbeddedBroker, EmbeddedListen, Pace, ReplayConfig};
use tempfile::tempdir;
use testkit::{Proxy, eventually};

use crate::rig::{Rig, assert_stored, durable_keys, publish_as, publish_beside, readings};

fn start() -> EmbeddedBroker {
    let any = "127.0.0.1:0".parse().unwrap();
    EmbeddedBroker::start(EmbeddedListen { v311: any, v5: any }, None).unwrap()
}

/// Where clients of 3.1.1 go.
fn old_door(broker: &EmbeddedBroker) -> BrokerAddress {
    let listen = broker.listen().v311;
    BrokerAddress::new(listen.ip().to_string(), listen.port())
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn two_clients_of_different_versions() {
    let folder = tempdir().unwrap();
    let broker = start();
    let rig = Rig::start(folder.path(), broker.address());
    eventually("connected", || rig.is_connected()).await;
    // The second client begins with 5.0 at the door for 3.1.1 and has to find that out.
    let alder = publish_beside(&broker.address(), readings("alder", 2_000));
    let birch = publish_beside(&old_door(&broker), readings("birch", 2_000));
    assert_eq!((alder.await.unwrap().published, birch.await.unwrap().published), (2_000, 2_000));
    eventually("all handed on", || rig.distinct() == 4_000).await;
    rig.stop().await.unwrap();
    assert_stored(folder.path(), &["alder", "birch"], 2_000);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_intake_itself_falls_back_at_the_old_door() {
    let folder = tempdir().unwrap();
    let broker = start();
    let rig = Rig::start(folder.path(), old_door(&broker));
    eventually("connected", || rig.is_connected()).await;
    publish_beside(&broker.address(), readings("alder", 200)).await.unwrap();
    eventually("all handed on", || rig.distinct() == 200).await;
    rig.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_cut_wire_and_a_stop_lose_nothing() {
    let folder = tempdir().unwrap();
    let broker = start();
    let proxy = Proxy::to(broker.listen().v5.port());
    let mut rig = Rig::start(folder.path(), proxy.url().parse().unwrap());
    eventually("connected", || rig.is_connected()).await;
    let publisher = publish_beside(&broker.address(), readings("alder", 5_000));
    for cut in 1..=3 {
        let seen = rig.messages();
        eventually("messages flow", || rig.messages() > seen + 200 && rig.is_connected()).await;
        proxy.cut();
        eventually("connected again", || rig.stats.counts().connections == cut + 1).await;
    }
    rig.stop().await.unwrap();
    rig = Rig::start(folder.path(), proxy.url().parse().unwrap());
    assert_eq!(publisher.await.unwrap().published, 5_000);
    eventually("all stored", || durable_keys(folder.path()).len() == 5_000).await;
    assert_eq!(rig.stats.possible_gaps(), []);
    rig.stop().await.unwrap();
    assert_stored(folder.path(), &["alder"], 5_000);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn with_a_login_nobody_gets_in_without_it() {
    let folder = tempdir().unwrap();
    let any = "127.0.0.1:0".parse().unwrap();
    let login = Credentials { user: "kettles".into(), password: "tern-4-street".into() };
    let broker = EmbeddedBroker::start(EmbeddedListen { v311: any, v5: any }, Some(&login)).unwrap();
    let rig =
        Rig::start_with(folder.path(), broker.address(), |config| config.credentials = Some(login.clone()));
    eventually("connected", || rig.is_connected()).await;
    for address in [broker.address(), old_door(&broker)] {
        publish_as(address.clone(), Some(login.clone()), readings("alder", 10)).await;
        let guessed = Credentials { password: "guess".into(), ..login.clone() };
        for credentials in [None, Some(guessed)] {
            let config = ReplayConfig { credentials, ..ReplayConfig::new(address.clone(), Pace::UNPACED) };
            let refused = intake::replay(config, readings("birch", 1), |_| {}).await;
            assert!(refused.is_err(), "{refused:?}");
        }
    }
    eventually("handed on", || rig.distinct() == 10).await;
    rig.stop().await.unwrap();
    assert_stored(folder.path(), &["alder"], 10);
}
