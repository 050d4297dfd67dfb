//! What cannot be read yet: Sparkplug data that came before the birth that says what they mean, or after a gap in which that birth may
//! have been lost; and a thermocouple's millivolts before the first value of the room, where its cold junction is.
//!
//! Bounded in number, bytes and time. What does not fit, or has waited too long, is given back to be rejected: nothing
//! goes without a word. Each has a number, by which it is known to whoever keeps it on disk meanwhile.

use std::collections::VecDeque;

use model::{Channel, MachineId, Span, Timestamp};

use crate::Message;
use crate::senml::RELATIVE_BELOW;

/// For births: 200 machines that send once a second, for 25 seconds; a rebirth is answered within two. For rooms: as many values, or those of 80
/// thermocouples until a room is sent, once a minute.
const MOST_WAITING: usize = 5_000;
/// As much as one of the largest payloads, so that what comes out at once is never more than twice that, for either.
const MOST_BYTES: usize = 4 * 1024 * 1024;
/// A node that has not given birth by now was asked several times and will not; a room that has not been sent has no probe.
const LONGEST: Span = Span::from_mins(5);

/// A message that waits, and for what.
#[derive(Debug)]
pub(crate) struct Held {
    pub(crate) number: u64,
    pub(crate) wants: Wanted,
    pub(crate) message: Message,
}

/// What a message waits for.
#[derive(Debug)]
pub(crate) enum Wanted {
    /// The birth of a device of ours. The edge node stands as its name's key.
    Birth { node: String, device: String },
    /// A first room value.
    Room(Uncompensated),
}

/// What a thermocouple says without its cold junction; the message holds this and nothing else.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Uncompensated {
    pub(crate) machine: MachineId,
    pub(crate) channel: Channel,
    pub(crate) unit: Option<String>,
    pub(crate) at: Timestamp,
    pub(crate) value: f64,
    /// The topic of the message that it came in.
    pub(crate) came_by: String,
}

impl Uncompensated {
    /// As a SenML pack (RFC 8428) of one record for the channel's own topic, which arrived then: times below 2^28 s count from the arrival
    /// (4.5.3), and so would those of a sender whose clock stands at 1970.
    pub(crate) fn as_pack(&self, arrived: Timestamp) -> Vec<u8> {
        let from_arrival = (self.at - arrived).as_secs_f64();
        let since_1970 = self.at.as_millis() as f64 / 1000.0;
        let seconds = if from_arrival < RELATIVE_BELOW { from_arrival } else { since_1970 };
        let mut record = serde_json::json!({"n": self.channel.as_str(), "t": seconds, "v": self.value});
        if let Some(unit) = &self.unit {
            record["u"] = unit.as_str().into();
        }
        serde_json::json!([record]).to_string().into_bytes()
    }
}

impl Wanted {
    /// Why what waits in vain is rejected.
    fn before(&self) -> &'static str {
        match self {
            Wanted::Birth { .. } => "it came before the birth that says what its metrics are",
            Wanted::Room(_) => {
                "the cold junction of this thermocouple is the machine's room channel, which had not reported a value before it"
            }
        }
    }

    fn is_full(&self) -> String {
        let too_many = match self {
            Wanted::Birth { .. } => {
                "too many messages wait for theirs already; the edge node has been asked for its birth"
            }
            Wanted::Room(_) => "too many values wait for theirs already",
        };
        format!("{}, and {too_many}", self.before())
    }

    /// Why what has waited too long is rejected.
    pub(crate) fn has_not_come(&self) -> String {
        let advice = match self {
            Wanted::Birth { .. } => "let the edge node send its births again",
            Wanted::Room(_) => {
                "let the room be sent, or give `cold_junction` a temperature in the plant file"
            }
        };
        format!("{}, and none came within {:.0} minutes; {advice}", self.before(), LONGEST.as_mins_f64())
    }

    /// Why what still waits when nothing more comes is rejected.
    pub(crate) fn comes_no_more(&self) -> String {
        format!("{}, and the stream ended before one came", self.before())
    }
}

/// Messages that wait, oldest first.
#[derive(Debug, Default)]
pub(crate) struct Waiting {
    queue: VecDeque<Held>,
    for_births: Taken,
    for_rooms: Taken,
    newest: u64,
}

/// What is taken of the space for one kind.
#[derive(Debug, Default)]
struct Taken {
    messages: usize,
    bytes: usize,
}

impl Waiting {
    pub(crate) fn is_empty(&self) -> bool {
        self.queue.is_empty()
    }

    /// Lets a message wait, and numbers it.
    ///
    /// # Errors
    /// A plain sentence if there is no space.
    pub(crate) fn hold(&mut self, wants: Wanted, message: &Message) -> Result<u64, String> {
        let taken = self.taken(&wants);
        if taken.messages >= MOST_WAITING || MOST_BYTES < taken.bytes + size(message) {
            return Err(wants.is_full());
        }
        let number = self.newest + 1;
        self.put_back(Held { number, wants, message: message.clone() });
        Ok(number)
    }

    /// Takes one that has waited before, with its number; there was space for it then.
    pub(crate) fn put_back(&mut self, held: Held) {
        self.skip_to(held.number);
        let taken = self.taken(&held.wants);
        taken.messages += 1;
        taken.bytes += size(&held.message);
        self.queue.push_back(held);
    }

    /// Numbers up to `number` have been given.
    pub(crate) fn skip_to(&mut self, number: u64) {
        self.newest = self.newest.max(number);
    }

    /// What waits for rooms, oldest first.
    pub(crate) fn for_room(&self) -> impl Iterator<Item = &Uncompensated> {
        self.queue.iter().filter_map(|held| match &held.wants {
            Wanted::Room(wanted) => Some(wanted),
            Wanted::Birth { .. } => None,
        })
    }

    /// Takes out what `is_wanted`, oldest first.
    pub(crate) fn take(&mut self, is_wanted: impl Fn(&Held) -> bool) -> Vec<Held> {
        let (wanted, rest): (Vec<Held>, Vec<Held>) = self.queue.drain(..).partition(|held| is_wanted(held));
        self.queue = rest.into();
        wanted.iter().for_each(|held| self.give_space(held));
        wanted
    }

    /// Takes out what has waited too long, and what came by a clock that has been set back by as much since.
    pub(crate) fn take_expired(&mut self, now: Timestamp) -> Vec<Held> {
        let is_over = |arrived: Timestamp| LONGEST <= now - arrived || LONGEST <= arrived - now;
        let mut expired = Vec::new();
        while let Some(held) = self.queue.pop_front_if(|held| is_over(held.message.arrived)) {
            self.give_space(&held);
            expired.push(held);
        }
        expired
    }

    fn taken(&mut self, wants: &Wanted) -> &mut Taken {
        match wants {
            Wanted::Birth { .. } => &mut self.for_births,
            Wanted::Room(_) => &mut self.for_rooms,
        }
    }

    fn give_space(&mut self, held: &Held) {
        let taken = self.taken(&held.wants);
        taken.messages -= 1;
        taken.bytes -= size(&held.message);
    }
}

fn size(message: &Message) -> usize {
    message.payload.len() + message.topic.len()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hold(waiting: &mut Waiting, device: &str, second: i64, bytes: usize) -> Result<u64, String> {
        let arrived = Timestamp::from_millis(1000 * second);
        let message = Message { topic: String::new(), payload: vec![0; bytes], arrived, retained: false };
        waiting.hold(Wanted::Birth { node: "hall/edge".into(), device: device.into() }, &message)
    }

    fn devices(held: &[Held]) -> Vec<&str> {
        held.iter().map(device).collect()
    }

    fn device(held: &Held) -> &str {
        match &held.wants {
            Wanted::Birth { device, .. } => device,
            Wanted::Room(_) => panic!("none of these waits for a room"),
        }
    }

    #[test]
    fn what_is_wanted_comes_out_in_order() {
        let mut waiting = Waiting::default();
        for (device, second) in [("alder", 0), ("birch", 1), ("alder", 2)] {
            hold(&mut waiting, device, second, 10).unwrap();
        }
        assert_eq!(waiting.take(|held| device(held) == "alder").len(), 2);
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
    fn the_space_is_bounded_in_number_and_bytes() {
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
