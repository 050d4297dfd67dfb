//! A broker whose queue for a sleeping subscriber overflows says so, and we hear of it.

use intake::{Pace, ReplayConfig};
use testkit::{Mosquitto, eventually};

use crate::rig::{Rig, readings};

/// Far more than the broker keeps for a sleeper.
const MESSAGES: i64 = 200;

#[tokio::test]
async fn what_the_broker_drops_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let (ours, sleepers) = (folder.path().join("ours"), folder.path().join("sleeper"));
    std::fs::create_dir(&ours).unwrap();
    std::fs::create_dir(&sleepers).unwrap();
    let broker = Mosquitto::start(folder.path(), &["sys_interval 1", "max_queued_messages 10"]);
    let address = || broker.url().parse().unwrap();
    let sleeper = Rig::start_with(&sleepers, address(), |config| config.client_id = "sleeper".to_owned());
    eventually("the sleeper is connected", || sleeper.stats.counts().connections == 1).await;
    sleeper.stop().await.unwrap();

    let rig = Rig::start_with(&ours, address(), |config| config.watch_drops = true);
    eventually("the broker tells of its drops", || rig.stats.broker_drops().is_some()).await;
    assert_eq!(rig.stats.broker_drops().unwrap().while_watched, 0);
    let config = ReplayConfig::new(address(), Pace::UNPACED);
    intake::replay(config, readings("alder", MESSAGES).into_iter(), |_| {}).await.unwrap();
    let dropped = || rig.stats.broker_drops().unwrap().while_watched;
    eventually("drops are told", || 0 < dropped()).await;
    assert!(dropped() <= MESSAGES as u64);
    rig.stop().await.unwrap();
}
