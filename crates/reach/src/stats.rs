//! What became of messages, for the page about health and for a monitoring program.

use std::sync::{Mutex, PoisonError};

/// Counts since the start.
#[derive(Debug, Default)]
pub struct ReachStats(Mutex<ReachCounts>);

/// Counts since the start.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct ReachCounts {
    pub(crate) arrived: u64,
    pub(crate) given_up: u64,
    pub(crate) dropped: u64,
    pub(crate) waiting: u64,
    pub(crate) latest_fault: Option<String>,
    /// Messages that have failed more than once and are tried again.
    pub(crate) late: u64,
    /// Why one of these is late.
    pub(crate) late_because: Option<String>,
    /// Nobody can be told, because the records do not say who was told before.
    pub(crate) cannot_remember: bool,
}

impl ReachStats {
    /// Messages that got there.
    pub fn arrived(&self) -> u64 {
        self.counts().arrived
    }

    /// Messages that were given up after several tries or refused, and those for which there was no room in the queue.
    pub fn lost(&self) -> u64 {
        let counts = self.counts();
        counts.given_up + counts.dropped
    }

    /// Messages that wait.
    pub fn waiting(&self) -> u64 {
        self.counts().waiting
    }

    /// What people have to know, in a sentence each.
    pub fn says(&self) -> Vec<String> {
        let counts = self.counts();
        [counts.says_memory(), counts.says_late(), counts.says_lost()].into_iter().flatten().collect()
    }

    pub(crate) fn note(&self, change: impl FnOnce(&mut ReachCounts)) {
        change(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner));
    }

    pub(crate) fn counts(&self) -> ReachCounts {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }
}

impl ReachCounts {
    fn says_memory(&self) -> Option<String> {
        let says = "Nobody is told of new alarms just now: the records cannot be read, and they say who was told before.";
        self.cannot_remember.then(|| says.to_owned())
    }

    fn says_late(&self) -> Option<String> {
        let why = self.late_because.as_deref().unwrap_or_default();
        match self.late {
            0 => None,
            1 => Some(format!(
                "One message about an alarm does not get through so far, and is tried again: {why}."
            )),
            n => Some(format!(
                "{n} messages about alarms do not get through so far, and are tried again. One of them: {why}."
            )),
        }
    }

    fn says_lost(&self) -> Option<String> {
        let fault =
            self.latest_fault.as_ref().map_or_else(String::new, |fault| format!(" The latest: {fault}."));
        match self.given_up + self.dropped {
            0 => None,
            1 => Some(format!("One message about an alarm did not reach anybody.{fault}")),
            n => Some(format!("{n} messages about alarms did not reach anybody.{fault}")),
        }
    }
}
