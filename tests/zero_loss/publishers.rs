//! Publishers that know what they have sent: each its own machine, its own sequence, at QoS 1.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::thread::{self, JoinHandle};

use intake::{BrokerAddress, Pace, ReplayConfig};
use model::{Span, Timestamp};
use wire::Message;

/// One that goes on until it is told to stop, and then until the broker has acknowledged everything.
pub(crate) struct Publisher {
    pub(crate) machine: &'static str,
    sent: Arc<AtomicU64>,
    stop: Arc<AtomicBool>,
    running: JoinHandle<u64>,
}

/// What a message of the sequence looks like.
pub(crate) type Compose = fn(&'static str, u64) -> Message;

impl Publisher {
    /// Starts one with `per_second` messages each second, over a connection of its own.
    pub(crate) fn start(url: &str, machine: &'static str, per_second: u64, compose: Compose) -> Publisher {
        let broker: BrokerAddress = url.parse().unwrap();
        let (sent, stop) = (Arc::new(AtomicU64::new(0)), Arc::new(AtomicBool::new(false)));
        let (sending, told) = (Arc::clone(&sent), Arc::clone(&stop));
        let running = thread::spawn(move || {
            let mut n = 0;
            let messages = std::iter::from_fn(move || {
                if told.load(Ordering::Relaxed) {
                    return None;
                }
                let due = Timestamp::from_millis((1000 * n / per_second) as i64);
                let message = Message { arrived: due, ..compose(machine, n) };
                n += 1;
                sending.store(n, Ordering::Relaxed);
                Some(message)
            });
            let config = ReplayConfig::new(broker, Pace::REAL_TIME);
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
            let done =
                runtime.block_on(intake::replay(config, messages, |_| {})).expect("the broker comes back");
            assert_eq!(done.refused, 0);
            done.published
        });
        Publisher { machine, sent, stop, running }
    }

    /// How many it has handed over so far, acknowledged or not.
    pub(crate) fn sent(&self) -> u64 {
        self.sent.load(Ordering::Relaxed)
    }

    /// Tells it to stop, waits until everything is acknowledged, and says how many that were.
    pub(crate) fn stop(self) -> u64 {
        self.stop.store(true, Ordering::Relaxed);
        let sent = Arc::clone(&self.sent);
        let acknowledged = self.running.join().unwrap();
        assert_eq!(
            acknowledged,
            sent.load(Ordering::Relaxed),
            "{}: all that was sent is acknowledged",
            self.machine
        );
        acknowledged
    }
}

/// When the first message of a sequence was measured.
fn beginning() -> Timestamp {
    "2026-03-02T05:00:00Z".parse().unwrap()
}

/// The time of its own that the message with this number carries.
pub(crate) fn time(n: u64) -> Timestamp {
    beginning() + Span::from_millis(n as i64)
}

/// The value of the message with this number, which tells it from its neighbours.
pub(crate) fn value(n: u64) -> f64 {
    (n % 100_000) as f64 / 1000.0
}

/// A SenML pack with a time of its own.
pub(crate) fn timed(machine: &'static str, n: u64) -> Message {
    let at = time(n).as_millis() as f64 / 1000.0;
    let payload = format!(r#"[{{"n":"chocolate","u":"Cel","t":{at:.3},"v":{:.3}}}]"#, value(n)).into_bytes();
    Message { topic: format!("works/{machine}"), payload, arrived: at_once(), retained: false }
}

/// A bare number: its own number in thousandths.
pub(crate) fn bare(machine: &'static str, n: u64) -> Message {
    let payload = format!("{:.3}", n as f64 / 1000.0).into_bytes();
    Message { topic: format!("works/{machine}/chocolate"), payload, arrived: at_once(), retained: false }
}

/// Overwritten with the moment at which it is due.
fn at_once() -> Timestamp {
    Timestamp::from_millis(0)
}
