//! The newest room value of each machine that has a thermocouple with its cold junction there.

use std::collections::HashMap;

use model::{Channel, MachineId, Reading, Timestamp};
use plant::{ColdJunction, Machine, Sensor};

/// Room values by machine.
#[derive(Debug, Default)]
pub(crate) struct Rooms(HashMap<MachineId, Room>);

/// A room value and when it was measured.
#[derive(Debug, Clone, Copy)]
struct Room {
    at: Timestamp,
    celsius: f64,
}

impl Rooms {
    /// The newest value known, °C.
    pub(crate) fn of(&self, machine: &MachineId) -> Option<f64> {
        self.0.get(machine).map(|room| room.celsius)
    }

    /// Remembers a room value, if the machine needs one and it is not older than what is known.
    pub(crate) fn note(&mut self, machine: &Machine, reading: &Reading) {
        let (Channel::Room, Some(celsius)) = (reading.channel, reading.value) else { return };
        if !machine.channels.values().any(|settings| has_room_junction(settings.sensor)) {
            return;
        }
        let newest = self.0.entry(machine.id.clone()).or_insert(Room { at: reading.at, celsius });
        if newest.at <= reading.at {
            *newest = Room { at: reading.at, celsius };
        }
    }
}

fn has_room_junction(sensor: Option<Sensor>) -> bool {
    match sensor {
        Some(Sensor::TypeK(junction) | Sensor::TypeT(junction) | Sensor::TypeJ(junction)) => {
            junction == ColdJunction::Room
        }
        None | Some(Sensor::Pt100) => false,
    }
}
