//! Machines that send far more than a machine has to say, told and never turned away.
//!
//! A limit that refuses would lose readings, and the broker's queue is one queue: what stands in it is taken in its order, and
//! nobody can be let past. So a machine beyond the limit is served like the others, and the health page and the log say which it
//! is and what it costs: disk, and everybody's delay. What bounds it in the end is the broker's own queue and quotas.
//!
//! Counted in the readings' own minutes, not in those of their arrival, so that the queue of an outage is no flood.

use std::collections::HashMap;

use model::{Arrival, Content, MachineId, Span, Timestamp};

/// Seven channels ten times a second, and half as much again: the fastest probe of a wheel machine that we know sends five times a
/// second (common practice, no source).
const MOST_A_MINUTE: u64 = 6_300;

const MINUTE: Span = Span::from_mins(1);

/// A machine that sends too much.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Flood {
    /// Which.
    pub machine: MachineId,
    /// The minute that it was noticed in.
    pub minute: Timestamp,
    /// Readings in that minute when it was noticed; the count goes on.
    pub readings: u64,
}

impl std::fmt::Display for Flood {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Flood { machine, minute, readings } = self;
        write!(
            f,
            "{machine} sends too much: {readings} readings in the minute from {minute} on, and more than {MOST_A_MINUTE} are not \
             expected. They are all stored, which takes disk and holds the others up; have it send less often"
        )
    }
}

/// One machine's newest minute.
#[derive(Debug, Clone, Copy)]
struct Minute {
    from: Timestamp,
    readings: u64,
    is_told: bool,
}

/// Counts each machine's readings. There are as many machines as the plant file has: what names another one is rejected.
#[derive(Debug, Default)]
pub(crate) struct Meter {
    minutes: HashMap<MachineId, Minute>,
}

/// What a count has shown.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Shown {
    /// This machine has gone over the limit.
    Over(Flood),
    /// It has been quiet for a whole minute of its own.
    Quiet(MachineId),
}

impl Meter {
    /// Takes in the arrivals of one message.
    pub(crate) fn count(&mut self, arrivals: &[Arrival]) -> Vec<Shown> {
        arrivals.iter().filter_map(|arrival| self.count_one(arrival)).collect()
    }

    fn count_one(&mut self, arrival: &Arrival) -> Option<Shown> {
        let Content::Reading(reading) = &arrival.content else { return None };
        // A reading dated ahead of its arrival must not make everything after it late.
        let from = reading.at.min(arrival.arrived).floor(MINUTE);
        let machine = &reading.machine;
        let Some(minute) = self.minutes.get_mut(machine) else {
            self.minutes.insert(machine.clone(), Minute { from, readings: 1, is_told: false });
            return None;
        };
        if minute.from < from {
            let is_over = minute.is_told && minute.readings <= MOST_A_MINUTE;
            *minute = Minute { from, readings: 1, is_told: minute.is_told && !is_over };
            return is_over.then(|| Shown::Quiet(machine.clone()));
        }
        if from < minute.from {
            // Late: its minute has been looked at.
            return None;
        }
        minute.readings += 1;
        if minute.readings <= MOST_A_MINUTE || minute.is_told {
            return None;
        }
        minute.is_told = true;
        Some(Shown::Over(Flood { machine: machine.clone(), minute: from, readings: minute.readings }))
    }
}

#[cfg(test)]
mod tests {
    use model::{Channel, Reading};

    use super::*;

    /// So many readings spread over each of the minutes.
    fn readings(machine: &str, minutes: std::ops::Range<i64>, a_minute: i64) -> Vec<Arrival> {
        let arrival = |millis: i64| {
            let at = Timestamp::from_millis(1_772_427_600_000 + millis);
            let reading = Reading {
                machine: machine.parse().unwrap(),
                channel: Channel::Chocolate,
                at,
                value: Some(31.0),
            };
            Arrival { arrived: at, retained: false, content: Content::Reading(reading) }
        };
        minutes
            .flat_map(|minute| (0..a_minute).map(move |n| minute * 60_000 + n * 60_000 / a_minute))
            .map(arrival)
            .collect()
    }

    #[test]
    fn a_machine_over_the_limit_is_told_once_and_once_more_when_it_is_over() {
        let mut meter = Meter::default();
        assert_eq!(meter.count(&readings("alder", 0..2, 4_200)), []);
        let shown = meter.count(&readings("alder", 2..5, 9_000));
        let [Shown::Over(flood)] = shown.as_slice() else { panic!("{shown:?}") };
        assert_eq!((flood.machine.as_str(), flood.readings), ("alder", MOST_A_MINUTE + 1));
        let shown = meter.count(&readings("alder", 5..8, 60));
        assert_eq!(shown, [Shown::Quiet("alder".parse().unwrap())]);
    }

    #[test]
    fn the_queue_of_an_outage_is_no_flood() {
        let mut meter = Meter::default();
        assert_eq!(
            meter.count(&readings("alder", 0..600, 60)),
            [],
            "ten hours at once, each reading with its own time"
        );
    }

    #[test]
    fn one_machine_does_not_count_for_another() {
        let mut meter = Meter::default();
        let machines = ["alder", "birch", "cedar"];
        assert!(machines.iter().all(|machine| meter.count(&readings(machine, 0..1, 4_200)).is_empty()));
    }

    #[test]
    fn a_clock_that_stands_still_is_a_flood_too() {
        let mut meter = Meter::default();
        let one = readings("alder", 0..1, 1);
        let shown: Vec<Shown> = (0..7_000).flat_map(|_| meter.count(&one)).collect();
        assert_eq!(shown.len(), 1);
    }
}
