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
        let lost = counts.given_up + counts.dropped;
        let fault = counts.latest_fault.map_or_else(String::new, |fault| format!(" The latest: {fault}."));
        match lost {
            0 => Vec::new(),
            1 => vec![format!("One message about an alarm did not reach anybody.{fault}")],
            n => vec![format!("{n} messages about alarms did not reach anybody.{fault}")],
        }
    }

    pub(crate) fn note(&self, change: impl FnOnce(&mut ReachCounts)) {
        change(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner));
    }

    pub(crate) fn counts(&self) -> ReachCounts {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }
}
