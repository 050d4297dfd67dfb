//! One client for both versions of MQTT: 5.0, and 3.1.1 for brokers that know no better.
//!
//! The library has a separate client for each. This file is the one place that knows both; the rest of the intake sees
//! [`Client`], [`Connection`] and [`Packet`]. What either version does differently stands here:
//!
//! - 5.0 tells the broker our receive maximum, packet size and session expiry. 3.1.1 has no words for them: the broker's own
//!   settings hold, so we must take packets of any size that MQTT allows, or one huge message would be delivered, refused
//!   and delivered again for ever.
//! - 5.0 asks for retained messages with a new subscription only; in 3.1.1 they come again with each connection.
//!
//! Never reconnects: an event loop is polled until its first error and dropped.

mod v311;
mod v5;

use std::collections::VecDeque;
use std::time::Duration;

use crate::address::BrokerAddress;
use crate::identity::{self, Credentials};

/// How often a quiet connection shows that it is alive. A broker gives up on us after half as much again.
const KEEP_ALIVE: Duration = Duration::from_secs(30);

/// A broker that takes longer to let us in is as good as away.
const CONNECT_TIMEOUT_SECS: u64 = 5;

/// Unacknowledged messages that a 5.0 broker may have on the way to us: several blocks' worth, so that it sends while we sync.
pub(crate) const RECEIVE_MAXIMUM: u16 = 1_000;

/// A month: longer than any works holiday, so that the queue survives it.
const SESSION_EXPIRY_SECS: u32 = 30 * 24 * 3600;

/// What a 5.0 broker is told about packets. The decoder takes payloads of 4 MiB; there is room for topic and properties, and
/// for being told about those a little larger.
const LARGEST_PACKET: u32 = 5 << 20;

/// The largest packet that MQTT can write (3.1.1 section 2.2.3).
const LARGEST_PACKET_OF_ALL: usize = 268_435_455 + 5;

/// Requests waiting for the event loop: at most [`RECEIVE_MAXIMUM`] acknowledgements (see `outbox`), and what we ask of senders. With room for so
/// many, a full channel cannot happen to a living loop.
const REQUESTS: usize = 10_000;

/// A version of MQTT.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dialect {
    /// Version 5.0.
    V5,
    /// Version 3.1.1.
    V311,
}

/// What a connection is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Purpose {
    /// Subscribe, with a session that outlives the connection, and acknowledge by hand.
    Subscribe,
    /// Publish, with a session that ends with the connection and this many messages on the way.
    Publish {
        /// Unacknowledged messages of ours at a time.
        in_flight: u16,
    },
}

/// Everything that a connection needs to be opened.
#[derive(Debug, Clone)]
pub(crate) struct Settings {
    pub(crate) broker: BrokerAddress,
    pub(crate) client_id: String,
    pub(crate) credentials: Option<Credentials>,
    pub(crate) purpose: Purpose,
}

/// The packet id under which a message came: what an acknowledgement has to name. Worthless on any other connection.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct PacketId(u16);

/// The event loop takes no more: it has ended. Never a reason to try again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct LoopEnded;

/// A message from the broker.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Delivery {
    /// The topic; `Err` with what could be read of one that is not UTF-8.
    pub(crate) topic: Result<String, String>,
    pub(crate) payload: Vec<u8>,
    pub(crate) retained: bool,
    /// The broker says that it has sent this one before (the DUP flag). Never a reason to leave it out.
    pub(crate) again: bool,
    /// `None` for a message that was sent at most once and wants no acknowledgement.
    pub(crate) packet_id: Option<PacketId>,
}

/// The broker's answer to one filter of a subscription.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Grant {
    /// At least once, as asked for.
    Granted,
    /// At most once only: what is on the way when the connection breaks is lost.
    AtMostOnce,
    /// Not at all.
    Refused(String),
}

/// What happened on a connection, in words of ours.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Packet {
    /// The broker let us in.
    Connected { session_present: bool },
    /// The broker answered our subscription, one grant a filter.
    Subscribed(Vec<Grant>),
    /// A message came.
    Delivered(Delivery),
    /// One acknowledgement of ours has been written.
    AcknowledgementWritten,
    /// The broker acknowledged one message of ours; `Some` says why it does not want it.
    PublishAcknowledged { refused: Option<String> },
    /// Our farewell has been written.
    FarewellWritten,
    /// Anything else: pings and their answers.
    Other,
}

/// Why a connection ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Failure {
    /// Nobody there.
    Unreachable(String),
    /// The broker does not speak this version, and said so.
    VersionRefused,
    /// The broker hung up, kept silent or talked gibberish before it let us in: it may not speak this version.
    NotUnderstood(String),
    /// TLS did not come about: somebody's certificate is not good enough for the other.
    NotTrusted(String),
    /// The broker does not take our user and password, or wants some.
    LoginRefused(String),
    /// The broker does not want us.
    Refused(String),
    /// It broke after it had been open.
    Broken(String),
}

impl Failure {
    /// For people. `credentials` are those that we showed.
    pub(crate) fn says(&self, broker: &BrokerAddress, credentials: Option<&Credentials>) -> String {
        match self {
            Failure::NotTrusted(why) => format!("no safe connection to the broker at {broker}: {why}"),
            Failure::LoginRefused(code) => match credentials {
                Some(Credentials { user, .. }) => format!(
                    "the broker at {broker} does not let the user `{user}` in ({code}): the password is not the right one, or \
                     the broker does not know the user; see to `user` and its password in [mqtt]"
                ),
                None => format!(
                    "the broker at {broker} asks who we are ({code}); give `user` and `password_file` or `password_env` in \
                     [mqtt], or a client certificate"
                ),
            },
            Failure::Unreachable(why) => format!(
                "cannot reach the broker at {broker}: {why}; see whether it runs, and whether that is its address"
            ),
            Failure::VersionRefused => format!("the broker at {broker} refuses this version of MQTT"),
            Failure::NotUnderstood(why) => format!("the broker at {broker} did not let us in: {why}"),
            Failure::Refused(why) => format!("the broker at {broker} refuses us: {why}"),
            Failure::Broken(why) => format!("the connection to {broker} broke: {why}"),
        }
    }
}

/// Which version to try next. 5.0 until a broker does not understand it; then 3.1.1, and back if that is not understood either.
/// A broker that has once let us in keeps its version unless it refuses it in so many words: a restart in the
/// middle of a handshake must not cost us the receive maximum.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Tongue {
    next: Dialect,
    has_worked: bool,
}

impl Tongue {
    pub(crate) fn new(first: Dialect) -> Tongue {
        Tongue { next: first, has_worked: false }
    }

    pub(crate) fn next(self) -> Dialect {
        self.next
    }

    pub(crate) fn note_connected(&mut self) {
        self.has_worked = true;
    }

    pub(crate) fn note_failure(&mut self, failure: &Failure) {
        let other = match self.next {
            Dialect::V5 => Dialect::V311,
            Dialect::V311 => Dialect::V5,
        };
        match failure {
            Failure::VersionRefused => *self = Tongue::new(other),
            Failure::NotUnderstood(_) if !self.has_worked => self.next = other,
            Failure::NotUnderstood(_)
            | Failure::Unreachable(_)
            | Failure::NotTrusted(_)
            | Failure::LoginRefused(_)
            | Failure::Refused(_)
            | Failure::Broken(_) => {}
        }
    }
}

/// Hands requests to the event loop of one connection. Clones share the connection.
#[derive(Clone)]
pub(crate) enum Client {
    V5(rumqttc::v5::AsyncClient),
    V311(rumqttc::AsyncClient),
}

/// The event loop of one connection. It does nothing unless polled.
pub(crate) enum Connection {
    V5(Box<v5::Connection>),
    V311(Box<v311::Connection>),
}

/// A fresh client and event loop; the first poll connects.
pub(crate) fn open(dialect: Dialect, settings: &Settings) -> (Client, Connection) {
    match dialect {
        Dialect::V5 => {
            let (client, connection) = v5::open(settings);
            (Client::V5(client), Connection::V5(Box::new(connection)))
        }
        Dialect::V311 => {
            let (client, connection) = v311::open(settings);
            (Client::V311(client), Connection::V311(Box::new(connection)))
        }
    }
}

impl Connection {
    /// Waits for the next thing that happens. After an error the connection is over: polling again would reconnect with
    /// the old state, and old acknowledgements would go out under packet ids that the broker has used anew.
    ///
    /// Not to be cancelled unless the connection is given up: a request that is being written would be lost.
    pub(crate) async fn poll(&mut self) -> Result<Packet, Failure> {
        match self {
            Connection::V5(connection) => connection.poll().await,
            Connection::V311(connection) => connection.poll().await,
        }
    }
}

impl Client {
    /// Asks for these filters, each at least once.
    pub(crate) fn try_subscribe(&self, filters: &[String]) -> Result<(), LoopEnded> {
        match self {
            Client::V5(client) => v5::try_subscribe(client, filters),
            Client::V311(client) => v311::try_subscribe(client, filters),
        }
    }

    /// Hands over an acknowledgement. An error means that the connection has ended, never "try again".
    pub(crate) fn try_acknowledge(&self, packet_id: PacketId) -> Result<(), LoopEnded> {
        match self {
            Client::V5(client) => client.try_ack(&v5::named(packet_id)).map_err(|_| LoopEnded),
            Client::V311(client) => client.try_ack(&v311::named(packet_id)).map_err(|_| LoopEnded),
        }
    }

    /// Says goodbye once everything handed over before has been written. The session stays.
    pub(crate) fn try_say_goodbye(&self) -> Result<(), LoopEnded> {
        match self {
            Client::V5(client) => client.try_disconnect().map_err(|_| LoopEnded),
            Client::V311(client) => client.try_disconnect().map_err(|_| LoopEnded),
        }
    }

    /// Hands over a message that may be lost on the way and is not kept by the broker.
    pub(crate) fn try_publish_once(&self, topic: &str, payload: Vec<u8>) -> Result<(), LoopEnded> {
        match self {
            Client::V5(client) => {
                let at_most_once = rumqttc::v5::mqttbytes::QoS::AtMostOnce;
                client.try_publish(topic, at_most_once, false, payload).map_err(|_| LoopEnded)
            }
            Client::V311(client) => {
                let at_most_once = rumqttc::QoS::AtMostOnce;
                client.try_publish(topic, at_most_once, false, payload).map_err(|_| LoopEnded)
            }
        }
    }

    /// Publishes at least once; waits while the event loop has too much to do. Only for a task that does not poll the loop.
    pub(crate) async fn publish(
        &self,
        topic: &str,
        payload: Vec<u8>,
        retained: bool,
    ) -> Result<(), LoopEnded> {
        match self {
            Client::V5(client) => {
                let at_least_once = rumqttc::v5::mqttbytes::QoS::AtLeastOnce;
                client.publish(topic, at_least_once, retained, payload).await.map_err(|_| LoopEnded)
            }
            Client::V311(client) => {
                let at_least_once = rumqttc::QoS::AtLeastOnce;
                client.publish(topic, at_least_once, retained, payload).await.map_err(|_| LoopEnded)
            }
        }
    }
}

/// Was the connection let in yet? Decides what an error means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stage {
    Knocking,
    Open,
}

/// What went wrong with TLS before we were let in; `None` if it was something else.
fn tls_trouble(error: &(dyn std::error::Error + 'static), over_tls: bool) -> Option<Failure> {
    if let Some(sentence) = identity::sentence(error) {
        return Some(Failure::NotTrusted(sentence));
    }
    let hung_up = over_tls && identity::hung_up(error);
    hung_up.then(|| {
        Failure::NotTrusted(
            "it hung up during the TLS handshake; see to the port in `url` (8883 is usual for mqtts://), and whether the \
             broker asks for a certificate of ours (`certificate_file` and `key_file`)"
                .to_owned(),
        )
    })
}

/// The error and all that caused it, on one line.
fn chain(error: &dyn std::error::Error) -> String {
    let mut parts = VecDeque::from([error.to_string()]);
    let mut cause = error.source();
    while let Some(next) = cause {
        let text = next.to_string();
        if !parts.iter().any(|part| part.contains(&text)) {
            parts.push_back(text);
        }
        cause = next.source();
    }
    Vec::from(parts).join(": ")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tongue_after(failures: &[Failure]) -> Dialect {
        let mut tongue = Tongue::new(Dialect::V5);
        failures.iter().for_each(|failure| tongue.note_failure(failure));
        tongue.next()
    }

    #[test]
    fn a_broker_that_does_not_understand_five_is_tried_with_three() {
        let hung_up = Failure::NotUnderstood("closed".into());
        assert_eq!(tongue_after(std::slice::from_ref(&hung_up)), Dialect::V311);
        assert_eq!(tongue_after(&[Failure::VersionRefused]), Dialect::V311);
        assert_eq!(tongue_after(&[hung_up.clone(), hung_up]), Dialect::V5);
        assert_eq!(tongue_after(&[Failure::Unreachable("refused".into())]), Dialect::V5);
        assert_eq!(tongue_after(&[Failure::Refused("not authorised".into())]), Dialect::V5);
    }

    #[test]
    fn what_has_worked_is_kept_until_it_is_refused_in_words() {
        let mut tongue = Tongue::new(Dialect::V5);
        tongue.note_connected();
        tongue.note_failure(&Failure::NotUnderstood("restarting".into()));
        assert_eq!(tongue.next(), Dialect::V5);
        tongue.note_failure(&Failure::VersionRefused);
        assert_eq!(tongue.next(), Dialect::V311);
    }
}
