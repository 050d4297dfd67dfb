//! Messages that wait: bounded, the urgent ones first, each tried again with growing patience.

use std::time::Duration;

use tokio::time::Instant;

use crate::message::Message;
use crate::policy::Key;

/// Messages that wait at most: an hour of the worst flood that a shop floor knows. When it is full, the least urgent goes.
const MOST_WAITING: usize = 200;
/// So many tries; with the waits between them it takes a quarter of an hour.
const MOST_TRIES: u32 = 7;
/// Before the second try; doubled each time.
const FIRST_WAIT: Duration = Duration::from_secs(10);

/// A message on its way.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Pending {
    pub(crate) key: Key,
    pub(crate) message: Message,
    tries: u32,
    next: Instant,
}

/// What becomes of one that did not get there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Next {
    /// It has failed so often.
    Again(u32),
    GivenUp,
}

/// Messages that wait.
#[derive(Debug, Default)]
pub(crate) struct Outbox {
    waiting: Vec<Pending>,
}

impl Outbox {
    /// Takes a message in. Answers what had to go for it, if the box was full.
    pub(crate) fn put(&mut self, key: Key, message: Message, now: Instant) -> Option<Pending> {
        self.waiting.push(Pending { key, message, tries: 0, next: now });
        self.drop_one_too_many()
    }

    fn drop_one_too_many(&mut self) -> Option<Pending> {
        if self.waiting.len() <= MOST_WAITING {
            return None;
        }
        // The first of the least urgent is the oldest of them.
        let least = self.waiting.iter().map(|pending| pending.message.priority).min()?;
        let place = self.waiting.iter().position(|pending| pending.message.priority == least)?;
        Some(self.waiting.remove(place))
    }

    /// The most urgent that is due now, the oldest of those.
    pub(crate) fn take(&mut self, now: Instant) -> Option<Pending> {
        let due = self.waiting.iter().enumerate().filter(|(_, pending)| pending.next <= now);
        let (place, _) =
            due.max_by_key(|(place, pending)| (pending.message.priority, std::cmp::Reverse(*place)))?;
        Some(self.waiting.remove(place))
    }

    /// It did not get there: it waits for the next try, unless it has had enough of them.
    pub(crate) fn failed(&mut self, pending: Pending, can_be_tried: bool, now: Instant) -> Next {
        let tries = pending.tries + 1;
        if !can_be_tried || MOST_TRIES <= tries {
            return Next::GivenUp;
        }
        let next = now + FIRST_WAIT * 2_u32.pow(tries - 1);
        self.waiting.push(Pending { tries, next, ..pending });
        Next::Again(tries)
    }

    /// Takes out those that need not be sent any more, and answers which.
    pub(crate) fn withdraw(&mut self, is_needless: impl Fn(&Key) -> bool) -> Vec<Key> {
        let needless = self.waiting.extract_if(.., |pending| is_needless(&pending.key));
        needless.map(|pending| pending.key).collect()
    }

    pub(crate) fn len(&self) -> usize {
        self.waiting.len()
    }
}

#[cfg(test)]
mod tests {
    use model::{FindingId, Priority, Timestamp};

    use super::*;

    fn message(n: usize, priority: Priority) -> (Key, Message) {
        let id = FindingId::from_lookup(&format!("f{n}"));
        let message = Message {
            id: n.to_string(),
            at: Timestamp::default(),
            priority,
            subject: String::new(),
            text: String::new(),
            kind: "alarm.raised",
            data: serde_json::Value::Null,
        };
        ((id, "shift".parse().unwrap(), priority), message)
    }

    #[test]
    fn a_full_box_lets_the_least_urgent_go_and_says_which() {
        let (mut outbox, now) = (Outbox::default(), Instant::now());
        let mut put = |n, priority| {
            let (key, message) = message(n, priority);
            outbox.put(key, message, now).map(|gone| gone.message.id)
        };
        assert!(
            (0..MOST_WAITING)
                .all(|n| put(n, if n == 7 { Priority::Low } else { Priority::Medium }).is_none())
        );
        assert_eq!(put(900, Priority::High).as_deref(), Some("7"));
        assert_eq!(put(901, Priority::High).as_deref(), Some("0"));
        assert_eq!(put(902, Priority::Low).as_deref(), Some("902"), "nothing urgent goes for what is not");
        assert_eq!(outbox.len(), MOST_WAITING);
        assert_eq!(outbox.take(now).unwrap().message.id, "900");
    }

    #[test]
    fn patience_grows_and_ends() {
        let (mut outbox, begin) = (Outbox::default(), Instant::now());
        let (key, message) = message(1, Priority::High);
        outbox.put(key, message, begin);
        let (mut now, mut waits) = (begin, Vec::new());
        loop {
            let pending = outbox.take(now).unwrap();
            if outbox.failed(pending, true, now) == Next::GivenUp {
                break;
            }
            assert_eq!(outbox.take(now), None, "it waits");
            let next = outbox.waiting[0].next;
            waits.push((next - now).as_secs());
            now = next;
        }
        assert_eq!(waits, [10, 20, 40, 80, 160, 320]);
        assert_eq!(outbox.len(), 0);
    }
}
