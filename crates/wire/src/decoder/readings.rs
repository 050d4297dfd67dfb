//! The readings of one message: channel, time and value put together.

use model::{Arrival, Channel, Content, Reading, Timestamp};
use plant::Machine;

use crate::channel_value::Measured;
use crate::decoder::Rooms;
use crate::{Decoded, Message, Reject};

/// A message of thousands of bad records has one fault, not thousands; the reject log has room for others too.
const MOST_REJECTS: usize = 100;

/// Collects the readings of one message about one machine.
pub(crate) struct Readings<'m> {
    machine: &'m Machine,
    pub(crate) message: &'m Message,
    rooms: &'m mut Rooms,
    decoded: &'m mut Decoded,
    rejects: usize,
}

impl<'m> Readings<'m> {
    pub(crate) fn new(
        machine: &'m Machine,
        message: &'m Message,
        rooms: &'m mut Rooms,
        decoded: &'m mut Decoded,
    ) -> Readings<'m> {
        Readings { machine, message, rooms, decoded, rejects: 0 }
    }

    /// A part of the message could not be read; the rest of it goes on.
    pub(crate) fn reject(&mut self, reason: String) {
        self.rejects += 1;
        if self.rejects <= MOST_REJECTS {
            self.decoded.rejects.push(Reject::new(self.message, reason));
        } else if self.rejects == MOST_REJECTS + 1 {
            let reason = format!(
                "more than {MOST_REJECTS} parts of this message cannot be read; the rest is not told"
            );
            self.decoded.rejects.push(Reject::new(self.message, reason));
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
        let at = at.unwrap_or(self.message.arrived);
        let settings = self.machine.settings(channel);
        let value = match value {
            None => None,
            Some(value) => {
                Measured { channel, settings, unit, value }.value(self.rooms.at(&self.machine.id, at))?
            }
        };
        let reading = Reading { machine: self.machine.id.clone(), channel, at, value };
        self.rooms.note(self.machine, &reading);
        self.decoded.arrivals.push(Arrival {
            arrived: self.message.arrived,
            retained: self.message.retained,
            content: Content::Reading(reading),
        });
        Ok(())
    }
}
