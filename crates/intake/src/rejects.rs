//! The reject log: the newest of what could not be read, bounded in number and in bytes, and told to the log now and then.
//!
//! A sender that is set up wrongly, or means harm, can send bad messages as fast as the broker takes them. Each is counted and
//! acknowledged; what is kept of them stays in memory, so that they cost no disk, and the service's log gets one line a minute
//! that says how many there were. Time is an argument.

use std::collections::VecDeque;
use std::time::{Duration, Instant};

use wire::Reject;

/// Enough to look through when a sender is set up wrongly.
const MOST_KEPT: usize = 1_000;

/// Topics and excerpts are cut where a reject is made, so this is reached only if a reason repeats a long text of the payload.
const MOST_BYTES: usize = 1 << 20;

/// The longest reason: three lines on a page.
const REASON_CHARS: usize = 400;

/// A person who looks at the log sees that it goes on; a day of it is 1,440 lines.
const TOLD_EVERY: Duration = Duration::from_secs(60);

/// What is kept of the rejects.
#[derive(Debug, Default)]
pub(crate) struct RejectLog {
    kept: VecDeque<Reject>,
    bytes: usize,
    told_at: Option<Instant>,
    untold: u64,
}

/// A line for the service's log.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Telling {
    /// How many there were since the last one.
    pub(crate) rejects: u64,
    /// The newest.
    pub(crate) newest: Reject,
}

impl RejectLog {
    /// Takes in a reject, and says so if it is time to tell the log.
    pub(crate) fn note(&mut self, mut reject: Reject, now: Instant) -> Option<Telling> {
        if let Some((end, _)) = reject.reason.char_indices().nth(REASON_CHARS) {
            reject.reason.truncate(end);
            reject.reason.push('…');
        }
        self.untold += 1;
        let is_due = self.told_at.is_none_or(|told_at| TOLD_EVERY <= now.duration_since(told_at));
        let telling = is_due.then(|| {
            self.told_at = Some(now);
            Telling { rejects: std::mem::take(&mut self.untold), newest: reject.clone() }
        });
        self.bytes += size(&reject);
        self.kept.push_back(reject);
        while MOST_KEPT < self.kept.len() || MOST_BYTES < self.bytes {
            let Some(oldest) = self.kept.pop_front() else { break };
            self.bytes -= size(&oldest);
        }
        telling
    }

    /// Oldest first.
    pub(crate) fn kept(&self) -> Vec<Reject> {
        self.kept.iter().cloned().collect()
    }
}

fn size(reject: &Reject) -> usize {
    size_of::<Reject>() + reject.topic.len() + reject.reason.len() + reject.excerpt.len()
}

#[cfg(test)]
mod tests {
    use model::Timestamp;

    use super::*;

    fn reject(n: usize, reason: &str, excerpt: &str) -> Reject {
        Reject {
            topic: format!("works/alder/{n}"),
            arrived: Timestamp::from_millis(0),
            reason: reason.to_owned(),
            excerpt: excerpt.to_owned(),
        }
    }

    #[test]
    fn a_flood_keeps_the_newest_and_stays_within_its_bounds() {
        let mut log = RejectLog::default();
        let now = Instant::now();
        let told = (0..50_000).filter(|n| log.note(reject(*n, "no number", "warm"), now).is_some()).count();
        assert_eq!((told, log.kept.len()), (1, MOST_KEPT));
        assert_eq!(log.kept().last().unwrap().topic, "works/alder/49999");

        let long = "é".repeat(1_000_000);
        (0..2_000).for_each(|n| drop(log.note(reject(n, &long, &"x".repeat(4_000)), now)));
        assert!(log.bytes <= MOST_BYTES, "{}", log.bytes);
        assert_eq!(log.bytes, log.kept.iter().map(size).sum::<usize>());
        assert_eq!(log.kept()[0].reason.chars().count(), REASON_CHARS + 1);
    }

    #[test]
    fn the_log_is_told_once_a_minute_how_many_there_were() {
        let mut log = RejectLog::default();
        let start = Instant::now();
        let rejects = |telling: Option<Telling>| telling.map(|telling| telling.rejects);
        assert_eq!(rejects(log.note(reject(0, "a", ""), start)), Some(1), "the first one at once");
        for second in 1..60 {
            assert_eq!(log.note(reject(1, "b", ""), start + Duration::from_secs(second)), None);
        }
        assert_eq!(rejects(log.note(reject(2, "c", ""), start + Duration::from_secs(61))), Some(60));
    }
}
