//! From a unit's value to a channel's: conversion, raw sensors, the probe's offset.

use maths::sensors::{Kind, pt100_celsius, thermocouple_celsius};
use model::Channel;
use plant::{ChannelSettings, ColdJunction, Sensor};

/// 0 °C in kelvin (BIPM, SI brochure, section 2.3.1).
const ZERO_CELSIUS_K: f64 = 273.15;

/// The units of the contract, by their names in SenML (RFC 8428, section 12.1, and RFC 8798 for `mA` and `mV`).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Unit {
    Celsius,
    Kelvin,
    RelativeHumidity,
    Ampere,
    Milliampere,
    Volt,
    Millivolt,
    Ohm,
    PerMinute,
    Ratio,
}

impl Unit {
    fn parse(text: &str) -> Option<Unit> {
        match text {
            "Cel" => Some(Unit::Celsius),
            "K" => Some(Unit::Kelvin),
            "%RH" => Some(Unit::RelativeHumidity),
            "A" => Some(Unit::Ampere),
            "mA" => Some(Unit::Milliampere),
            "V" => Some(Unit::Volt),
            "mV" => Some(Unit::Millivolt),
            "Ohm" => Some(Unit::Ohm),
            "1/min" => Some(Unit::PerMinute),
            "/" => Some(Unit::Ratio),
            _ => None,
        }
    }
}

/// A value before the sensor behind it is looked at.
enum Signal {
    /// In the channel's unit.
    Ready(f64),
    Ohms(f64),
    Millivolts(f64),
}

/// Where the number in a message comes from.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Measured<'m> {
    pub(crate) channel: Channel,
    pub(crate) settings: ChannelSettings,
    pub(crate) unit: Option<&'m str>,
    pub(crate) value: f64,
}

impl Measured<'_> {
    /// The channel's value; `None` if it is not finite, or outside what the sensor can show (a broken wire).
    ///
    /// # Errors
    /// A plain sentence if the unit does not fit, or if a thermocouple's cold junction is not known yet.
    pub(crate) fn value(&self, room_c: Option<f64>) -> Result<Option<f64>, String> {
        let value = match self.signal()? {
            Signal::Ready(value) => Some(value),
            Signal::Ohms(ohms) => pt100_celsius(ohms),
            Signal::Millivolts(millivolts) => self.thermocouple(millivolts, room_c)?,
        };
        Ok(value.map(|value| value + self.settings.offset).filter(|value| value.is_finite()))
    }

    /// Is it a voltage that means nothing without the room's temperature?
    pub(crate) fn needs_room(&self) -> bool {
        let junction = match self.settings.sensor {
            Some(Sensor::TypeK(junction) | Sensor::TypeT(junction) | Sensor::TypeJ(junction)) => junction,
            None | Some(Sensor::Pt100) => return false,
        };
        junction == ColdJunction::Room && matches!(self.signal(), Ok(Signal::Millivolts(_)))
    }

    /// The value in the channel's own unit, or in that of the sensor behind it. Without a unit it is the sensor's, or
    /// the channel's where there is no sensor. A sender that already says °C has converted for itself.
    fn signal(&self) -> Result<Signal, String> {
        let Some(text) = self.unit else { return Ok(self.without_unit()) };
        let unit = Unit::parse(text).ok_or_else(|| self.misfit(text))?;
        let value = self.value;
        let is_thermocouple =
            matches!(self.settings.sensor, Some(Sensor::TypeK(_) | Sensor::TypeT(_) | Sensor::TypeJ(_)));
        match (self.channel, unit) {
            (channel, Unit::Celsius) if channel.is_temperature() => Ok(Signal::Ready(value)),
            (channel, Unit::Kelvin) if channel.is_temperature() => Ok(Signal::Ready(value - ZERO_CELSIUS_K)),
            (_, Unit::Ohm) if self.settings.sensor == Some(Sensor::Pt100) => Ok(Signal::Ohms(value)),
            (_, Unit::Millivolt) if is_thermocouple => Ok(Signal::Millivolts(value)),
            (_, Unit::Volt) if is_thermocouple => Ok(Signal::Millivolts(value * 1000.0)),
            (Channel::Humidity, Unit::RelativeHumidity) => Ok(Signal::Ready(value)),
            (Channel::Humidity, Unit::Ratio) => Ok(Signal::Ready(value * 100.0)),
            (Channel::Stirrer, Unit::PerMinute | Unit::Ratio) => Ok(Signal::Ready(value)),
            (Channel::Motor, Unit::Ampere) => Ok(Signal::Ready(value)),
            (Channel::Motor, Unit::Milliampere) => Ok(Signal::Ready(value / 1000.0)),
            _ => Err(self.misfit(text)),
        }
    }

    fn without_unit(&self) -> Signal {
        match self.settings.sensor {
            None => Signal::Ready(self.value),
            Some(Sensor::Pt100) => Signal::Ohms(self.value),
            Some(Sensor::TypeK(_) | Sensor::TypeT(_) | Sensor::TypeJ(_)) => Signal::Millivolts(self.value),
        }
    }

    fn thermocouple(&self, millivolts: f64, room_c: Option<f64>) -> Result<Option<f64>, String> {
        let (kind, junction) = match self.settings.sensor {
            Some(Sensor::TypeK(junction)) => (Kind::K, junction),
            Some(Sensor::TypeT(junction)) => (Kind::T, junction),
            Some(Sensor::TypeJ(junction)) => (Kind::J, junction),
            None | Some(Sensor::Pt100) => return Ok(None),
        };
        let cold_c = match junction {
            ColdJunction::Fixed(celsius) => celsius,
            ColdJunction::Room => room_c.ok_or(
                "the cold junction of this thermocouple is the machine's room channel, which has not reported a value yet",
            )?,
        };
        Ok(thermocouple_celsius(kind, millivolts, cold_c))
    }

    fn misfit(&self, unit: &str) -> String {
        let fitting = match (self.channel, self.settings.sensor) {
            (Channel::Humidity, _) => "%RH or /",
            (Channel::Stirrer, _) => "1/min or /",
            (Channel::Motor, _) => "A or mA",
            (_, None) => "Cel or K (Ohm and mV only with a `sensor` in the plant file)",
            (_, Some(Sensor::Pt100)) => "Ohm, Cel or K",
            (_, Some(Sensor::TypeK(_) | Sensor::TypeT(_) | Sensor::TypeJ(_))) => "mV, V, Cel or K",
        };
        format!("the unit `{unit}` does not fit {}, which takes {fitting}", self.channel)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn value(
        channel: Channel,
        sensor: Option<Sensor>,
        unit: Option<&str>,
        value: f64,
    ) -> Result<Option<f64>, String> {
        let settings = ChannelSettings { sensor, ..ChannelSettings::default() };
        Measured { channel, settings, unit, value }.value(None)
    }

    fn close(found: Result<Option<f64>, String>, expected: f64) {
        let found = found.unwrap().unwrap();
        assert!((found - expected).abs() < 0.005, "{found} is not {expected}");
    }

    #[test]
    fn units_are_converted_to_the_channels_own() {
        close(value(Channel::Chocolate, None, Some("K"), 304.35), 31.2);
        close(value(Channel::Chocolate, None, Some("Cel"), 31.2), 31.2);
        close(value(Channel::Motor, None, Some("mA"), 2400.0), 2.4);
        close(value(Channel::Humidity, None, Some("/"), 0.45), 45.0);
        close(value(Channel::Stirrer, None, Some("/"), 1.0), 1.0);
        close(value(Channel::Stirrer, None, Some("1/min"), 18.0), 18.0);
    }

    #[test]
    fn a_unit_that_does_not_fit_is_told() {
        let told = |channel, sensor, unit| value(channel, sensor, Some(unit), 1.0).unwrap_err();
        assert_eq!(
            told(Channel::Motor, None, "Cel"),
            "the unit `Cel` does not fit motor, which takes A or mA"
        );
        assert!(told(Channel::Chocolate, None, "Ohm").contains("only with a `sensor`"));
        assert!(told(Channel::Chocolate, Some(Sensor::Pt100), "mV").ends_with("takes Ohm, Cel or K"));
        assert!(told(Channel::Jacket, None, "Fah").starts_with("the unit `Fah` does not fit jacket"));
    }

    #[test]
    fn a_pt100_gives_degrees() {
        // IEC 60751, table: 100.00 Ω at 0 °C and 111.67 Ω at 30 °C.
        close(value(Channel::Chocolate, Some(Sensor::Pt100), Some("Ohm"), 100.0), 0.0);
        close(value(Channel::Chocolate, Some(Sensor::Pt100), None, 111.673), 30.0);
        assert_eq!(value(Channel::Chocolate, Some(Sensor::Pt100), None, 1e9), Ok(None), "a broken wire");
    }

    #[test]
    fn a_thermocouple_needs_its_cold_junction() {
        // NIST Monograph 175, type K: 1.203 mV at 30 °C against 0 °C, 0.798 mV at 20 °C.
        let fixed = |celsius| Some(Sensor::TypeK(ColdJunction::Fixed(celsius)));
        close_to_a_hundredth(value(Channel::Chocolate, fixed(0.0), Some("mV"), 1.203), 30.0);
        close_to_a_hundredth(value(Channel::Chocolate, fixed(20.0), Some("V"), 0.000_405), 30.0);
        let room = Some(Sensor::TypeK(ColdJunction::Room));
        assert!(value(Channel::Chocolate, room, None, 1.203).unwrap_err().contains("room channel"));
    }

    /// Tables print whole microvolts, which is 0.025 °C.
    fn close_to_a_hundredth(found: Result<Option<f64>, String>, expected: f64) {
        let found = found.unwrap().unwrap();
        assert!((found - expected).abs() < 0.03, "{found} is not {expected}");
    }

    #[test]
    fn the_offset_is_added_last() {
        let settings =
            ChannelSettings { sensor: Some(Sensor::Pt100), offset: -0.2, ..ChannelSettings::default() };
        let measured = Measured { channel: Channel::Chocolate, settings, unit: Some("Ohm"), value: 100.0 };
        close(measured.value(None), -0.2);
    }

    #[test]
    fn what_overflows_is_missing() {
        assert_eq!(value(Channel::Humidity, None, Some("/"), 1e307), Ok(None));
    }
}
