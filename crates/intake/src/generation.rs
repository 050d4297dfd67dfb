//! One connection's identity. Acknowledgements go through it and nowhere else, so that none can cross to a later connection,
//! where the broker may have given the same packet id to a message that is not yet on disk.

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use journal::Durable;
use tokio_util::sync::CancellationToken;

use crate::dialect::{Client, LoopEnded, PacketId};
use crate::outbox::{Next, Outbox};

/// A connection, from its first knock to its end.
pub(crate) struct Generation {
    number: u64,
    client: Client,
    outbox: Mutex<Outbox<Durable<PacketId>>>,
    unsendable: CancellationToken,
    delivered: AtomicU64,
    written: AtomicU64,
}

impl Generation {
    pub(crate) fn new(number: u64, client: Client) -> Generation {
        Generation {
            number,
            client,
            outbox: Mutex::new(Outbox::new()),
            unsendable: CancellationToken::new(),
            delivered: AtomicU64::new(0),
            written: AtomicU64::new(0),
        }
    }

    /// Counts up with each connection.
    pub(crate) fn number(&self) -> u64 {
        self.number
    }

    pub(crate) fn client(&self) -> &Client {
        &self.client
    }

    /// Acknowledges a message whose readings are on disk, behind those that were acknowledged before it. If that cannot be sent the connection
    /// is given up, never retried: the broker delivers again, and the journal's readers know a reading by machine, channel and time.
    pub(crate) fn acknowledge(&self, packet_id: Durable<PacketId>) -> bool {
        self.hand_over(|outbox| outbox.put(packet_id))
    }

    /// Says goodbye once everything acknowledged before has been written.
    pub(crate) fn say_goodbye(&self) -> bool {
        self.hand_over(Outbox::close)
    }

    /// Hands over what is next; under the lock, so that the order stays. `false` if it cannot be sent.
    fn hand_over(
        &self,
        next: impl FnOnce(&mut Outbox<Durable<PacketId>>) -> Option<Next<Durable<PacketId>>>,
    ) -> bool {
        let mut outbox = self.outbox.lock().unwrap_or_else(PoisonError::into_inner);
        let sent = match next(&mut outbox) {
            Some(Next::Acknowledgement(packet_id)) => self.client.try_acknowledge(packet_id.into_inner()),
            Some(Next::Goodbye) => self.client.try_say_goodbye(),
            None => Ok(()),
        };
        if sent == Err(LoopEnded) {
            self.unsendable.cancel();
        }
        sent.is_ok()
    }

    /// Resolves when something could not be sent.
    pub(crate) async fn unsendable(&self) {
        self.unsendable.cancelled().await;
    }

    /// A message came that wants an acknowledgement.
    pub(crate) fn note_delivered(&self) {
        self.delivered.fetch_add(1, Ordering::Relaxed);
    }

    /// An acknowledgement has been written to the network: the next one may follow.
    pub(crate) fn note_written(&self) {
        self.written.fetch_add(1, Ordering::Relaxed);
        self.hand_over(Outbox::written);
    }

    /// How the acknowledgements stand.
    pub(crate) fn tally(&self) -> Tally {
        Tally {
            delivered: self.delivered.load(Ordering::Relaxed),
            written: self.written.load(Ordering::Relaxed),
        }
    }
}

/// Messages delivered that want an acknowledgement, and acknowledgements written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Tally {
    pub(crate) delivered: u64,
    pub(crate) written: u64,
}

/// Tells a connection whose acknowledgements stand still although messages wait for them.
///
/// A network that swallows what we write, or a slip of ours in the bookkeeping, would otherwise look like a quiet day: the
/// broker has its window full and sends nothing. A held-up journal is no reason; reconnecting would not help it.
#[derive(Debug)]
pub(crate) struct Watchdog {
    patience: Duration,
    written: u64,
    moved_at: Instant,
}

impl Watchdog {
    pub(crate) fn new(patience: Duration, now: Instant) -> Watchdog {
        Watchdog { patience, written: 0, moved_at: now }
    }

    /// Looks at the tally; `true` when it has stood still for too long. `excused` while the journal is held up.
    pub(crate) fn bites(&mut self, tally: Tally, excused: bool, now: Instant) -> bool {
        let nothing_waits = tally.delivered <= tally.written;
        if nothing_waits || excused || tally.written != self.written {
            self.written = tally.written;
            self.moved_at = now;
        }
        now.duration_since(self.moved_at) >= self.patience
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_watchdog_bites_only_when_messages_wait_and_nothing_moves() {
        let start = Instant::now();
        let at = |seconds| start + Duration::from_secs(seconds);
        let tally = |delivered, written| Tally { delivered, written };
        let mut dog = Watchdog::new(Duration::from_secs(60), start);
        assert!(!dog.bites(tally(0, 0), false, at(500)), "a quiet day");
        assert!(!dog.bites(tally(5, 1), false, at(510)), "it moves");
        assert!(!dog.bites(tally(9, 1), false, at(569)));
        assert!(!dog.bites(tally(9, 1), true, at(600)), "the journal is held up");
        assert!(!dog.bites(tally(9, 1), false, at(659)));
        assert!(dog.bites(tally(9, 1), false, at(660)), "a minute without one");
        assert!(!dog.bites(tally(9, 9), false, at(800)), "all done");
    }
}
