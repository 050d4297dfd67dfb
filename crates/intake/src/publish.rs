//! Publishes recorded messages to a broker: in their own time, faster, or as fast as the broker takes them.
//!
//! At least once: a message counts as published when the broker has acknowledged it, and one that was on its way when the
//! connection broke is sent again on the next. Payloads, topics and the retained flag go out as they were recorded; only
//! the moment is new.
//!
//! Never waits for a broker that it could not reach at the start; one that goes away later is waited for.

use std::iter::Peekable;
use std::process;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use tokio::time::{sleep, sleep_until, timeout};
use tracing::{debug, warn};
use wire::Message;

use crate::IntakeError;
use crate::address::BrokerAddress;
use crate::backoff::Backoff;
use crate::desk::{Desk, Pace, Progress, Schedule};
use crate::dialect::{self, Client, Connection, Dialect, Failure, Packet, Purpose, Settings, Tongue};
use crate::identity::Credentials;

/// Messages that the library may have on their way; the broker's own limit is smaller where it says so.
const IN_FLIGHT: u16 = 500;

/// Two minutes of waiting, about, for a broker that has gone away in the middle of a replay.
const RECONNECTS: usize = 12;
const FIRST_RECONNECT: Duration = Duration::from_millis(200);
const LONGEST_RECONNECT: Duration = Duration::from_secs(15);

/// Everything has been acknowledged; a farewell that does not get through in this time does not matter.
const FAREWELL_WITHIN: Duration = Duration::from_millis(500);

/// Where and how to replay to.
#[derive(Debug, Clone)]
pub struct ReplayConfig {
    /// The broker.
    pub broker: BrokerAddress,
    /// If it asks for them.
    pub credentials: Option<Credentials>,
    /// How fast.
    pub pace: Pace,
    /// The version of MQTT to try first; the other follows if the broker does not understand it.
    pub first_try: Dialect,
}

impl ReplayConfig {
    /// No credentials, MQTT 5.0 first.
    pub fn new(broker: BrokerAddress, pace: Pace) -> ReplayConfig {
        ReplayConfig { broker, credentials: None, pace, first_try: Dialect::V5 }
    }
}

/// Publishes all messages and returns when the broker has acknowledged the last. `on_progress` is called after each
/// acknowledgement, so it should be quick.
///
/// # Errors
/// [`IntakeError::Publish`] if the broker cannot be reached at the start, refuses us, or stays away too long.
pub async fn replay(
    config: ReplayConfig,
    messages: impl IntoIterator<Item = Message>,
    on_progress: impl FnMut(Progress),
) -> Result<Progress, IntakeError> {
    let desk = Desk::default();
    let mut feeder = Feeder { source: messages.into_iter().peekable(), schedule: Schedule::new(config.pace) };
    let mut on_progress = on_progress;
    let mut tongue = Tongue::new(config.first_try);
    let mut backoff = Backoff::new(FIRST_RECONNECT, LONGEST_RECONNECT);
    let mut failures_running = 0;
    loop {
        let (client, mut connection) = dialect::open(tongue.next(), &settings(&config));
        let before = desk.progress();
        let failure = tokio::select! {
            failure = poll(&mut connection, &desk, &mut on_progress) => failure,
            () = feeder.feed(&client, &desk) => {
                say_goodbye(&client, &mut connection).await;
                return Ok(desk.progress());
            }
        };
        if desk.has_connected() {
            tongue.note_connected();
        }
        tongue.note_failure(&failure);
        let moved = desk.progress() != before;
        failures_running = if moved { 1 } else { failures_running + 1 };
        let patience = match (desk.has_connected(), tongue.next() == config.first_try) {
            (true, _) => RECONNECTS,
            // The broker may speak the other version.
            (false, false) => 1,
            (false, true) => 0,
        };
        let why = failure.says(&config.broker, config.credentials.as_ref());
        if failures_running > patience {
            return Err(IntakeError::Publish { broker: config.broker.to_string(), why });
        }
        if moved {
            backoff.reset();
        }
        if failures_running <= 1 && !desk.has_connected() && tongue.next() != config.first_try {
            debug!(%why, "the broker may speak the other version of MQTT");
        } else {
            warn!(%why, "the replay reconnects");
        }
        sleep(backoff.next_wait()).await;
    }
}

/// A session of its own, which ends with the connection: two replays at once do not disturb each other.
fn settings(config: &ReplayConfig) -> Settings {
    static REPLAYS: AtomicU64 = AtomicU64::new(0);
    let number = REPLAYS.fetch_add(1, Ordering::Relaxed);
    Settings {
        broker: config.broker.clone(),
        client_id: format!("replay-{}-{number}", process::id()),
        credentials: config.credentials.clone(),
        purpose: Purpose::Publish { in_flight: IN_FLIGHT },
    }
}

/// Takes acknowledgements until the connection fails.
async fn poll(connection: &mut Connection, desk: &Desk, on_progress: &mut impl FnMut(Progress)) -> Failure {
    loop {
        match connection.poll().await {
            Ok(Packet::Connected { .. }) => desk.note_connected(),
            Ok(Packet::PublishAcknowledged { refused }) => on_progress(desk.acknowledged(refused.as_deref())),
            Ok(
                Packet::Subscribed(_)
                | Packet::Delivered(_)
                | Packet::AcknowledgementWritten
                | Packet::FarewellWritten
                | Packet::Other,
            ) => {}
            Err(failure) => return failure,
        }
    }
}

async fn say_goodbye(client: &Client, connection: &mut Connection) {
    if client.try_say_goodbye().is_err() {
        return;
    }
    let written = async { while !matches!(connection.poll().await, Ok(Packet::FarewellWritten) | Err(_)) {} };
    let _ = timeout(FAREWELL_WITHIN, written).await;
}

/// Gives messages to the client at their time. Runs beside the poll, never inside it.
struct Feeder<I: Iterator<Item = Message>> {
    source: Peekable<I>,
    schedule: Schedule,
}

impl<I: Iterator<Item = Message>> Feeder<I> {
    /// Resolves when everything has been acknowledged. May be dropped at any moment: a message leaves the source only when
    /// it lies on the desk, and what lies there is sent again on the next connection.
    async fn feed(&mut self, client: &Client, desk: &Desk) {
        for message in desk.on_the_way() {
            send(client, message).await;
        }
        while let Some(next) = self.source.peek() {
            if let Some(due) = self.schedule.due(next.arrived) {
                sleep_until(due).await;
            }
            desk.has_room().await;
            let message = self.source.next().expect("it has just been looked at");
            desk.lay_down(message.clone());
            send(client, message).await;
        }
        desk.is_cleared().await;
    }
}

async fn send(client: &Client, message: Message) {
    let Message { topic, payload, retained, arrived: _ } = message;
    // An error means that the connection is ending, which the poll beside us tells; the message stays on the desk.
    let _ = client.publish(&topic, payload, retained).await;
}
