//! What stands on a machine's own topics: bare numbers and SenML packs.

use model::{Channel, Timestamp};

use crate::bare;
use crate::decoder::Readings;
use crate::senml::{self, Record, RecordTime, RecordValue};

impl Readings<'_, '_> {
    /// `works/<machine>`: each record says its channel.
    pub(crate) fn take_pack(&mut self) -> Result<(), String> {
        if let Ok(_number) = bare::parse(&self.message.payload) {
            return Err(format!(
                "a bare payload does not say which channel it is; send it to {}/chocolate or another channel, or send a \
                 SenML pack",
                self.message.topic
            ));
        }
        self.take_records(None)
    }

    /// `works/<machine>/<channel>`: the topic says the channel.
    pub(crate) fn take_channel(&mut self, channel: Channel) -> Result<(), String> {
        match senml::looks_like_pack(&self.message.payload) {
            true => self.take_records(Some(channel)),
            false => {
                let value = bare::parse(&self.message.payload)?;
                self.take(channel, None, None, value)
            }
        }
    }

    fn take_records(&mut self, channel: Option<Channel>) -> Result<(), String> {
        for record in senml::resolve(&self.message.payload)? {
            let taken = record.and_then(|record| self.take_record(channel, &record));
            if let Err(reason) = taken {
                self.reject(reason);
            }
        }
        Ok(())
    }

    /// Takes one SenML record; `of_topic` is the channel that the topic says.
    fn take_record(&mut self, of_topic: Option<Channel>, record: &Record) -> Result<(), String> {
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
}

fn moment(seconds_since_1970: f64) -> Result<Timestamp, String> {
    Timestamp::from_secs_f64(seconds_since_1970)
        .ok_or_else(|| "the time `t` is outside the years 1 to 9999".into())
}
