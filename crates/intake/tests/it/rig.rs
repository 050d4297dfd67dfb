//! An intake under test, with a journal of its own, and messages to feed it.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use intake::{
    BrokerAddress, Clock, Credentials, Dialect, IntakeConfig, IntakeError, IntakeStats, Pace, Progress,
    ReplayConfig, Submit, Wiring,
};
use journal::{BlockSeq, Journal, JournalReader};
use model::{Arrival, Channel, Content, Reading, Timestamp};
use tokio::sync::{mpsc, oneshot};
use tokio::task::JoinHandle;
use wire::{Decoder, Message};

pub(crate) const PLANT: &str = r#"
[plant]
name = "Tern Street works"
time_zone = "Europe/Lisbon"

[mqtt]
url = "mqtt://127.0.0.1:1883"

[[couverture]]
id = "dark-64"
family = "dark"

[[machine]]
id = "alder"
name = "Alder"
style = "kettle"
couverture = "dark-64"
method = "seed"

[[machine]]
id = "birch"
name = "Birch"
style = "kettle"
couverture = "dark-64"
method = "seed"
"#;

/// The start of every made-up day.
pub(crate) const DAY: i64 = 1_772_427_600_000;

pub(crate) fn at(millis: i64) -> Timestamp {
    Timestamp::from_millis(DAY + millis)
}

pub(crate) fn decoder() -> Decoder {
    Decoder::new(&plant::parse_plant(PLANT).expect("the test's plant is in order"))
}

/// The wall's clock: the arrivals of a test are never compared with it.
pub(crate) fn clock() -> Clock {
    Arc::new(|| {
        let since = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).expect("after 1970");
        Timestamp::from_millis(since.as_millis() as i64)
    })
}

/// `count` readings of a machine's chocolate, each with its own time, so that a second delivery is the same reading.
pub(crate) fn readings(machine: &str, count: i64) -> Vec<Message> {
    (0..count).map(|n| reading(machine, n)).collect()
}

pub(crate) fn reading(machine: &str, n: i64) -> Message {
    let seconds = (DAY + n) as f64 / 1000.0;
    let payload = format!(r#"[{{"n":"chocolate","u":"Cel","t":{seconds:.3},"v":31.25}}]"#).into_bytes();
    Message { topic: format!("works/{machine}"), payload, arrived: at(n), retained: false }
}

pub(crate) fn message(topic: &str, payload: &[u8], retained: bool) -> Message {
    Message { topic: topic.to_owned(), payload: payload.to_owned(), arrived: at(0), retained }
}

pub(crate) fn arrival(machine: &str, n: i64) -> Arrival {
    let reading = Reading {
        machine: machine.parse().expect("a good id"),
        channel: Channel::Chocolate,
        at: at(n),
        value: Some(31.25),
    };
    Arrival { arrived: at(n), retained: false, content: Content::Reading(reading) }
}

/// What makes a reading the same reading: machine and time (the tests use one channel).
pub(crate) type Key = (String, i64);

pub(crate) fn keys(arrivals: &[Arrival]) -> Vec<Key> {
    let key = |arrival: &Arrival| (arrival.machine().to_string(), arrival.at().as_millis() - DAY);
    arrivals.iter().map(key).collect()
}

pub(crate) fn expected(machines: &[&str], count: i64) -> BTreeSet<Key> {
    machines.iter().flat_map(|machine| (0..count).map(|n| ((*machine).to_owned(), n))).collect()
}

/// A running intake.
pub(crate) struct Rig {
    pub(crate) stats: Arc<IntakeStats>,
    pub(crate) submit: Submit,
    /// What has been handed on, as the engine would see it.
    pub(crate) handed_on: Arc<Mutex<Vec<Arrival>>>,
    stop: oneshot::Sender<()>,
    running: JoinHandle<Result<(), IntakeError>>,
}

impl Rig {
    /// Starts an intake on the journal in `folder`, MQTT 5.0 first.
    pub(crate) fn start(folder: &Path, broker: BrokerAddress) -> Rig {
        Rig::start_with(folder, broker, |_| {})
    }

    pub(crate) fn start_with(
        folder: &Path,
        broker: BrokerAddress,
        change: impl FnOnce(&mut IntakeConfig),
    ) -> Rig {
        let (blocks, mut taken) = mpsc::channel::<journal::Block>(4);
        let handed_on: Arc<Mutex<Vec<Arrival>>> = Arc::default();
        let taker = Arc::clone(&handed_on);
        tokio::spawn(async move {
            while let Some(block) = taken.recv().await {
                taker.lock().unwrap().extend(block.arrivals);
            }
        });
        let mut rig = Rig::start_into(folder, broker, blocks, change);
        rig.handed_on = handed_on;
        rig
    }

    /// Hands the blocks to `blocks`.
    pub(crate) fn start_into(
        folder: &Path,
        broker: BrokerAddress,
        blocks: mpsc::Sender<journal::Block>,
        change: impl FnOnce(&mut IntakeConfig),
    ) -> Rig {
        let mut config = IntakeConfig::new(broker, "halfdegree-test", decoder(), clock());
        change(&mut config);
        let (journal, _) = Journal::open(journal_file(folder)).expect("the journal opens");
        let (submit, inbox) = intake::inbox();
        let stats = Arc::new(IntakeStats::new());
        let (stop, stopped) = oneshot::channel();
        let wiring = Wiring { inbox, blocks, stats: Arc::clone(&stats) };
        let running = tokio::spawn(intake::run(config, journal, wiring, async {
            let _ = stopped.await;
        }));
        Rig { stats, submit, handed_on: Arc::default(), stop, running }
    }

    pub(crate) async fn stop(self) -> Result<(), IntakeError> {
        let _ = self.stop.send(());
        self.running.await.expect("the intake does not panic")
    }

    /// Waits for it to end by itself.
    pub(crate) async fn ended(self) -> Result<(), IntakeError> {
        self.running.await.expect("the intake does not panic")
    }

    pub(crate) fn messages(&self) -> u64 {
        self.stats.counts().messages
    }

    pub(crate) fn is_connected(&self) -> bool {
        self.stats.state() == intake::IntakeState::Connected
    }

    pub(crate) fn distinct(&self) -> usize {
        keys(&self.handed_on.lock().unwrap()).into_iter().collect::<BTreeSet<Key>>().len()
    }
}

pub(crate) fn journal_file(folder: &Path) -> PathBuf {
    folder.join(journal::FILE_NAME)
}

/// Everything in the journal so far, in its order.
pub(crate) fn durable(folder: &Path) -> Vec<Arrival> {
    let found = JournalReader::open(journal_file(folder))
        .and_then(|journal| journal.blocks_after(BlockSeq::START, usize::MAX))
        .expect("the journal reads");
    assert!(found.unreadable.is_empty());
    found.blocks.into_iter().flat_map(|block| block.arrivals).collect()
}

/// Which readings are in the journal so far.
pub(crate) fn durable_keys(folder: &Path) -> BTreeSet<Key> {
    keys(&durable(folder)).into_iter().collect()
}

/// Each of the readings is there, and nothing else; told in a line where it is not so.
pub(crate) fn assert_stored(folder: &Path, machines: &[&str], count: i64) {
    let (stored, expected) = (durable_keys(folder), expected(machines, count));
    let lost: Vec<&Key> = expected.difference(&stored).collect();
    let strange: Vec<&Key> = stored.difference(&expected).collect();
    assert!(lost.is_empty(), "{} lost, from {:?} to {:?}", lost.len(), lost.first(), lost.last());
    assert!(strange.is_empty(), "{} strange, the first {:?}", strange.len(), strange.first());
}

/// Each of the readings is there exactly once.
pub(crate) fn assert_stored_once(folder: &Path, machines: &[&str], count: i64) {
    assert_stored(folder, machines, count);
    let mut stored = keys(&durable(folder));
    stored.sort();
    let twice: Vec<&Key> = stored.windows(2).filter(|pair| pair[0] == pair[1]).map(|pair| &pair[0]).collect();
    assert!(twice.is_empty(), "{} twice: {twice:?}", twice.len());
}

/// Publishes as fast as the broker takes it.
pub(crate) async fn publish(broker: &BrokerAddress, messages: Vec<Message>) -> Progress {
    publish_as(broker.clone(), None, messages).await
}

/// The same at a broker that asks who we are.
pub(crate) async fn publish_as(
    broker: BrokerAddress,
    credentials: Option<Credentials>,
    messages: Vec<Message>,
) -> Progress {
    let config = ReplayConfig { credentials, ..ReplayConfig::new(broker, Pace::UNPACED) };
    intake::replay(config, messages, |_| {}).await.expect("the broker takes the messages")
}

/// The same beside the test.
pub(crate) fn publish_beside(broker: &BrokerAddress, messages: Vec<Message>) -> JoinHandle<Progress> {
    let broker = broker.clone();
    tokio::spawn(async move { publish(&broker, messages).await })
}

pub(crate) fn v311(config: &mut IntakeConfig) {
    config.first_try = Dialect::V311;
}
