//! What the intake can say about itself: counters, how it stands, possible gaps and the reject log.
//!
//! Written by the intake's tasks, read by `/healthz` and the setup page. Every list is bounded, the oldest goes first.
//! Never decides anything.

use std::collections::VecDeque;
use std::sync::atomic::{AtomicI64, AtomicU64, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};

use model::Timestamp;
use wire::Reject;

/// Enough to look through when a sender is set up wrongly, half a megabyte at most; the counter goes on beyond it.
const REJECTS_KEPT: usize = 1_000;

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
    given_up: AtomicU64,
    last_arrival_ms: AtomicI64,
    standing: Mutex<Standing>,
    gaps: Mutex<VecDeque<PossibleGap>>,
    rejects: Mutex<VecDeque<Reject>>,
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
            given_up: AtomicU64::new(0),
            last_arrival_ms: AtomicI64::new(NEVER),
            standing: Mutex::new(Standing {
                link: Link::Down { why: "not connected yet".to_owned() },
                journal: None,
                refused: None,
            }),
            gaps: Mutex::default(),
            rejects: Mutex::default(),
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

    /// The possible gaps, oldest first.
    pub fn possible_gaps(&self) -> Vec<PossibleGap> {
        lock(&self.gaps).iter().cloned().collect()
    }

    /// The reject log, oldest first: the newest thousand.
    pub fn rejects(&self) -> Vec<Reject> {
        lock(&self.rejects).iter().cloned().collect()
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

    pub(crate) fn note_acknowledged(&self) {
        self.acknowledged.fetch_add(1, Ordering::Relaxed);
    }

    pub(crate) fn note_reject(&self, reject: Reject) {
        self.rejected.fetch_add(1, Ordering::Relaxed);
        push_bounded(&mut lock(&self.rejects), reject, REJECTS_KEPT);
    }

    pub(crate) fn note_possible_gap(&self, gap: PossibleGap) {
        push_bounded(&mut lock(&self.gaps), gap, GAPS_KEPT);
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
    fn lists_stay_bounded_and_keep_the_newest() {
        let mut list = VecDeque::new();
        for item in 0..5 {
            push_bounded(&mut list, item, 3);
        }
        assert_eq!(list, [2, 3, 4]);
    }
}
