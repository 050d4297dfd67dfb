//! The readings of one message: channel, time and value put together.

use model::{Channel, Content, Reading, Timestamp};
use plant::Machine;

use crate::channel_value::Measured;
use crate::decoder::{Decoder, arrival};
use crate::senml::{Record, RecordTime, RecordValue};
use crate::{Decoded, Message, Reject};

/// Collects the readings of one message about one machine.
pub(crate) struct Readings<'m> {
    pub(crate) decoder: &'m Decoder,
    pub(crate) machine: &'m Machine,
    pub(crate) message: &'m Message,
    pub(crate) decoded: &'m mut Decoded,
}

impl Readings<'_> {
    pub(crate) fn reject(&mut self, reason: String) {
        self.decoded.rejects.push(Reject::new(self.message, reason));
    }

    /// Takes one SenML record; `of_topic` is the channel that the topic says.
    pub(crate) fn take_record(&mut self, of_topic: Option<Channel>, record: &Record) -> Result<(), String> {
        let last = record.name.rsplit('/').next().unwrap_or_default();
        let named = last.parse::<Channel>();
        let channel = match (of_topic, named) {
            (Some(of_topic), Ok(named)) if of_topic != named => {
                return Err(format!("the record `{}` came on the topic of {of_topic}", record.name));
            }
            (Some(of_topic), _) => of_topic,
            (None, Ok(named)) => named,
            (None, Err(unknown)) => return Err(format!("the record `{}`: {unknown}", record.name)),
        };
        let value = match record.value {
            RecordValue::Number(value) => Some(value),
            RecordValue::Boolean(on) if channel == Channel::Stirrer => Some(f64::from(u8::from(on))),
            RecordValue::Boolean(_) => {
                return Err(format!("{channel} takes a number in `v`, not true or false"));
            }
            RecordValue::Missing => None,
        };
        let unit = record.unit.as_deref();
        match record.time {
            // Counted from the arrival, which says nothing where the broker kept the message.
            RecordTime::FromArrival(_) if self.message.retained => Ok(()),
            RecordTime::FromArrival(seconds) => {
                let arrived = self.message.arrived.as_millis() as f64 / 1000.0;
                self.take(channel, unit, Some(moment(arrived + seconds)?), value)
            }
            RecordTime::Since1970(seconds) => self.take(channel, unit, Some(moment(seconds)?), value),
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
        let settings = self.machine.settings(channel);
        let value = match value {
            None => None,
            Some(value) => {
                Measured { channel, settings, unit, value }.value(self.decoder.room_of(&self.machine.id))?
            }
        };
        let at = at.unwrap_or(self.message.arrived);
        let reading = Reading { machine: self.machine.id.clone(), channel, at, value };
        self.decoder.note_room(self.machine, &reading);
        self.decoded.arrivals.push(arrival(self.message, Content::Reading(reading)));
        Ok(())
    }
}

fn moment(seconds_since_1970: f64) -> Result<Timestamp, String> {
    Timestamp::from_secs_f64(seconds_since_1970)
        .ok_or_else(|| "the time `t` is outside the years 1 to 9999".into())
}
