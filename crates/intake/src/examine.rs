//! One look at the broker, for a person who wants to know why nothing comes: does it let us in, and what does it send?
//!
//! Goes by a name of its own and leaves no session behind, so that a service that is running loses nothing to it.

use std::time::Duration;

use tokio::time::{Instant, timeout_at};
use wire::Message;

use crate::dialect::{self, Connection, Dialect, Grant, Packet, Purpose, Settings, Tongue};
use crate::{BrokerAddress, Clock, Credentials};

/// A person waits for this; no broker that is there needs as long.
const LET_IN_WITHIN: Duration = Duration::from_secs(10);
/// Enough to see that something comes and how its times stand; a fast plant must not fill the memory.
const MESSAGES_KEPT: usize = 2_000;

/// What the broker showed.
#[derive(Debug, Clone)]
pub struct Answer {
    /// The version of MQTT that it speaks with us.
    pub dialect: Dialect,
    /// Filters that it refuses us, with its reason.
    pub refused: Vec<(String, String)>,
    /// How many messages it sent while we listened, besides those that it keeps for newcomers.
    pub live: u64,
    /// The first of these.
    pub messages: Vec<Message>,
}

/// Connects, subscribes to `filters` and listens for `listen`.
///
/// # Errors
/// A sentence that says why we were not let in, and what to do.
pub async fn examine(
    broker: BrokerAddress,
    client_id: &str,
    credentials: Option<Credentials>,
    filters: &[String],
    listen: Duration,
    clock: &Clock,
) -> Result<Answer, String> {
    let settings = Settings {
        broker,
        client_id: format!("{client_id}-doctor"),
        credentials,
        purpose: Purpose::Publish { in_flight: 1 },
    };
    let until = Instant::now() + LET_IN_WITHIN;
    let mut tongue = Tongue::new(Dialect::V5);
    let mut first = None;
    // The second try is for a broker that speaks the older version alone.
    for _ in 0..2 {
        let dialect = tongue.next();
        let (client, mut connection) = dialect::open(dialect, &settings);
        let failure = match timeout_at(until, let_in(&mut connection)).await {
            Ok(Ok(())) => {
                client.try_subscribe(filters).map_err(|_| "the connection ended at once".to_owned())?;
                let mut answer = Answer { dialect, refused: Vec::new(), live: 0, messages: Vec::new() };
                let heard = hear(&mut connection, filters, clock, &mut answer);
                return match timeout_at(Instant::now() + listen, heard).await {
                    Ok(failure) => Err(failure.says(&settings.broker, settings.credentials.as_ref())),
                    Err(_) => Ok(answer),
                };
            }
            Ok(Err(failure)) => failure,
            Err(_) => {
                return Err(format!(
                    "what is at {} does not answer within {} s; see whether that is the broker's address, and whether a firewall is between",
                    settings.broker,
                    LET_IN_WITHIN.as_secs()
                ));
            }
        };
        tongue.note_failure(&failure);
        let says = failure.says(&settings.broker, settings.credentials.as_ref());
        if tongue.next() == dialect {
            return Err(first.unwrap_or(says));
        }
        first.get_or_insert(says);
    }
    Err(first.expect("two tries failed, so the first one said why"))
}

async fn let_in(connection: &mut Connection) -> Result<(), dialect::Failure> {
    loop {
        if let Packet::Connected { .. } = connection.poll().await? {
            return Ok(());
        }
    }
}

/// Listens until the connection breaks.
async fn hear(
    connection: &mut Connection,
    filters: &[String],
    clock: &Clock,
    answer: &mut Answer,
) -> dialect::Failure {
    loop {
        match connection.poll().await {
            Ok(Packet::Subscribed(grants)) => {
                answer.refused = filters.iter().zip(grants).filter_map(refused).collect();
            }
            Ok(Packet::Delivered(delivery)) if !delivery.retained => {
                answer.live += 1;
                if let (Ok(topic), true) = (delivery.topic, answer.messages.len() < MESSAGES_KEPT) {
                    let (payload, arrived) = (delivery.payload, clock());
                    answer.messages.push(Message { topic, payload, arrived, retained: false });
                }
            }
            Ok(
                Packet::Connected { .. }
                | Packet::Delivered(_)
                | Packet::AcknowledgementWritten
                | Packet::PublishAcknowledged { .. }
                | Packet::FarewellWritten
                | Packet::Other,
            ) => {}
            Err(failure) => return failure,
        }
    }
}

fn refused((filter, grant): (&String, Grant)) -> Option<(String, String)> {
    match grant {
        Grant::Refused(why) => Some((filter.clone(), why)),
        Grant::Granted | Grant::AtMostOnce => None,
    }
}
