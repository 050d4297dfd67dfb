//! What became of messages, for the page about health and for a monitoring program.

use std::sync::{Mutex, PoisonError};

use model::{Span, Timestamp};

/// A message that reached nobody is told so long: the shift that comes on next still sees it. After that the figures tell it alone, so that
/// one bad night does not hide the next trouble.
const LOST_TOLD_FOR: Span = Span::from_hours(8);

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
    /// Those that have been lost since the last eight hours without one.
    pub(crate) lost_lately: u64,
    /// When and why the latest was lost.
    pub(crate) latest_loss: Option<(Timestamp, String)>,
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
    pub fn says(&self, now: Timestamp) -> Vec<String> {
        let counts = self.counts();
        [counts.says_memory(), counts.says_late(), counts.says_lost(now)].into_iter().flatten().collect()
    }

    pub(crate) fn note(&self, change: impl FnOnce(&mut ReachCounts)) {
        change(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner));
    }

    pub(crate) fn counts(&self) -> ReachCounts {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }
}

impl ReachCounts {
    /// A message has been given up or thrown away.
    pub(crate) fn lose(&mut self, at: Timestamp, fault: String) {
        if !self.tells_lost(at) {
            self.lost_lately = 0;
        }
        self.lost_lately += 1;
        self.latest_loss = Some((at, fault));
    }

    fn tells_lost(&self, now: Timestamp) -> bool {
        self.latest_loss.as_ref().is_some_and(|(at, _)| now.since(*at) < LOST_TOLD_FOR)
    }

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

    fn says_lost(&self, now: Timestamp) -> Option<String> {
        let (_, fault) = self.latest_loss.as_ref().filter(|_| self.tells_lost(now))?;
        Some(match self.lost_lately {
            1 => format!("One message about an alarm did not reach anybody: {fault}."),
            n => format!("{n} messages about alarms did not reach anybody. The latest: {fault}."),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_lost_is_told_for_a_shift() {
        let at = |hours| Timestamp::from_millis(1_772_344_800_000) + Span::from_hours(hours);
        let stats = ReachStats::default();
        let lose = |hours| {
            stats.note(|counts| {
                counts.given_up += 1;
                counts.lose(at(hours), "lead: nobody listens there".to_owned());
            });
        };
        lose(0);
        lose(5);
        let two = "2 messages about alarms did not reach anybody. The latest: lead: nobody listens there.";
        assert_eq!(stats.says(at(12)), [two]);
        assert_eq!(stats.says(at(13)), [] as [String; 0], "eight hours without another");
        lose(14);
        assert_eq!(
            stats.says(at(14)),
            ["One message about an alarm did not reach anybody: lead: nobody listens there."]
        );
        assert_eq!(stats.lost(), 3, "the figure for a monitoring program only grows");
    }
}
