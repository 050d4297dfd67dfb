//! Room values of each machine that has a thermocouple with its cold junction there.
//!
//! A junction was as warm as the room at the moment of its reading, and not as the room is now: a logger that was cut off sends a channel
//! after the other, and a queue of an outage comes long after its time. So more than the newest value is kept.

use std::collections::{BTreeMap, HashMap};

use model::{Channel, MachineId, Reading, Timestamp};
use plant::{ColdJunction, Machine, Sensor};

/// Room values that are kept of a machine, the newest ones: half a day at one every five seconds, a week at one a minute.
pub(crate) const MOST_KEPT: usize = 10_000;

/// Room values by machine, °C.
#[derive(Debug, Default)]
pub(crate) struct Rooms {
    known: HashMap<MachineId, BTreeMap<Timestamp, f64>>,
    /// Of these a first value has come.
    first_came: Vec<MachineId>,
}

impl Rooms {
    /// The newest value that was measured at `at` or before, or else the first one after it, °C.
    pub(crate) fn at(&self, machine: &MachineId, at: Timestamp) -> Option<f64> {
        let known = self.known.get(machine)?;
        let before = known.range(..=at).next_back();
        before.or_else(|| known.range(at..).next()).map(|(_, celsius)| *celsius)
    }

    /// The machines of which a first value has come since this was asked last.
    pub(crate) fn take_first_came(&mut self) -> Vec<MachineId> {
        std::mem::take(&mut self.first_came)
    }

    /// Remembers a room value, if the machine needs one.
    pub(crate) fn note(&mut self, machine: &Machine, reading: &Reading) {
        let (Channel::Room, Some(celsius)) = (reading.channel, reading.value) else { return };
        if !needs_room(machine) {
            return;
        }
        let known = self.known.entry(machine.id.clone()).or_insert_with(|| {
            self.first_came.push(machine.id.clone());
            BTreeMap::new()
        });
        known.insert(reading.at, celsius);
        if MOST_KEPT < known.len() {
            known.pop_first();
        }
    }
}

/// Has it a thermocouple whose cold junction is in the room?
pub(crate) fn needs_room(machine: &Machine) -> bool {
    machine.channels.values().any(|settings| has_room_junction(settings.sensor))
}

fn has_room_junction(sensor: Option<Sensor>) -> bool {
    match sensor {
        Some(Sensor::TypeK(junction) | Sensor::TypeT(junction) | Sensor::TypeJ(junction)) => {
            junction == ColdJunction::Room
        }
        None | Some(Sensor::Pt100) => false,
    }
}

#[cfg(test)]
mod tests {
    use model::Content;

    use super::*;
    use crate::Decoder;
    use crate::decoder::tests::{decoder, message};

    /// An hour before what these messages are of arrives.
    const BEFORE: i64 = 1_772_424_000;

    /// What a pack says of Birch's jacket, °C.
    fn jacket(decoder: &mut Decoder, pack: &str) -> Vec<String> {
        let decoded = decoder.decode(&message("works/birch", pack.as_bytes(), false));
        assert_eq!(decoded.rejects, []);
        let readings = decoded.arrivals.into_iter().filter_map(|arrival| match arrival.content {
            Content::Reading(reading) if reading.channel == Channel::Jacket => reading.value,
            Content::Reading(_) | Content::Event(_) => None,
        });
        readings.map(|value| format!("{value:.1}")).collect()
    }

    fn room(second: i64, celsius: f64) -> Reading {
        let at = Timestamp::from_millis((BEFORE + second) * 1_000);
        Reading { machine: "birch".parse().unwrap(), channel: Channel::Room, at, value: Some(celsius) }
    }

    /// A logger sends what it has kept, a channel after the other. Type K gives 1.203 mV at
    /// 30 °C (NIST Monograph 175) and 0.879 mV at 22 °C (there, too, from memory).
    #[test]
    fn a_junction_is_as_warm_as_the_room_was_then() {
        let mut decoder = decoder();
        let pack = format!(
            r#"[{{"bt":{BEFORE},"n":"room","v":22}},{{"n":"room","t":60,"v":30}},{{"n":"jacket","u":"mV","v":0.324}},{{"n":"jacket","u":"mV","t":60,"v":0}}]"#
        );
        assert_eq!(jacket(&mut decoder, &pack), ["30.0", "30.0"]);
        let at = |second: i64| format!(r#"[{{"bt":{BEFORE},"t":{second},"n":"jacket","u":"mV","v":0}}]"#);
        assert_eq!(jacket(&mut decoder, &at(59)), ["22.0"], "the newest one until then");
        assert_eq!(jacket(&mut decoder, &at(3_000)), ["30.0"]);
        assert_eq!(jacket(&mut decoder, &at(-600)), ["22.0"], "the nearest one, where none was before");
    }

    #[test]
    fn values_of_an_earlier_run_are_remembered() {
        let mut decoder = decoder();
        assert_eq!(decoder.machines_that_need_room().map(MachineId::as_str).collect::<Vec<_>>(), ["birch"]);
        decoder.remember(&room(0, 21.0));
        let pack = format!(r#"[{{"bt":{BEFORE},"t":5,"n":"jacket","u":"mV","v":0}}]"#);
        assert_eq!(jacket(&mut decoder, &pack), ["21.0"]);
    }

    #[test]
    fn so_many_are_kept_and_the_oldest_go() {
        let mut decoder = decoder();
        let most = i64::try_from(MOST_KEPT).unwrap();
        (0..=most)
            .rev()
            .for_each(|second| decoder.remember(&room(second, if second == 0 { 1.0 } else { 20.0 })));
        let known = &decoder.rooms.known[&"birch".parse().unwrap()];
        assert_eq!((known.len(), known.first_key_value()), (MOST_KEPT, Some((&room(1, 20.0).at, &20.0))));
    }
}
