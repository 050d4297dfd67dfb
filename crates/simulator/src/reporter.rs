//! Puts readings into words: bare numbers, or SenML packs (RFC 8428) with times.

use std::fmt::Write;

use model::{Channel, Timestamp};

use crate::spec::{Instruments, Wording};

/// Resistance of a platinum sensor of 100 Ω, Callendar–Van Dusen at and above 0 °C (IEC 60751).
const PT100_OHM: f64 = 100.0;
const PT100_A: f64 = 3.9083e-3;
const PT100_B: f64 = -5.775e-7;

/// One value on its way out; `None` is a missing one.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Said {
    pub(crate) channel: Channel,
    pub(crate) value: Option<f64>,
}

/// Writes the messages of one machine.
#[derive(Debug, Clone)]
pub(crate) struct Reporter {
    /// `works/alder`.
    topic: String,
    wording: Wording,
    decimals: usize,
    ohm: bool,
}

impl Reporter {
    pub(crate) fn new(root: &str, machine: &str, instruments: &Instruments, ohm: bool) -> Reporter {
        let tenths = instruments.resolution_c * 10.0;
        let decimals = if (tenths - tenths.round()).abs() < 1e-9 && tenths > 0.5 { 1 } else { 2 };
        Reporter { topic: format!("{root}/{machine}"), wording: instruments.wording, decimals, ohm }
    }

    pub(crate) fn wording(&self) -> Wording {
        self.wording
    }

    pub(crate) fn event_topic(&self) -> String {
        format!("{}/event", self.topic)
    }

    pub(crate) fn channel_topic(&self, channel: Channel) -> String {
        format!("{}/{}", self.topic, channel.as_str())
    }

    /// The messages that say `all` as of `at`, the sender's own clock.
    pub(crate) fn messages(&self, at: Timestamp, all: &[Said]) -> Vec<(String, Vec<u8>)> {
        let one = |said: &Said, text: String| (self.channel_topic(said.channel), text.into_bytes());
        match self.wording {
            Wording::Numbers => all.iter().map(|said| one(said, self.number(*said))).collect(),
            Wording::ChannelPacks => all
                .iter()
                .map(|said| {
                    let mut text = String::with_capacity(96);
                    text.push_str("[{\"n\":\"");
                    text.push_str(&self.channel_topic(said.channel));
                    let _ = write!(text, "\",\"t\":{}", seconds(at));
                    self.unit_and_value(*said, &mut text);
                    text.push_str("}]");
                    one(said, text)
                })
                .collect(),
            Wording::Packs if all.is_empty() => Vec::new(),
            Wording::Packs => vec![(self.topic.clone(), self.pack(at, all).into_bytes())],
        }
    }

    fn pack(&self, at: Timestamp, all: &[Said]) -> String {
        let mut text = String::with_capacity(64 + 48 * all.len());
        let _ = write!(text, "[{{\"bn\":\"{}/\",\"bt\":{}", self.topic, seconds(at));
        for (place, said) in all.iter().enumerate() {
            text.push_str(if place == 0 { ",\"n\":\"" } else { ",{\"n\":\"" });
            text.push_str(said.channel.as_str());
            text.push('"');
            self.unit_and_value(*said, &mut text);
            text.push('}');
        }
        text.push(']');
        text
    }

    fn is_ohm(&self, channel: Channel) -> bool {
        self.ohm && channel == Channel::Chocolate
    }

    fn number(&self, said: Said) -> String {
        match said.value {
            None => "nan".to_owned(),
            Some(value) if self.is_ohm(said.channel) => format!("{:.3}", pt100_ohm(value)),
            Some(value) => format!("{value:.*}", self.digits(said.channel)),
        }
    }

    fn unit_and_value(&self, said: Said, text: &mut String) {
        let unit = if self.is_ohm(said.channel) { "Ohm" } else { unit(said.channel) };
        if !unit.is_empty() {
            let _ = write!(text, ",\"u\":\"{unit}\"");
        }
        if said.value.is_some() {
            text.push_str(",\"v\":");
            text.push_str(&self.number(said));
        }
    }

    fn digits(&self, channel: Channel) -> usize {
        match channel {
            Channel::Chocolate | Channel::Jacket => self.decimals,
            Channel::Room | Channel::Humidity => 1,
            Channel::Setpoint | Channel::Motor => 2,
            Channel::Stirrer => 0,
        }
    }
}

/// Units as SenML writes them.
fn unit(channel: Channel) -> &'static str {
    match channel {
        Channel::Chocolate | Channel::Jacket | Channel::Room | Channel::Setpoint => "Cel",
        Channel::Humidity => "%RH",
        Channel::Stirrer => "/",
        Channel::Motor => "A",
    }
}

/// Seconds since 1970 with milliseconds.
fn seconds(at: Timestamp) -> String {
    let millis = at.as_millis();
    format!("{}.{:03}", millis.div_euclid(1000), millis.rem_euclid(1000))
}

fn pt100_ohm(celsius: f64) -> f64 {
    PT100_OHM * (1.0 + PT100_A * celsius + PT100_B * celsius * celsius)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(wording: Wording, ohm: bool, value: Option<f64>) -> Vec<String> {
        let instruments = Instruments {
            channels: vec![Channel::Chocolate],
            sample_s: 5.0,
            slow_sample_s: 60.0,
            resolution_c: 0.01,
            noise_c: 0.0,
            lag_s: 20.0,
            offset_c: 0.0,
            heating_noise_c: 0.0,
            deadband_c: None,
            wording,
        };
        let reporter = Reporter::new("works", "alder", &instruments, ohm);
        let all = [
            Said { channel: Channel::Chocolate, value },
            Said { channel: Channel::Stirrer, value: Some(1.0) },
        ];
        let messages = reporter.messages(Timestamp::from_millis(1_772_427_600_250), &all);
        messages.into_iter().map(|(t, p)| format!("{t} {}", String::from_utf8(p).unwrap())).collect()
    }

    #[test]
    fn numbers_packs_and_channel_packs() {
        assert_eq!(
            said(Wording::Numbers, false, Some(31.239)),
            ["works/alder/chocolate 31.24", "works/alder/stirrer 1"]
        );
        assert_eq!(
            said(Wording::Packs, false, Some(31.2)),
            [concat!(
                r#"works/alder [{"bn":"works/alder/","bt":1772427600.250,"n":"chocolate","u":"Cel","v":31.20},"#,
                r#"{"n":"stirrer","u":"/","v":1}]"#
            )]
        );
        assert_eq!(
            said(Wording::ChannelPacks, false, None)[0],
            r#"works/alder/chocolate [{"n":"works/alder/chocolate","t":1772427600.250,"u":"Cel"}]"#
        );
    }

    #[test]
    fn a_platinum_sensor_speaks_in_ohm() {
        // IEC 60751 table: 100.000 Ω at 0 °C, 111.673 Ω at 30 °C, 138.506 Ω at 100 °C.
        assert!((pt100_ohm(30.0) - 111.673).abs() < 1e-3);
        assert!((pt100_ohm(100.0) - 138.506).abs() < 1e-3);
        assert_eq!(said(Wording::Numbers, true, Some(30.0))[0], "works/alder/chocolate 111.673");
    }
}
