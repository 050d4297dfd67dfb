//! Measures the durable intake against a bare subscriber that only counts, on the same Mosquitto in the same run.
//!
//! `cargo run -p intake --example intake_rate`. First each takes what a publisher sends as fast as the broker lets it, then each
//! drains a queue that the broker has kept for its session, with the cores to itself. The rounds alternate and the median
//! counts. Last, 1,000, 5,000 and 20,000 messages a second are published and the time from publishing to durable is taken. It
//! prints figures and judges nothing.

use std::sync::Arc;
use std::time::{Duration, Instant};

use intake::{BrokerAddress, Clock, IntakeConfig, IntakeStats, Pace, ReplayConfig, Wiring};
use journal::Journal;
use model::Timestamp;
use testkit::{Mosquitto, eventually};
use tokio::sync::{mpsc, oneshot};
use wire::{Decoder, Message};

const MESSAGES: i64 = 60_000;
const ROUNDS: usize = 5;
/// Messages a second, and for how long: long enough for a p99 of a thousand messages or more.
const PACES: [i64; 3] = [1_000, 5_000, 20_000];
const PACED_SECONDS: i64 = 10;
const PLANT: &str = r#"
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
"#;

#[tokio::main(flavor = "multi_thread", worker_threads = 2)]
async fn main() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let settings = ["max_inflight_messages 1000", "autosave_interval 0"];
    let broker = Mosquitto::start_persistent(folder.path(), &settings);
    let address: BrokerAddress = broker.url().parse().expect("an address");

    bare_drain(broker.port(), 0).await;
    durable_drain(folder.path(), &address, 0).await;
    compare(folder.path(), &broker, Feed::Live).await;
    compare(folder.path(), &broker, Feed::Queued).await;
    for a_second in PACES {
        latency(folder.path(), &address, a_second).await;
    }
}

/// Where the messages of a round come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Feed {
    /// A publisher beside the subscriber.
    Live,
    /// The broker's queue for the session.
    Queued,
}

async fn compare(folder: &std::path::Path, broker: &Mosquitto, feed: Feed) {
    let address: BrokerAddress = broker.url().parse().expect("an address");
    let rate = |took: Duration| MESSAGES as f64 / took.as_secs_f64();
    let (mut bare, mut durable) = (Vec::new(), Vec::new());
    for round in 0..ROUNDS {
        // Both sessions get every message; in a live round each in turn is the one that is connected.
        let publisher = publish_for(feed, &address).await;
        bare.push(rate(bare_drain(broker.port(), MESSAGES).await));
        publisher.await.expect("published");
        if feed == Feed::Live {
            durable_drain(folder, &address, MESSAGES).await;
        }
        let publisher =
            if feed == Feed::Live { publish_for(feed, &address).await } else { tokio::spawn(async {}) };
        durable.push(rate(durable_drain(folder, &address, MESSAGES).await));
        publisher.await.expect("published");
        if feed == Feed::Live {
            bare_drain(broker.port(), MESSAGES).await;
        }
        println!("{feed:?}, round {round}: bare {:.0}/s, durable {:.0}/s", bare[round], durable[round]);
    }
    let (bare, durable) = (median(bare), median(durable));
    println!("{feed:?}, median: bare {bare:.0}/s, durable {durable:.0}/s, ratio {:.2}", durable / bare);
}

async fn publish_for(feed: Feed, address: &BrokerAddress) -> tokio::task::JoinHandle<()> {
    let address = address.clone();
    let publisher =
        tokio::spawn(async move { publish(&address, made_up(MESSAGES, 5_000), Pace::UNPACED).await });
    match feed {
        Feed::Live => publisher,
        Feed::Queued => {
            publisher.await.expect("published");
            tokio::spawn(async {})
        }
    }
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

fn made_up(count: i64, a_second: i64) -> impl Iterator<Item = Message> {
    let message = move |n: i64| {
        let now = now().as_millis();
        let payload = format!(r#"[{{"n":"chocolate","u":"Cel","t":{:.3},"v":31.25}}]"#, now as f64 / 1000.0);
        let (topic, payload) = ("works/alder".to_owned(), payload.into_bytes());
        Message {
            topic,
            payload,
            arrived: Timestamp::from_millis(1_772_427_600_000 + 1_000 * n / a_second),
            retained: false,
        }
    };
    (0..count).map(message)
}

async fn publish(address: &BrokerAddress, messages: impl Iterator<Item = Message>, pace: Pace) {
    intake::replay(ReplayConfig::new(address.clone(), pace), messages, |_| {}).await.expect("published");
}

/// The library's own example of a subscriber, with the same session settings and automatic acknowledgements.
async fn bare_drain(port: u16, expected: i64) -> Duration {
    use rumqttc::v5::mqttbytes::QoS;
    use rumqttc::v5::mqttbytes::v5::{ConnectProperties, Packet};
    use rumqttc::v5::{AsyncClient, Event, MqttOptions};
    let mut options = MqttOptions::new("bare", "127.0.0.1", port);
    let mut properties = ConnectProperties::new();
    properties.session_expiry_interval = Some(3600);
    properties.receive_maximum = Some(1000);
    options.set_clean_start(false).set_connect_properties(properties);
    let (client, mut event_loop) = AsyncClient::new(options, 100);
    client.subscribe("works/#", QoS::AtLeastOnce).await.expect("a living loop");
    let (mut seen, mut subscribed, mut first) = (0, false, Instant::now());
    while seen < expected || !subscribed {
        match event_loop.poll().await.expect("the broker is there") {
            Event::Incoming(Packet::Publish(_)) => {
                if seen == 0 {
                    first = Instant::now();
                }
                seen += 1;
            }
            Event::Incoming(Packet::SubAck(_)) => subscribed = true,
            Event::Incoming(_) | Event::Outgoing(_) => {}
        }
    }
    let took = first.elapsed();
    client.disconnect().await.expect("a living loop");
    while event_loop.poll().await.is_ok() {}
    took
}

/// From the first message taken to the last on disk, acknowledged and handed on.
async fn durable_drain(folder: &std::path::Path, address: &BrokerAddress, expected: i64) -> Duration {
    let (blocks, mut taken) = mpsc::channel(16);
    let running = Running::start(folder, address, blocks);
    eventually("connected", || running.stats.counts().connections == 1).await;
    let (mut seen, mut first) = (0, Instant::now());
    while seen < expected {
        let block = taken.recv().await.expect("blocks come");
        if seen == 0 {
            first = Instant::now() - Duration::from_millis(5);
        }
        seen += block.arrivals.len() as i64;
    }
    let took = first.elapsed();
    running.stop().await;
    took
}

async fn latency(folder: &std::path::Path, address: &BrokerAddress, a_second: i64) {
    let count = a_second * PACED_SECONDS;
    let (blocks, mut taken) = mpsc::channel(16);
    let running = Running::start(folder, address, blocks);
    eventually("connected", || running.stats.counts().connections == 1).await;
    let started = Instant::now();
    let publisher = {
        let address = address.clone();
        tokio::spawn(async move { publish(&address, made_up(count, a_second), Pace::REAL_TIME).await })
    };
    let mut waits_ms = Vec::new();
    while waits_ms.len() < count as usize {
        let block = taken.recv().await.expect("blocks come");
        let now = now();
        waits_ms.extend(block.arrivals.iter().map(|arrival| now.since(arrival.at()).as_millis()));
    }
    publisher.await.expect("published");
    let took = started.elapsed().as_secs_f64();
    let blocks = running.stats.counts().blocks;
    running.stop().await;
    waits_ms.sort_unstable();
    let at = |share: f64| waits_ms[(share * (waits_ms.len() - 1) as f64) as usize];
    println!(
        "{a_second}/s asked, {:.0}/s reached: publish to durable median {} ms, p99 {} ms, worst {} ms; {} messages a block",
        count as f64 / took,
        at(0.5),
        at(0.99),
        at(1.0),
        count as u64 / blocks.max(1)
    );
}

fn now() -> Timestamp {
    let since = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).expect("after 1970");
    Timestamp::from_millis(since.as_millis() as i64)
}

struct Running {
    stats: Arc<IntakeStats>,
    stop: oneshot::Sender<()>,
    task: tokio::task::JoinHandle<Result<(), intake::IntakeError>>,
}

impl Running {
    fn start(
        folder: &std::path::Path,
        address: &BrokerAddress,
        blocks: mpsc::Sender<intake::Block>,
    ) -> Running {
        let clock: Clock = Arc::new(now);
        let decoder = Decoder::new(&plant::parse_plant(PLANT).expect("a plant"));
        let config = IntakeConfig::new(address.clone(), "durable", decoder, clock);
        let (journal, _) = Journal::open(folder.join(journal::FILE_NAME)).expect("a journal");
        let (_, inbox) = intake::inbox();
        let stats = Arc::new(IntakeStats::new());
        let (stop, stopped) = oneshot::channel::<()>();
        let wiring = Wiring { inbox, blocks, stats: Arc::clone(&stats) };
        let task = tokio::spawn(intake::run(config, journal, wiring, async {
            let _ = stopped.await;
        }));
        Running { stats, stop, task }
    }

    async fn stop(self) {
        let _ = self.stop.send(());
        self.task.await.expect("no panic").expect("stopped in order");
    }
}
