//! The readings of one message: channel, time and value put together.

use model::{Arrival, Channel, Content, Reading, Span, Timestamp};
use plant::Machine;

use crate::channel_value::Measured;
use crate::decoder::Desk;
use crate::waiting::{Uncompensated, Wanted};
use crate::{Message, Reject};

/// A message of thousands of bad records has one fault, not thousands; the reject log has room for others too.
const MOST_REJECTS: usize = 100;

/// Collects the readings of one message about one machine.
pub(crate) struct Readings<'m, 'd> {
    machine: &'m Machine,
    pub(crate) message: &'m Message,
    desk: &'m mut Desk<'d>,
    /// When what it holds could be read: with its arrival, or with that of what it has waited for.
    known_at: Timestamp,
    rejects: usize,
}

impl<'m, 'd> Readings<'m, 'd> {
    pub(crate) fn new(
        machine: &'m Machine,
        message: &'m Message,
        desk: &'m mut Desk<'d>,
    ) -> Readings<'m, 'd> {
        Readings { machine, message, desk, known_at: message.arrived, rejects: 0 }
    }

    /// A part of the message could not be read; the rest of it goes on.
    pub(crate) fn reject(&mut self, reason: String) {
        self.rejects += 1;
        if self.rejects <= MOST_REJECTS {
            self.desk.decoded.rejects.push(Reject::new(self.message, reason));
        } else if self.rejects == MOST_REJECTS + 1 {
            let reason = format!(
                "more than {MOST_REJECTS} parts of this message cannot be read; the rest is not told"
            );
            self.desk.decoded.rejects.push(Reject::new(self.message, reason));
        }
    }

    /// Takes one value. Without a time of its own it was measured when it arrived; then a message that the broker kept
    /// from earlier is no reading.
    pub(crate) fn take(
        &mut self,
        channel: Channel,
        unit: Option<&str>,
        at: Option<Timestamp>,
        value: Option<f64>,
    ) -> Result<(), String> {
        if at.is_none() && self.message.retained {
            return Ok(());
        }
        let (is_undated, at) = (at.is_none(), at.unwrap_or(self.message.arrived));
        let settings = self.machine.settings(channel);
        let value = match value {
            None => None,
            Some(value) => {
                let measured = Measured { channel, settings, unit, value };
                let room_c = self.desk.rooms.at(&self.machine.id, at);
                // What the broker had kept is sent again, and is not kept here.
                if room_c.is_none() && measured.needs_room() && !self.message.retained {
                    let at = if is_undated { self.set_apart(channel, at) } else { at };
                    return self.wait_for_room(channel, unit, at, value);
                }
                measured.value(room_c)?
            }
        };
        let reading = Reading { machine: self.machine.id.clone(), channel, at, value };
        self.desk.rooms.note(self.machine, &reading);
        self.desk.decoded.arrivals.push(Arrival {
            arrived: self.known_at,
            retained: self.message.retained,
            content: Content::Reading(reading),
        });
        Ok(())
    }

    /// The moment of an undated value that waits: its arrival, or a little later where another that waits has come in the same millisecond. What is
    /// read at once is set apart by who takes it in.
    fn set_apart(&self, channel: Channel, arrived: Timestamp) -> Timestamp {
        let same = |wanted: &Uncompensated| wanted.machine == self.machine.id && wanted.channel == channel;
        let newest = self.desk.waiting.for_room().filter(|wanted| same(wanted)).map(|wanted| wanted.at).max();
        newest.map_or(arrived, |newest| arrived.max(newest + Span::from_millis(1)))
    }

    /// Only this value waits, and not the message that it came in.
    fn wait_for_room(
        &mut self,
        channel: Channel,
        unit: Option<&str>,
        at: Timestamp,
        value: f64,
    ) -> Result<(), String> {
        let wanted = Uncompensated {
            machine: self.machine.id.clone(),
            channel,
            unit: unit.map(str::to_owned),
            at,
            value,
            came_by: self.message.topic.clone(),
        };
        let message = Message {
            topic: format!("{}/{}/{channel}", self.desk.root, self.machine.id),
            payload: wanted.as_pack(self.message.arrived),
            arrived: self.message.arrived,
            retained: false,
        };
        self.desk.hold(Wanted::Room(wanted), &message)
    }

    /// Takes what has waited and can be read `now`.
    pub(crate) fn take_waiting(&mut self, wanted: &Uncompensated, now: Timestamp) {
        self.known_at = now;
        let taken = self.take(wanted.channel, wanted.unit.as_deref(), Some(wanted.at), Some(wanted.value));
        if let Err(reason) = taken {
            self.reject(reason);
        }
    }
}
