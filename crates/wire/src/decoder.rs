//! From a message to readings, events and rejects, by the plant file.
//!
//! Two things pass from one message to the next: a machine's room values, for thermocouples whose cold junction is the
//! room, and what Sparkplug B has said about its metrics. Both are lost with the process. The former are given back from what is on
//! disk ([`Decoder::remember`]). The latter comes again, because the decoder asks for it
//! ([`Decoded::requests`](crate::Decoded::requests)). What waits for either is given back from disk ([`Decoder::restore`]).

mod desk;
mod machines;
mod payloads;
#[cfg(test)]
mod raw_sensors;
mod readings;
mod rooms;
#[cfg(test)]
mod tests;
#[cfg(test)]
mod waits_for_room;

use std::collections::BTreeSet;

use model::{Arrival, Channel, Content, Event, MachineId, Reading, Timestamp};
use plant::{CurveRules, Plant, Source};

pub(crate) use crate::decoder::desk::Desk;
pub(crate) use crate::decoder::machines::Machines;
pub(crate) use crate::decoder::readings::Readings;
pub(crate) use crate::decoder::rooms::Rooms;
use crate::topic::{self, Topic};
use crate::waiting::Waiting;
use crate::{Decoded, HeldMessage, Message, Reject, event, json_source, sparkplug};

/// An hour of seven channels every second, in SenML, is about one megabyte; more in one message is a mistake.
const LARGEST_PAYLOAD: usize = 4 * 1024 * 1024;

/// Turns messages into readings and events.
#[derive(Debug)]
pub struct Decoder {
    root: String,
    machines: Machines,
    sources: Vec<Source>,
    rooms: Rooms,
    sparkplug: sparkplug::Host,
    waiting: Waiting,
    curves: CurveRules,
}

impl Decoder {
    /// A decoder for the topics, machines and probes of `plant`.
    pub fn new(plant: &Plant) -> Decoder {
        Decoder {
            root: plant.mqtt.root.clone(),
            machines: Machines::of(plant),
            sources: plant.sources.clone(),
            rooms: Rooms::default(),
            sparkplug: sparkplug::Host::default(),
            waiting: Waiting::default(),
            curves: plant.temper_test.curve,
        }
    }

    /// The machines that have a thermocouple whose cold junction is the room.
    pub fn machines_that_need_room(&self) -> impl Iterator<Item = &MachineId> {
        self.machines.all().filter(|machine| rooms::needs_room(machine)).map(|machine| &machine.id)
    }

    /// Is told a reading of an earlier run, as it was stored. Room values are kept for thermocouples; other readings mean nothing here.
    pub fn remember(&mut self, reading: &Reading) {
        if let Ok(machine) = self.machines.find(reading.machine.as_str()) {
            self.rooms.note(machine, reading);
        }
    }

    /// The topic filters to subscribe to, each once.
    pub fn subscriptions(&self) -> Vec<String> {
        let own = [format!("{}/+", self.root), format!("{}/+/+", self.root)];
        let foreign = self.sources.iter().map(|source| source.filter.subscription());
        let sparkplug = sparkplug::SUBSCRIPTIONS.map(str::to_owned);
        let all: BTreeSet<String> = own.into_iter().chain(foreign).chain(sparkplug).collect();
        all.into_iter().collect()
    }

    /// Reads one message. Messages come in the order of their arrival; one that had to wait for another comes out with it.
    pub fn decode(&mut self, message: &Message) -> Decoded {
        let mut decoded = self.pass_time(message.arrived);
        let read = if LARGEST_PAYLOAD < message.payload.len() {
            Err(format!("the payload is larger than {LARGEST_PAYLOAD} bytes; send less at a time"))
        } else {
            self.decode_into(message, &mut decoded)
        };
        if let Err(reason) = read {
            decoded.rejects.push(Reject::new(message, reason));
        }
        self.at_desk(&mut decoded).1.read_what_waited(message.arrived);
        decoded
    }

    /// Does something come out by itself when time passes? Then [`Decoder::pass_time`] wants to be called now and again.
    pub fn is_waiting(&self) -> bool {
        !self.waiting.is_empty() || self.sparkplug.is_in_doubt()
    }

    /// What comes out because it is `now`, also where no message comes.
    pub fn pass_time(&mut self, now: Timestamp) -> Decoded {
        self.beside_messages(|sparkplug, desk| {
            sparkplug.pass_time(now, desk);
            desk.read_what_waited(now);
            for held in desk.waiting.take_expired(now) {
                let reason = held.wants.has_not_come();
                desk.give_up(held, reason);
            }
        })
    }

    /// Is given what an earlier run held ([`Decoded::held`](crate::Decoded::held)) and had not let go, oldest first,
    /// before the first message. What can be read by now, or never, comes out.
    pub fn restore(&mut self, held: Vec<HeldMessage>) -> Decoded {
        let mut decoded = Decoded::default();
        if let Some(newest) = held.last() {
            self.waiting.skip_to(newest.number);
        }
        for HeldMessage { number, message } in held {
            let outcome = if topic::parse(&message.topic, &self.root) == Topic::SparkplugB {
                let (sparkplug, mut desk) = self.at_desk(&mut decoded);
                match sparkplug.restore(number, &message, &mut desk) {
                    Ok(()) => continue,
                    never_read => never_read,
                }
            } else {
                // It waits again if it has to, under another number.
                self.decode_into(&message, &mut decoded)
            };
            if let Err(reason) = outcome {
                decoded.rejects.push(Reject::new(&message, reason));
            }
            decoded.let_go.push(number);
        }
        decoded
    }

    /// The process ends, and another goes on: what was held back only for caution is read, and the rest stays held.
    pub fn pause(&mut self) -> Decoded {
        self.beside_messages(pause)
    }

    /// No more messages come: what still waits is read as well as can be, and the rest rejected.
    pub fn finish(&mut self) -> Decoded {
        self.beside_messages(|sparkplug, desk| {
            pause(sparkplug, desk);
            for held in desk.waiting.take(|_| true) {
                let reason = held.wants.comes_no_more();
                desk.give_up(held, reason);
            }
        })
    }

    /// What comes out without a message.
    fn beside_messages(&mut self, work: impl FnOnce(&mut sparkplug::Host, &mut Desk<'_>)) -> Decoded {
        let mut decoded = Decoded::default();
        let (sparkplug, mut desk) = self.at_desk(&mut decoded);
        work(sparkplug, &mut desk);
        decoded
    }

    fn at_desk<'d>(&'d mut self, decoded: &'d mut Decoded) -> (&'d mut sparkplug::Host, Desk<'d>) {
        let desk = Desk {
            root: &self.root,
            machines: &self.machines,
            sources: &self.sources,
            curves: &self.curves,
            rooms: &mut self.rooms,
            waiting: &mut self.waiting,
            decoded,
        };
        (&mut self.sparkplug, desk)
    }

    fn decode_into(&mut self, message: &Message, decoded: &mut Decoded) -> Result<(), String> {
        let (sparkplug, mut desk) = self.at_desk(decoded);
        match topic::parse(&message.topic, desk.root) {
            Topic::Machine(id) => desk.readings_of(id, message)?.take_pack(),
            Topic::Channel(id, channel) => {
                let mut readings = desk.readings_of(id, message)?;
                readings.take_channel(parse_channel(channel)?)
            }
            Topic::Event(id) => decode_event(id, message, &mut desk),
            // Our own publication, seen through a wildcard.
            Topic::Standing => Ok(()),
            Topic::Odd => Err(format!(
                "under the root stand {0}/<machine>, {0}/<machine>/<channel> and {0}/<machine>/event, and no other topics",
                desk.root
            )),
            Topic::SparkplugB => sparkplug.take(message, &mut desk),
            Topic::Foreign => decode_foreign(message, &mut desk),
        }
    }
}

fn pause(sparkplug: &mut sparkplug::Host, desk: &mut Desk<'_>) {
    sparkplug.pause(desk);
    desk.read_what_waited(sparkplug.newest());
}

/// A topic outside the root: what the sources that match it make of it.
fn decode_foreign(message: &Message, desk: &mut Desk<'_>) -> Result<(), String> {
    let mut is_known = false;
    for source in desk.sources {
        let Some(captured) = source.filter.captured(&message.topic) else { continue };
        is_known = true;
        let machine = source.machine.as_ref().map(MachineId::as_str).or(captured.machine);
        let channel = source.channel.map(Channel::as_str).or(captured.channel);
        let taken = decode_source(source, machine, channel, message, desk);
        if let Err(reason) = taken {
            desk.decoded.rejects.push(Reject::new(message, reason));
        }
    }
    match is_known {
        true => Ok(()),
        false => Err(format!(
            "the topic is neither under the root `{}` nor in any [[source]] of the plant file",
            desk.root
        )),
    }
}

fn decode_source(
    source: &Source,
    machine: Option<&str>,
    channel: Option<&str>,
    message: &Message,
    desk: &mut Desk<'_>,
) -> Result<(), String> {
    let mut readings = desk.readings_of(machine.unwrap_or_default(), message)?;
    let channel = parse_channel(channel.unwrap_or_default())?;
    match &source.json {
        None => readings.take_channel(channel),
        Some(json) => {
            let found = json_source::read(&message.payload, json, channel)?;
            readings.take(channel, None, found.at, found.value)
        }
    }
}

fn parse_channel(text: &str) -> Result<Channel, String> {
    text.parse::<Channel>().map_err(|error| error.to_string())
}

/// A retained event without a moment of its own says only that something happened once: it is no event.
fn decode_event(id: &str, message: &Message, desk: &mut Desk<'_>) -> Result<(), String> {
    let machine = desk.machines.find(id)?;
    let dated = event::parse(&machine.id, &message.payload, desk.curves)?;
    if dated.at.is_some() || !message.retained {
        let event = Event { at: dated.at.unwrap_or(message.arrived), ..dated.event };
        desk.decoded.arrivals.push(Arrival {
            arrived: message.arrived,
            retained: message.retained,
            content: Content::Event(event),
        });
    }
    Ok(())
}
