//! Moments for readings that bring none: their arrival, set apart where several come in the same millisecond.
//!
//! A bare number takes the time of its arrival, and readings of one channel at one time are one reading. What had queued up
//! during an outage comes in a burst, many in a millisecond, and all but the last of each would be gone. So each message's bare
//! readings stand at least a millisecond behind those of the message before. Their times were a guess already; now all are there.
//!
//! Never runs far ahead of the clock: past [`MOST_AHEAD`] readings share a moment again, and that is counted. A clock that is set back
//! further than that begins anew.

use std::collections::{BTreeMap, HashMap};

use model::{Arrival, Channel, Content, MachineId, Span, Timestamp};

const STEP: Span = Span::from_millis(1);

/// Ten thousand readings of one channel at once: hours of an outage at one a second. What is live afterwards is less late than the
/// watch allows by default (15 s).
const MOST_AHEAD: Span = Span::from_secs(10);

/// The newest moment that was given out for each channel. As many as the plant file has.
#[derive(Debug)]
pub(crate) struct Moments {
    newest: HashMap<MachineId, BTreeMap<Channel, Timestamp>>,
    /// The newest of an earlier run, for channels that have not come since.
    before: Option<Timestamp>,
    /// The newest arrival by the clock.
    heard: Option<Timestamp>,
}

/// Whether all readings of a message have a moment of their own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Room {
    Enough,
    /// They share one with others, and the last value wins.
    Short,
}

/// A reading without a time of its own: it was measured when it came, as far as anybody can tell.
pub(crate) fn is_timed_by_arrival(arrival: &Arrival) -> bool {
    matches!(arrival.content, Content::Reading(_)) && arrival.at() == arrival.arrived
}

impl Moments {
    /// `before` is the newest arrival of earlier runs.
    pub(crate) fn after(before: Option<Timestamp>) -> Moments {
        Moments { newest: HashMap::new(), before, heard: before }
    }

    /// Sets the readings of one message apart from those that came before.
    pub(crate) fn set_apart(&mut self, arrivals: &mut [Arrival]) -> Room {
        self.note_clock(arrivals);
        let behind = |reading: &model::Reading| {
            let of_channel =
                self.newest.get(&reading.machine).and_then(|newest| newest.get(&reading.channel));
            Some(*of_channel.or(self.before.as_ref())? + STEP - reading.at)
        };
        let wait = bare(arrivals).filter_map(behind).max().unwrap_or_default().max(Span::ZERO);
        let (wait, room) = if wait <= MOST_AHEAD { (wait, Room::Enough) } else { (Span::ZERO, Room::Short) };
        for arrival in arrivals.iter_mut().filter(|arrival| is_timed_by_arrival(arrival)) {
            let Content::Reading(reading) = &mut arrival.content else { continue };
            arrival.arrived += wait;
            reading.at = arrival.arrived;
            let of_machine = match self.newest.get_mut(&reading.machine) {
                Some(of_machine) => of_machine,
                None => self.newest.entry(reading.machine.clone()).or_default(),
            };
            let newest = of_machine.entry(reading.channel).or_insert(reading.at);
            *newest = reading.at.max(*newest);
        }
        room
    }

    fn note_clock(&mut self, arrivals: &[Arrival]) {
        let Some(arrived) = arrivals.first().map(|arrival| arrival.arrived) else { return };
        if self.heard.is_some_and(|heard| arrived + MOST_AHEAD < heard) {
            *self = Moments::after(None);
        }
        self.heard = self.heard.max(Some(arrived));
    }
}

fn bare(arrivals: &[Arrival]) -> impl Iterator<Item = &model::Reading> {
    arrivals.iter().filter(|arrival| is_timed_by_arrival(arrival)).filter_map(|arrival| {
        match &arrival.content {
            Content::Reading(reading) => Some(reading),
            Content::Event(_) => None,
        }
    })
}

#[cfg(test)]
mod tests {
    use model::Reading;

    use super::*;

    const DAY: i64 = 1_772_427_600_000;

    fn reading(channel: Channel, arrived: i64, at: i64) -> Arrival {
        let [arrived, at] = [arrived, at].map(|millis| Timestamp::from_millis(DAY + millis));
        let reading = Reading { machine: "alder".parse().unwrap(), channel, at, value: Some(31.2) };
        Arrival { arrived, retained: false, content: Content::Reading(reading) }
    }

    /// The moments of bare readings that come one message each at these milliseconds.
    fn moments(moments: &mut Moments, arrived: &[i64]) -> Vec<i64> {
        let at = |millis: &i64| {
            let mut message = [reading(Channel::Chocolate, *millis, *millis)];
            assert_eq!(moments.set_apart(&mut message), Room::Enough);
            assert_eq!(message[0].at(), message[0].arrived);
            message[0].at().as_millis() - DAY
        };
        arrived.iter().map(at).collect()
    }

    #[test]
    fn a_burst_is_spread_and_what_comes_apart_stays_as_it_is() {
        let mut new = Moments::after(None);
        assert_eq!(moments(&mut new, &[0, 0, 0, 1, 1, 9, 1_000]), [0, 1, 2, 3, 4, 9, 1_000]);
        assert_eq!(moments(&mut new, &[990]), [1_001], "a clock that was set back does not go back for us");
    }

    #[test]
    fn a_start_goes_on_behind_the_run_before() {
        let before = Timestamp::from_millis(DAY + 500);
        assert_eq!(moments(&mut Moments::after(Some(before)), &[20, 21, 600]), [501, 502, 600]);
    }

    #[test]
    fn a_clock_that_was_set_right_begins_anew() {
        let before = Timestamp::from_millis(DAY + 3_600_000);
        assert_eq!(moments(&mut Moments::after(Some(before)), &[0, 0, 5]), [0, 1, 5]);
    }

    #[test]
    fn channels_and_readings_with_a_time_of_their_own_are_let_alone() {
        let mut moments = Moments::after(None);
        for message in [
            vec![reading(Channel::Chocolate, 7, 7), reading(Channel::Jacket, 7, 7)],
            vec![reading(Channel::Room, 7, 7)],
            vec![reading(Channel::Chocolate, 7, 3), reading(Channel::Chocolate, 7, 4)],
        ] {
            let mut changed = message.clone();
            assert_eq!(moments.set_apart(&mut changed), Room::Enough);
            assert_eq!(changed, message);
        }
    }

    #[test]
    fn it_never_runs_further_ahead_than_it_may() {
        let mut moments = Moments::after(None);
        let mut send = || {
            let mut message = [reading(Channel::Chocolate, 0, 0)];
            (moments.set_apart(&mut message), message[0].at().as_millis() - DAY)
        };
        let rooms: Vec<(Room, i64)> = (0..10_002).map(|_| send()).collect();
        assert_eq!(rooms[10_000], (Room::Enough, 10_000));
        assert_eq!(rooms[10_001], (Room::Short, 0));
    }
}
