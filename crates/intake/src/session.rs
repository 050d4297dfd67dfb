//! One connection to the broker: knock, subscribe, take messages, until it ends for whatever reason.
//!
//! A connection is used once. What ends it is told to the caller, who opens a fresh one: a client kept over a reconnect can
//! send an old acknowledgement under a packet id that the broker has used anew.
//!
//! The task that polls waits for room in the inbox and for nothing else. It never waits on its own client, because the poll
//! it would be waiting for is its own.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use model::Timestamp;
use tokio::sync::{Mutex, mpsc, oneshot, watch};
use tokio::time::{interval, sleep, timeout};
use tokio_util::sync::CancellationToken;
use tracing::{info, warn};
use wire::{Message, Reject};

use crate::config::Clock;
use crate::dialect::{self, Connection, Delivery, Dialect, Failure, Grant, Packet, Settings};
use crate::generation::{Generation, Watchdog};
use crate::inbox::{Delivered, Inbound, Room};
use crate::keeper::HeldUp;
use crate::stats::{IntakeStats, PossibleGap};

/// Twice the keep-alive: by then a broker that is there has answered, and a sync on the slowest disk is done.
const WATCHDOG_PATIENCE: Duration = Duration::from_secs(60);
const WATCHDOG_LOOKS_EVERY: Duration = Duration::from_secs(5);

/// After our farewell the broker closes. Closing first would throw away what it has not read yet, the last acknowledgements
/// among it; one that never closes is not waited for.
const BROKER_CLOSES_WITHIN: Duration = Duration::from_millis(500);

/// All acknowledgements are written by then, but for those after an outage; half of what stopping may take.
const FAREWELL_WRITTEN_WITHIN: Duration = Duration::from_secs(2);

/// The longest topic in the reject log. MQTT allows 65,535 bytes.
const TOPIC_CHARS: usize = 256;

/// Why a connection is over.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Ended {
    /// It failed.
    Failed(Failure),
    /// We gave it up: an acknowledgement could not be sent, or they stood still.
    GivenUp(&'static str),
    /// We said goodbye.
    Closed,
    /// Nobody takes from the inbox any more.
    InboxClosed,
}

/// Everything that stays the same from one connection to the next.
pub(crate) struct Common {
    pub(crate) settings: Settings,
    pub(crate) filters: Vec<String>,
    pub(crate) clock: Clock,
    pub(crate) inbox: mpsc::Sender<Inbound>,
    pub(crate) room: Room,
    pub(crate) held_up: watch::Receiver<HeldUp>,
    pub(crate) stats: Arc<IntakeStats>,
    pub(crate) stop: CancellationToken,
}

/// What the last connection leaves for the next.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Past {
    /// The last sign of the broker's having a session for us; `None` before the first connection of all.
    pub(crate) heard: Option<Timestamp>,
}

/// Are messages taken? Once we have been told to stop, what comes stays with the broker.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Door {
    Open,
    Shut,
}

/// One connection.
pub(crate) struct Session {
    common: Arc<Common>,
    generation: Arc<Generation>,
    past: Past,
    /// The broker has let us in: from here on messages may come, even before it answers our subscription.
    let_in: AtomicBool,
    /// The broker has answered our subscription.
    subscribed: AtomicBool,
    /// Held while a message goes into the inbox, so that none slips in behind the last flush.
    door: Mutex<Door>,
}

impl Session {
    /// Opens a connection with a number of its own and serves it to its end. Also tells whether it was ever subscribed.
    pub(crate) async fn serve(
        common: Arc<Common>,
        number: u64,
        dialect: Dialect,
        past: Past,
    ) -> (Ended, bool) {
        let (client, connection) = dialect::open(dialect, &common.settings);
        let generation = Arc::new(Generation::new(number, client));
        let session = Session {
            common,
            generation,
            past,
            let_in: AtomicBool::new(false),
            subscribed: AtomicBool::new(false),
            door: Mutex::new(Door::Open),
        };
        let ended = tokio::select! {
            ended = session.poll_to_the_end(connection) => ended,
            () = session.generation.unsendable() => Ended::GivenUp("an acknowledgement could not be sent"),
            () = session.stands_still() => Ended::GivenUp("acknowledgements stood still while messages waited"),
            ended = session.say_goodbye_when_told() => ended,
        };
        (ended, session.subscribed.load(Ordering::Relaxed))
    }

    async fn poll_to_the_end(&self, mut connection: Connection) -> Ended {
        loop {
            match connection.poll().await {
                Ok(Packet::FarewellWritten) => {
                    drain(&mut connection).await;
                    return Ended::Closed;
                }
                Ok(packet) => {
                    if let Err(ended) = self.handle(packet).await {
                        return ended;
                    }
                }
                Err(failure) => return Ended::Failed(failure),
            }
        }
    }

    async fn handle(&self, packet: Packet) -> Result<(), Ended> {
        match packet {
            Packet::Connected { session_present } => self.subscribe(session_present),
            Packet::Subscribed(grants) => {
                self.note_grants(&grants);
                Ok(())
            }
            Packet::Delivered(delivery) => self.pass_on(delivery).await,
            Packet::AcknowledgementWritten => {
                self.generation.note_written();
                Ok(())
            }
            Packet::PublishAcknowledged { .. } | Packet::FarewellWritten | Packet::Other => Ok(()),
        }
    }

    /// Subscribes on every connection: the plant file may have changed, and to repeat a subscription costs nothing.
    fn subscribe(&self, session_present: bool) -> Result<(), Ended> {
        self.let_in.store(true, Ordering::Relaxed);
        if let (false, Some(heard)) = (session_present, self.past.heard) {
            let gap = PossibleGap { from: heard, to: (self.common.clock)() };
            warn!(from = %gap.from, to = %gap.to, "the broker has no session for us; what was sent meanwhile may be lost");
            self.common.stats.note_possible_gap(gap);
        }
        self.generation
            .client()
            .try_subscribe(&self.common.filters)
            .map_err(|_| Ended::GivenUp("the subscription could not be sent"))
    }

    fn note_grants(&self, grants: &[Grant]) {
        let refused = refusals(&self.common.filters, grants);
        match &refused {
            Some(why) => warn!(%why, "subscribed in part"),
            None => {
                info!(broker = %self.common.settings.broker, connection = self.generation.number(), "subscribed")
            }
        }
        self.subscribed.store(true, Ordering::Relaxed);
        self.common.stats.note_connected(refused);
    }

    async fn pass_on(&self, delivery: Delivery) -> Result<(), Ended> {
        let door = self.door.lock().await;
        if *door == Door::Shut {
            return Ok(());
        }
        let arrived = (self.common.clock)();
        self.common.stats.note_message(arrived);
        let delivered = Delivered {
            place: self.common.room.take_place(delivery.payload.len()).await,
            packet_id: delivery.packet_id,
            again: delivery.again,
            generation: Arc::clone(&self.generation),
            content: readable(delivery, arrived),
        };
        if delivered.packet_id.is_some() {
            self.generation.note_delivered();
        }
        self.common.inbox.send(Inbound::Delivery(delivered)).await.map_err(|_| Ended::InboxClosed)
    }

    /// When told to stop: takes nothing more, waits until what was taken is on disk and acknowledged, and says goodbye behind
    /// the acknowledgements. The session stays with the broker, and so does everything that was not taken.
    async fn say_goodbye_when_told(&self) -> Ended {
        self.common.stop.cancelled().await;
        *self.door.lock().await = Door::Shut;
        if !self.let_in.load(Ordering::Relaxed) {
            return Ended::Closed;
        }
        let (done, settled) = oneshot::channel();
        if self.common.inbox.send(Inbound::Flush(done)).await.is_err() || settled.await.is_err() {
            return Ended::InboxClosed;
        }
        if self.generation.say_goodbye() {
            // Acknowledgements that do not get through in this time are for messages that will be delivered again.
            sleep(FAREWELL_WRITTEN_WITHIN).await;
        }
        Ended::Closed
    }

    async fn stands_still(&self) {
        let mut watchdog = Watchdog::new(WATCHDOG_PATIENCE, Instant::now());
        let mut looks = interval(WATCHDOG_LOOKS_EVERY);
        loop {
            looks.tick().await;
            let excused = *self.common.held_up.borrow() != HeldUp::No;
            if watchdog.bites(self.generation.tally(), excused, Instant::now()) {
                return;
            }
        }
    }
}

/// Reads on until the broker has closed, and lets what comes go: none of it is acknowledged.
async fn drain(connection: &mut Connection) {
    let closed = async { while connection.poll().await.is_ok() {} };
    // A broker that does not close is left alone; we drop the connection either way.
    let _ = timeout(BROKER_CLOSES_WITHIN, closed).await;
}

fn readable(delivery: Delivery, arrived: Timestamp) -> Result<Message, Reject> {
    let Delivery { topic, payload, retained, again: _, packet_id: _ } = delivery;
    match topic {
        Ok(topic) => Ok(Message { topic, payload, arrived, retained }),
        Err(topic) => {
            let topic = topic.chars().take(TOPIC_CHARS).collect();
            Err(Reject {
                topic,
                arrived,
                reason: "the topic is not UTF-8".to_owned(),
                excerpt: String::new(),
            })
        }
    }
}

/// A sentence about what the broker did not grant; `None` if it granted everything.
fn refusals(filters: &[String], grants: &[Grant]) -> Option<String> {
    let mut refused: Vec<String> = filters
        .iter()
        .zip(grants)
        .filter_map(|(filter, grant)| match grant {
            Grant::Granted => None,
            Grant::AtMostOnce => {
                Some(format!("the broker grants `{filter}` at QoS 0 only, so messages can be lost"))
            }
            Grant::Refused(code) => {
                Some(format!("the broker refuses the subscription to `{filter}` ({code})"))
            }
        })
        .collect();
    if grants.len() < filters.len() {
        refused.push(format!("the broker answered {} of {} subscriptions", grants.len(), filters.len()));
    }
    (!refused.is_empty()).then(|| format!("{}; see to the broker's access rules", refused.join("; ")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_granted_is_told() {
        let filters = ["works/#".to_owned(), "oven/+".to_owned()];
        assert_eq!(refusals(&filters, &[Grant::Granted, Grant::Granted]), None);
        assert_eq!(
            refusals(&filters, &[Grant::AtMostOnce, Grant::Refused("NotAuthorized".into())]).unwrap(),
            "the broker grants `works/#` at QoS 0 only, so messages can be lost; the broker refuses the \
             subscription to `oven/+` (NotAuthorized); see to the broker's access rules"
        );
        assert!(refusals(&filters, &[Grant::Granted]).unwrap().starts_with("the broker answered 1 of 2"));
    }
}
