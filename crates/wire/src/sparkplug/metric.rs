//! From the metrics of a payload to readings.
//!
//! - A metric that is null, not finite or called bad by its sender is a `missing` reading (contract, section 2).
//! - One that its sender calls stale was measured earlier and is no new reading: it is told, and the machine falls
//!   `silent` if nothing better comes. Taking it as `missing` could wipe out the good value of the same moment.
//! - Its moment is the metric's own, else the payload's, else the arrival. A historical value needs its own, because the
//!   payload's is the moment of sending (chapter 6, tck-id-payloads-timestamp-in-UTC and "Metric").

use model::{Channel, Timestamp};

use crate::decoder::Readings;
use crate::sparkplug::birth::{self, Birth, Declared};
use crate::sparkplug::datatype::{Datatype, Figure, figure};
use crate::sparkplug::payload::{Metric, Payload, Quality};

/// Were all aliases known?
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Aliases {
    Known,
    Unknown,
}

/// A payload of one device, and what is known about it.
pub(crate) struct Source<'p> {
    pub(crate) device: &'p str,
    pub(crate) payload: &'p Payload,
    pub(crate) birth: Option<&'p Birth>,
    /// `None` for a message that the broker kept from earlier.
    pub(crate) arrived: Option<Timestamp>,
}

impl Source<'_> {
    /// Reads all metrics.
    pub(crate) fn read(&self, readings: &mut Readings<'_, '_>) -> Aliases {
        let mut aliases = Aliases::Known;
        for metric in self.payload.metrics() {
            let taken = metric.and_then(|metric| {
                let Some(declared) = self.declared(&metric, &mut aliases)? else { return Ok(()) };
                self.take(&metric, declared, readings)
                    .map_err(|says| format!("the metric of {}: {says}", declared.channel))
            });
            if let Err(reason) = taken {
                readings.reject(reason);
            }
        }
        aliases
    }

    /// Which channel it is; `None` if its birth has said that it is none.
    fn declared(&self, metric: &Metric, aliases: &mut Aliases) -> Result<Option<Declared>, String> {
        match (&metric.name, metric.alias) {
            (Some(name), _) => self.declared_by_name(name, metric.datatype),
            (None, Some(alias)) => match self.birth.and_then(|birth| birth.aliased(alias)) {
                Some(declared) => Ok(declared),
                None => {
                    *aliases = Aliases::Unknown;
                    Err(format!(
                        "the alias {alias} is not in the birth of {}, so nobody can say what it is; the edge node is asked \
                         for its births",
                        self.device
                    ))
                }
            },
            (None, None) => Err("a metric has neither a name nor an alias".into()),
        }
    }

    fn declared_by_name(&self, name: &str, datatype: Option<u32>) -> Result<Option<Declared>, String> {
        let in_birth = self.birth.and_then(|birth| birth.named(name));
        let datatype = datatype.map(Datatype::of).or(in_birth.and_then(|declared| declared.datatype));
        match birth::channel(name) {
            Some(channel) => Ok(Some(Declared { channel, datatype })),
            // Told with the birth.
            None if self.birth.is_some() => Ok(None),
            None => Err(birth::not_channels(std::slice::from_ref(&name.to_owned()))),
        }
    }

    fn take(
        &self,
        metric: &Metric,
        declared: Declared,
        readings: &mut Readings<'_, '_>,
    ) -> Result<(), String> {
        let at = self.moment(metric)?;
        let value = value(metric, declared)?;
        readings.take(declared.channel, None, at, value)
    }

    /// `None` only for a kept message without a moment of its own.
    fn moment(&self, metric: &Metric) -> Result<Option<Timestamp>, String> {
        let is_historical = metric.is_historical == Some(true);
        let millis = match (metric.timestamp, self.payload.timestamp) {
            (Some(own), _) => own,
            (None, _) if is_historical => {
                return Err("a historical value needs a timestamp of its own".into());
            }
            (None, Some(sent)) => sent,
            (None, None) => return Ok(self.arrived),
        };
        let at = i64::try_from(millis).ok().map(Timestamp::from_millis);
        at.filter(|at| u64::try_from(at.as_millis()) == Ok(millis))
            .map(Some)
            .ok_or_else(|| "its timestamp is after the year 9999; it counts milliseconds since 1970".into())
    }
}

/// `None` is a `missing` reading.
fn value(metric: &Metric, declared: Declared) -> Result<Option<f64>, String> {
    match metric.quality() {
        Quality::Good => {}
        Quality::Bad => return Ok(None),
        Quality::Stale => {
            return Err("its sender calls it stale, so it was measured earlier and is no new reading".into());
        }
        Quality::Other(code) => {
            return Err(format!("its quality {code} is none of 0 (bad), 192 (good) and 500 (stale)"));
        }
    }
    let value = match &metric.value {
        Some(value) if metric.is_null != Some(true) => value,
        Some(_) | None => return Ok(None),
    };
    let datatype = metric.datatype.map(Datatype::of).or(declared.datatype);
    match figure(value, datatype)? {
        Figure::Number(number) => Ok(Some(number).filter(|number| number.is_finite())),
        Figure::Boolean(on) if declared.channel == Channel::Stirrer => Ok(Some(f64::from(u8::from(on)))),
        Figure::Boolean(on) => Err(format!("it is {on}, not a number")),
    }
}
