//! From a message to readings, events and rejects, by the plant file.
//!
//! One machine's newest room value is remembered here, for thermocouples whose cold junction is the room; nothing else
//! passes from one message to the next.

mod readings;
#[cfg(test)]
mod tests;

use std::collections::{BTreeSet, HashMap};
use std::sync::{Mutex, PoisonError};

use model::{Arrival, Channel, Content, Event, MachineId, Reading, Timestamp};
use plant::{ColdJunction, Machine, Plant, Sensor, Source};

use crate::decoder::readings::Readings;
use crate::topic::Topic;
use crate::{Decoded, Message, Reject, bare, event, json_source, senml, topic};

/// An hour of seven channels every second, in SenML, is about one megabyte; more in one message is a mistake.
const LARGEST_PAYLOAD: usize = 4 * 1024 * 1024;

/// Turns messages into readings and events.
#[derive(Debug)]
pub struct Decoder {
    root: String,
    machines: HashMap<String, Machine>,
    sources: Vec<Source>,
    /// Newest room value of each machine that needs one. Held for a look-up or a note, nothing longer.
    rooms: Mutex<HashMap<MachineId, Room>>,
}

/// A room value and when it was measured.
#[derive(Debug, Clone, Copy)]
struct Room {
    at: Timestamp,
    celsius: f64,
}

impl Decoder {
    /// A decoder for the topics, machines and probes of `plant`.
    pub fn new(plant: &Plant) -> Decoder {
        let machines = plant.machines.iter().map(|machine| (machine.id.as_str().to_owned(), machine.clone()));
        Decoder {
            root: plant.mqtt.root.clone(),
            machines: machines.collect(),
            sources: plant.sources.clone(),
            rooms: Mutex::new(HashMap::new()),
        }
    }

    /// The topic filters to subscribe to, each once.
    pub fn subscriptions(&self) -> Vec<String> {
        let own = [format!("{}/+", self.root), format!("{}/+/+", self.root)];
        let foreign = self.sources.iter().map(|source| source.filter.subscription());
        let all: BTreeSet<String> = own.into_iter().chain(foreign).collect();
        all.into_iter().collect()
    }

    /// Reads one message.
    pub fn decode(&self, message: &Message) -> Decoded {
        let mut decoded = Decoded::default();
        if LARGEST_PAYLOAD < message.payload.len() {
            let reason = format!("the payload is larger than {LARGEST_PAYLOAD} bytes; send less at a time");
            decoded.rejects.push(Reject::new(message, reason));
            return decoded;
        }
        if let Err(reason) = self.decode_into(message, &mut decoded) {
            decoded.rejects.push(Reject::new(message, reason));
        }
        decoded
    }

    fn decode_into(&self, message: &Message, decoded: &mut Decoded) -> Result<(), String> {
        match topic::parse(&message.topic, &self.root) {
            Topic::Machine(id) => self.decode_pack(self.machine(id)?, message, decoded),
            Topic::Channel(id, channel) => {
                let machine = self.machine(id)?;
                let channel = channel.parse::<Channel>().map_err(|error| error.to_string())?;
                self.decode_channel(machine, channel, message, decoded)
            }
            Topic::Event(id) => decode_event(self.machine(id)?, message, decoded),
            // Our own publication, seen through a wildcard.
            Topic::Standing => Ok(()),
            Topic::Odd => Err(format!(
                "under the root stand {0}/<machine>, {0}/<machine>/<channel> and {0}/<machine>/event, and no other topics",
                self.root
            )),
            Topic::SparkplugB => Err("Sparkplug B is not read yet".into()),
            Topic::Foreign => self.decode_foreign(message, decoded),
        }
    }

    /// `works/<machine>`: each record says its channel.
    fn decode_pack(&self, machine: &Machine, message: &Message, decoded: &mut Decoded) -> Result<(), String> {
        if let Ok(_number) = bare::parse(&message.payload) {
            return Err(format!(
                "a bare payload does not say which channel it is; send it to {}/chocolate or another channel, or send a \
                 SenML pack",
                message.topic
            ));
        }
        let records = senml::resolve(&message.payload)?;
        self.take_records(machine, None, records, message, decoded);
        Ok(())
    }

    /// `works/<machine>/<channel>`: the topic says the channel.
    fn decode_channel(
        &self,
        machine: &Machine,
        channel: Channel,
        message: &Message,
        decoded: &mut Decoded,
    ) -> Result<(), String> {
        match message.payload.trim_ascii_start().first() {
            Some(b'[' | 0x80..=0x9f) => {
                let records = senml::resolve(&message.payload)?;
                self.take_records(machine, Some(channel), records, message, decoded);
            }
            _ => {
                let value = bare::parse(&message.payload)?;
                self.readings(machine, message, decoded).take(channel, None, None, value)?;
            }
        }
        Ok(())
    }

    fn take_records(
        &self,
        machine: &Machine,
        channel: Option<Channel>,
        records: Vec<Result<senml::Record, String>>,
        message: &Message,
        decoded: &mut Decoded,
    ) {
        let mut readings = self.readings(machine, message, decoded);
        for record in records {
            let taken = record.and_then(|record| readings.take_record(channel, &record));
            if let Err(reason) = taken {
                readings.reject(reason);
            }
        }
    }

    /// A topic outside the root: what the sources that match it make of it.
    fn decode_foreign(&self, message: &Message, decoded: &mut Decoded) -> Result<(), String> {
        let mut is_known = false;
        for source in &self.sources {
            let Some(captured) = source.filter.captured(&message.topic) else { continue };
            is_known = true;
            let machine = source.machine.as_ref().map(MachineId::as_str).or(captured.machine);
            let channel = source.channel.map(Channel::as_str).or(captured.channel);
            let taken = self.decode_source(source, machine, channel, message, decoded);
            if let Err(reason) = taken {
                decoded.rejects.push(Reject::new(message, reason));
            }
        }
        if is_known {
            return Ok(());
        }
        Err(format!(
            "the topic is neither under the root `{}` nor in any [[source]] of the plant file",
            self.root
        ))
    }

    fn decode_source(
        &self,
        source: &Source,
        machine: Option<&str>,
        channel: Option<&str>,
        message: &Message,
        decoded: &mut Decoded,
    ) -> Result<(), String> {
        let machine = self.machine(machine.unwrap_or_default())?;
        let channel = channel.unwrap_or_default().parse::<Channel>().map_err(|error| error.to_string())?;
        match &source.json {
            None => self.decode_channel(machine, channel, message, decoded),
            Some(json) => {
                let found = json_source::read(&message.payload, json, channel)?;
                self.readings(machine, message, decoded).take(channel, None, found.at, found.value)
            }
        }
    }

    fn readings<'m>(
        &'m self,
        machine: &'m Machine,
        message: &'m Message,
        decoded: &'m mut Decoded,
    ) -> Readings<'m> {
        Readings { decoder: self, machine, message, decoded }
    }

    fn machine(&self, id: &str) -> Result<&Machine, String> {
        self.machines.get(id).ok_or_else(|| {
            let shown: String = id.chars().take(64).collect();
            format!("there is no machine `{shown}` in the plant file")
        })
    }

    fn room_of(&self, machine: &MachineId) -> Option<f64> {
        let rooms = self.rooms.lock().unwrap_or_else(PoisonError::into_inner);
        rooms.get(machine).map(|room| room.celsius)
    }

    /// Remembers a room value, if the machine needs one and it is not older than what is known.
    fn note_room(&self, machine: &Machine, reading: &Reading) {
        let (Channel::Room, Some(celsius)) = (reading.channel, reading.value) else { return };
        if !machine.channels.values().any(|settings| has_room_junction(settings.sensor)) {
            return;
        }
        let mut rooms = self.rooms.lock().unwrap_or_else(PoisonError::into_inner);
        let newest = rooms.entry(machine.id.clone()).or_insert(Room { at: reading.at, celsius });
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

/// A retained event without a moment of its own says only that something happened once: it is no event.
fn decode_event(machine: &Machine, message: &Message, decoded: &mut Decoded) -> Result<(), String> {
    let dated = event::parse(&machine.id, &message.payload)?;
    if dated.at.is_some() || !message.retained {
        let event = Event { at: dated.at.unwrap_or(message.arrived), ..dated.event };
        decoded.arrivals.push(arrival(message, Content::Event(event)));
    }
    Ok(())
}

fn arrival(message: &Message, content: Content) -> Arrival {
    Arrival { arrived: message.arrived, retained: message.retained, content }
}
