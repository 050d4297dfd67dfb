//! Data that cannot be read yet: it came before the birth that says what it means, or after a gap in which that birth may
//! have been lost.
//!
//! Bounded in number, bytes and time. What does not fit, or has waited too long, is given back to be rejected: nothing
//! goes without a word. Each has a number, by which it is known to whoever keeps it on disk meanwhile.

use std::collections::VecDeque;

use model::{Span, Timestamp};

use crate::Message;

/// 200 machines that send once a second, for 25 seconds; a rebirth is answered within two.
const MOST_WAITING: usize = 5_000;
/// As much as one of the largest payloads, so that what comes out at once is never more than twice that.
const MOST_BYTES: usize = 4 * 1024 * 1024;
/// A node that has not given birth by now was asked several times and will not.
const LONGEST: Span = Span::from_mins(5);

/// A message of a device of ours, and whose it is.
#[derive(Debug)]
pub(crate) struct Held {
    pub(crate) number: u64,
    /// The edge node, as [`NodeName::key`](super::topic::NodeName::key) has it.
    pub(crate) node: String,
    pub(crate) device: String,
    pub(crate) message: Message,
}

/// Messages that wait, oldest first.
#[derive(Debug, Default)]
pub(crate) struct Waiting {
    queue: VecDeque<Held>,
    bytes: usize,
    newest: u64,
}

impl Waiting {
    pub(crate) fn is_empty(&self) -> bool {
        self.queue.is_empty()
    }

    /// Lets a message of `device` behind `node` wait, and numbers it.
    ///
    /// # Errors
    /// A plain sentence if there is no room.
    pub(crate) fn hold(&mut self, node: &str, device: &str, message: &Message) -> Result<&Held, String> {
        let number = self.newest + 1;
        let held =
            Held { number, node: node.to_owned(), device: device.to_owned(), message: message.clone() };
        let bytes = self.bytes + size(&held);
        if self.queue.len() >= MOST_WAITING || MOST_BYTES < bytes {
            return Err("it came before the birth that says what its metrics are, and too many messages wait for theirs \
                        already; the edge node has been asked for its birth"
                .into());
        }
        self.put_back(held);
        Ok(self.queue.back().expect("one has just been put there"))
    }

    /// Takes one that has waited before, with its number; room was made for it then.
    pub(crate) fn put_back(&mut self, held: Held) {
        self.newest = self.newest.max(held.number);
        self.bytes += size(&held);
        self.queue.push_back(held);
    }

    /// Takes out what `is_wanted`, oldest first.
    pub(crate) fn take(&mut self, is_wanted: impl Fn(&Held) -> bool) -> Vec<Held> {
        let (wanted, rest): (Vec<Held>, Vec<Held>) = self.queue.drain(..).partition(|held| is_wanted(held));
        self.queue = rest.into();
        self.bytes -= wanted.iter().map(size).sum::<usize>();
        wanted
    }

    /// Takes out what has waited too long, and what came by a clock that has been set back by as much since.
    pub(crate) fn take_expired(&mut self, now: Timestamp) -> Vec<Held> {
        let is_over = |arrived: Timestamp| LONGEST <= now - arrived || LONGEST <= arrived - now;
        let mut expired = Vec::new();
        while let Some(held) = self.queue.pop_front_if(|held| is_over(held.message.arrived)) {
            self.bytes -= size(&held);
            expired.push(held);
        }
        expired
    }
}

/// Why what has expired is rejected.
pub(crate) fn expired_reason() -> String {
    format!(
        "it came before the birth that says what its metrics are, and none came within {:.0} minutes; let the edge node \
         send its births again",
        LONGEST.as_mins_f64()
    )
}

fn size(held: &Held) -> usize {
    held.message.payload.len() + held.message.topic.len()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hold(waiting: &mut Waiting, device: &str, second: i64, bytes: usize) -> Result<u64, String> {
        let arrived = Timestamp::from_millis(1000 * second);
        let message = Message { topic: String::new(), payload: vec![0; bytes], arrived, retained: false };
        waiting.hold("hall/edge", device, &message).map(|held| held.number)
    }

    fn devices(held: &[Held]) -> Vec<&str> {
        held.iter().map(|held| held.device.as_str()).collect()
    }

    #[test]
    fn what_is_wanted_comes_out_in_order() {
        let mut waiting = Waiting::default();
        for (device, second) in [("alder", 0), ("birch", 1), ("alder", 2)] {
            hold(&mut waiting, device, second, 10).unwrap();
        }
        assert_eq!(waiting.take(|held| held.device == "alder").len(), 2);
        assert_eq!(devices(&waiting.take(|_| true)), ["birch"]);
        assert!(waiting.is_empty());
    }

    #[test]
    fn nothing_waits_for_ever() {
        let mut waiting = Waiting::default();
        hold(&mut waiting, "alder", 0, 10).unwrap();
        hold(&mut waiting, "birch", 200, 10).unwrap();
        assert!(waiting.take_expired(Timestamp::from_millis(299_999)).is_empty());
        assert_eq!(devices(&waiting.take_expired(Timestamp::from_millis(300_000))), ["alder"]);
        // The clock is set back by an hour.
        hold(&mut waiting, "cedar", 201, 10).unwrap();
        let set_back = waiting.take_expired(Timestamp::from_millis(-3_400_000));
        assert_eq!(devices(&set_back), ["birch", "cedar"]);
    }

    #[test]
    fn the_room_is_bounded_in_number_and_bytes() {
        let mut waiting = Waiting::default();
        assert!(hold(&mut waiting, "alder", 0, MOST_BYTES + 1).is_err());
        for _ in 0..MOST_WAITING {
            hold(&mut waiting, "alder", 0, 1).unwrap();
        }
        assert!(hold(&mut waiting, "alder", 0, 1).unwrap_err().contains("too many messages wait"));
        waiting.take_expired(Timestamp::from_millis(1_000_000));
        assert!(hold(&mut waiting, "alder", 0, MOST_BYTES).is_ok(), "the bytes were given back");
    }

    #[test]
    fn a_number_is_never_given_twice() {
        let mut waiting = Waiting::default();
        assert_eq!(hold(&mut waiting, "alder", 0, 1), Ok(1));
        let mut first = waiting.take(|_| true);
        assert_eq!(hold(&mut waiting, "alder", 1, 1), Ok(2));
        let mut after_a_restart = Waiting::default();
        after_a_restart.put_back(Held { number: 7, ..first.remove(0) });
        assert_eq!(hold(&mut after_a_restart, "alder", 2, 1), Ok(8));
    }
}
