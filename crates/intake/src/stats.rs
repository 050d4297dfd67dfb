//! What the intake can say about itself: counters, how it stands, possible gaps and the reject log.
//!
//! Written by the intake's tasks, read by `/healthz` and the setup page. Every list is bounded, the oldest goes first.
//! Never decides anything.

use std::collections::{BTreeMap, VecDeque};
use std::sync::atomic::{AtomicI64, AtomicU64, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use model::{MachineId, Timestamp};
use tracing::{info, warn};
use wire::Reject;

use crate::flood::{Flood, Shown};
use crate::rejects::{RejectLog, Telling};
use crate::timings::{Spread, Timings};

/// A broker that forgets its sessions every night fills this in three months.
const GAPS_KEPT: usize = 100;

/// How the intake stands, for `/healthz` and every page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum IntakeState {
    /// Subscribed, and what comes is stored.
    Connected,
    /// No connection; tries go on.
    Reconnecting {
        /// What the last try met with.
        why: String,
    },
    /// Something keeps readings from being stored; nothing is acknowledged meanwhile and the broker keeps the queue.
    Stalled {
        /// What it is, and what to do.
        why: String,
    },
    /// Shut down.
    Stopped,
}

/// A time in which messages may have been lost, because the broker had no session for us.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PossibleGap {
    /// The last arrival before it.
    pub from: Timestamp,
    /// When we were subscribed again.
    pub to: Timestamp,
}

/// What the broker tells of messages that it has thrown away, for all its subscribers together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BrokerDrops {
    /// Since the broker was started.
    pub in_all: u64,
    /// Since we began to watch.
    pub while_watched: u64,
}

/// The counters at one moment. All count from the start of the service.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counts {
    /// Messages taken from the broker.
    pub messages: u64,
    /// Readings on disk.
    pub readings: u64,
    /// Events on disk.
    pub events: u64,
    /// Messages or parts of messages that could not be read.
    pub rejected: u64,
    /// Messages handed over for acknowledgement after they were on disk.
    pub acknowledged: u64,
    /// Blocks on disk.
    pub blocks: u64,
    /// Connections that were accepted by the broker.
    pub connections: u64,
    /// Messages that the broker delivered again and whose readings have no time of their own: where the first copy was stored
    /// and only its acknowledgement got lost, they are there twice.
    pub maybe_twice: u64,
    /// Messages whose readings have no time of their own and had to share a moment with others, because more than ten thousand
    /// came at once: the last value of each moment is there.
    pub crowded: u64,
    /// Connections that were given up because an acknowledgement could not be sent or stood still.
    pub given_up: u64,
}

/// The intake's account of itself, shared by reference.
#[derive(Debug)]
pub struct IntakeStats {
    messages: AtomicU64,
    readings: AtomicU64,
    events: AtomicU64,
    rejected: AtomicU64,
    acknowledged: AtomicU64,
    blocks: AtomicU64,
    connections: AtomicU64,
    maybe_twice: AtomicU64,
    crowded: AtomicU64,
    given_up: AtomicU64,
    last_arrival_ms: AtomicI64,
    newest_block: AtomicU64,
    commits: Timings,
    delays: Timings,
    drops: Mutex<Option<BrokerDrops>>,
    standing: Mutex<Standing>,
    gaps: Mutex<VecDeque<PossibleGap>>,
    rejects: Mutex<RejectLog>,
    /// At most one a machine of the plant file.
    floods: Mutex<BTreeMap<MachineId, Flood>>,
}

#[derive(Debug)]
struct Standing {
    link: Link,
    /// Why the journal takes nothing, if so.
    journal: Option<String>,
    /// What the broker did not grant of our subscriptions.
    refused: Option<String>,
}

#[derive(Debug)]
enum Link {
    Up,
    Down { why: String },
    Stopped,
}

/// No message has come yet.
const NEVER: i64 = i64::MIN;

impl Default for IntakeStats {
    fn default() -> IntakeStats {
        IntakeStats {
            messages: AtomicU64::new(0),
            readings: AtomicU64::new(0),
            events: AtomicU64::new(0),
            rejected: AtomicU64::new(0),
            acknowledged: AtomicU64::new(0),
            blocks: AtomicU64::new(0),
            connections: AtomicU64::new(0),
            maybe_twice: AtomicU64::new(0),
            crowded: AtomicU64::new(0),
            given_up: AtomicU64::new(0),
            last_arrival_ms: AtomicI64::new(NEVER),
            newest_block: AtomicU64::new(0),
            commits: Timings::default(),
            delays: Timings::default(),
            drops: Mutex::default(),
            standing: Mutex::new(Standing {
                link: Link::Down { why: "not connected yet".to_owned() },
                journal: None,
                refused: None,
            }),
            gaps: Mutex::default(),
            rejects: Mutex::default(),
            floods: Mutex::default(),
        }
    }
}

/// A poisoned lock only means that some other thread panicked; the account is still worth reading.
fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl IntakeStats {
    /// Nothing counted yet, not connected.
    pub fn new() -> IntakeStats {
        IntakeStats::default()
    }

    /// The counters now.
    pub fn counts(&self) -> Counts {
        let read = |counter: &AtomicU64| counter.load(Ordering::Relaxed);
        Counts {
            messages: read(&self.messages),
            readings: read(&self.readings),
            events: read(&self.events),
            rejected: read(&self.rejected),
            acknowledged: read(&self.acknowledged),
            blocks: read(&self.blocks),
            connections: read(&self.connections),
            maybe_twice: read(&self.maybe_twice),
            crowded: read(&self.crowded),
            given_up: read(&self.given_up),
        }
    }

    /// How the intake stands now. What keeps readings from disk is told before what keeps us from the broker.
    pub fn state(&self) -> IntakeState {
        let standing = lock(&self.standing);
        match (&standing.link, &standing.journal, &standing.refused) {
            (Link::Stopped, _, _) => IntakeState::Stopped,
            (Link::Up | Link::Down { .. }, Some(why), _) => IntakeState::Stalled { why: why.clone() },
            (Link::Down { why }, None, _) => IntakeState::Reconnecting { why: why.clone() },
            (Link::Up, None, Some(why)) => IntakeState::Stalled { why: why.clone() },
            (Link::Up, None, None) => IntakeState::Connected,
        }
    }

    /// When the last message came in.
    pub fn last_arrival(&self) -> Option<Timestamp> {
        let millis = self.last_arrival_ms.load(Ordering::Relaxed);
        (millis != NEVER).then(|| Timestamp::from_millis(millis))
    }

    /// The newest block that this service has put on disk; 0 before the first.
    pub fn newest_block(&self) -> u64 {
        self.newest_block.load(Ordering::Relaxed)
    }

    /// How long it took to put each block on disk.
    pub fn commit_times(&self) -> Spread {
        self.commits.spread()
    }

    /// How long after its own time each reading was on disk. Readings that came with a past, from a gateway that had kept
    /// them, are not counted.
    pub fn durable_delays(&self) -> Spread {
        self.delays.spread()
    }

    /// What the broker tells of dropped messages; `None` if it tells nothing.
    pub fn broker_drops(&self) -> Option<BrokerDrops> {
        *lock(&self.drops)
    }

    /// The possible gaps, oldest first.
    pub fn possible_gaps(&self) -> Vec<PossibleGap> {
        lock(&self.gaps).iter().cloned().collect()
    }

    /// The reject log, oldest first: the newest thousand.
    pub fn rejects(&self) -> Vec<Reject> {
        lock(&self.rejects).kept()
    }

    /// Machines that send too much, each until it has had a quieter minute.
    pub fn floods(&self) -> Vec<Flood> {
        lock(&self.floods).values().cloned().collect()
    }

    pub(crate) fn note_message(&self, arrived: Timestamp) {
        self.messages.fetch_add(1, Ordering::Relaxed);
        self.last_arrival_ms.store(arrived.as_millis(), Ordering::Relaxed);
    }

    pub(crate) fn note_block(&self, readings: u64, events: u64) {
        self.readings.fetch_add(readings, Ordering::Relaxed);
        self.events.fetch_add(events, Ordering::Relaxed);
        self.blocks.fetch_add(1, Ordering::Relaxed);
    }

    pub(crate) fn note_newest_block(&self, number: u64) {
        self.newest_block.store(number, Ordering::Relaxed);
    }

    pub(crate) fn note_commit(&self, took: Duration) {
        self.commits.add(took);
    }

    pub(crate) fn note_delay(&self, took: Duration) {
        self.delays.add(took);
    }

    /// The broker's count begins anew when the broker does.
    pub(crate) fn note_broker_drops(&self, in_all: u64) {
        let mut drops = lock(&self.drops);
        let while_watched = drops
            .map_or(0, |before| before.while_watched + in_all.checked_sub(before.in_all).unwrap_or(in_all));
        *drops = Some(BrokerDrops { in_all, while_watched });
    }

    pub(crate) fn note_acknowledged(&self) {
        self.acknowledged.fetch_add(1, Ordering::Relaxed);
    }

    pub(crate) fn note_reject(&self, reject: Reject) {
        self.rejected.fetch_add(1, Ordering::Relaxed);
        let telling = lock(&self.rejects).note(reject, Instant::now());
        if let Some(Telling { rejects, newest }) = telling {
            warn!(
                rejects,
                topic = newest.topic,
                reason = newest.reason,
                "messages could not be read; this was the newest"
            );
        }
    }

    /// What the meter has shown of a machine.
    pub(crate) fn note_flood(&self, shown: Shown) {
        match shown {
            Shown::Over(flood) => {
                warn!(machine = %flood.machine, "{flood}");
                lock(&self.floods).insert(flood.machine.clone(), flood);
            }
            Shown::Quiet(machine) => {
                info!(%machine, "no longer sends too much");
                lock(&self.floods).remove(&machine);
            }
        }
    }

    pub(crate) fn note_possible_gap(&self, gap: PossibleGap) {
        push_bounded(&mut lock(&self.gaps), gap, GAPS_KEPT);
    }

    pub(crate) fn note_crowded(&self) {
        self.crowded.fetch_add(1, Ordering::Relaxed);
    }

    pub(crate) fn note_maybe_twice(&self) {
        self.maybe_twice.fetch_add(1, Ordering::Relaxed);
    }

    pub(crate) fn note_given_up(&self) {
        self.given_up.fetch_add(1, Ordering::Relaxed);
    }

    /// The broker has answered our subscriptions; `refused` says what it did not grant.
    pub(crate) fn note_connected(&self, refused: Option<String>) {
        self.connections.fetch_add(1, Ordering::Relaxed);
        let mut standing = lock(&self.standing);
        standing.link = Link::Up;
        standing.refused = refused;
    }

    pub(crate) fn note_disconnected(&self, why: String) {
        lock(&self.standing).link = Link::Down { why };
    }

    pub(crate) fn note_stopped(&self) {
        lock(&self.standing).link = Link::Stopped;
    }

    /// The journal takes nothing (`Some`), or takes again (`None`).
    pub(crate) fn note_journal(&self, stalled: Option<String>) {
        lock(&self.standing).journal = stalled;
    }
}

fn push_bounded<T>(list: &mut VecDeque<T>, item: T, kept: usize) {
    if list.len() == kept {
        list.pop_front();
    }
    list.push_back(item);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_keeps_readings_from_disk_is_told_first() {
        let stats = IntakeStats::new();
        assert_eq!(stats.state(), IntakeState::Reconnecting { why: "not connected yet".into() });
        stats.note_connected(None);
        assert_eq!(stats.state(), IntakeState::Connected);
        stats.note_journal(Some("the disk is full".into()));
        stats.note_disconnected("closed".into());
        assert_eq!(stats.state(), IntakeState::Stalled { why: "the disk is full".into() });
        stats.note_journal(None);
        assert_eq!(stats.state(), IntakeState::Reconnecting { why: "closed".into() });
        stats.note_connected(Some("the broker refuses `works/#`".into()));
        assert_eq!(stats.state(), IntakeState::Stalled { why: "the broker refuses `works/#`".into() });
        stats.note_stopped();
        assert_eq!(stats.state(), IntakeState::Stopped);
    }

    #[test]
    fn drops_are_counted_from_the_first_word_on_and_over_a_restart_of_the_broker() {
        let stats = IntakeStats::new();
        assert_eq!(stats.broker_drops(), None);
        for told in [40, 40, 43, 2] {
            stats.note_broker_drops(told);
        }
        assert_eq!(stats.broker_drops(), Some(BrokerDrops { in_all: 2, while_watched: 5 }));
    }

    #[test]
    fn lists_stay_bounded_and_keep_the_newest() {
        let mut list = VecDeque::new();
        for item in 0..5 {
            push_bounded(&mut list, item, 3);
        }
        assert_eq!(list, [2, 3, 4]);
    }
}
