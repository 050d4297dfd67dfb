//! The quantities that a machine reports.

use std::fmt;
use std::ops::RangeInclusive;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// One measured quantity of a machine. Only `chocolate` is required.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Channel {
    /// The charge itself, °C.
    Chocolate,
    /// Jacket, water or plate, °C.
    Jacket,
    /// The air near the machine, °C.
    Room,
    /// Relative humidity of that air, %RH.
    Humidity,
    /// What the controller is asked to hold, °C.
    Setpoint,
    /// 0/1, or turns a minute.
    Stirrer,
    /// Current of the stirrer's motor, A.
    Motor,
}

/// Not one of the seven channels.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "`{0}` is not a channel; the channels are chocolate, jacket, room, humidity, setpoint, stirrer and motor"
)]
pub struct UnknownChannel(pub String);

impl Channel {
    /// Every channel, in the order of the contract.
    pub const ALL: [Channel; 7] = [
        Channel::Chocolate,
        Channel::Jacket,
        Channel::Room,
        Channel::Humidity,
        Channel::Setpoint,
        Channel::Stirrer,
        Channel::Motor,
    ];

    /// The contract's word, as it stands in topics.
    pub fn as_str(self) -> &'static str {
        match self {
            Channel::Chocolate => "chocolate",
            Channel::Jacket => "jacket",
            Channel::Room => "room",
            Channel::Humidity => "humidity",
            Channel::Setpoint => "setpoint",
            Channel::Stirrer => "stirrer",
            Channel::Motor => "motor",
        }
    }

    /// Its place in [`Channel::ALL`], for arrays with one slot a channel.
    #[inline]
    pub fn index(self) -> usize {
        self as usize
    }

    /// The unit of its readings, as people write it; empty for the stirrer.
    pub fn unit(self) -> &'static str {
        match self {
            Channel::Chocolate | Channel::Jacket | Channel::Room | Channel::Setpoint => "°C",
            Channel::Humidity => "%RH",
            Channel::Stirrer => "",
            Channel::Motor => "A",
        }
    }

    /// What a reading of it can be, in its unit. A temperature beyond it is a fault of the probe (contract, section 6), whoever brings it; of
    /// the others nothing is known but what the store can keep.
    #[inline]
    pub fn possible(self) -> RangeInclusive<f64> {
        const LARGEST_KEPT: f64 = 999_999.999;
        if self.is_temperature() { -10.0..=120.0 } else { -LARGEST_KEPT..=LARGEST_KEPT }
    }

    /// Does it measure a temperature?
    #[inline]
    pub fn is_temperature(self) -> bool {
        match self {
            Channel::Chocolate | Channel::Jacket | Channel::Room | Channel::Setpoint => true,
            Channel::Humidity | Channel::Stirrer | Channel::Motor => false,
        }
    }
}

impl fmt::Display for Channel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

impl FromStr for Channel {
    type Err = UnknownChannel;

    fn from_str(text: &str) -> Result<Channel, UnknownChannel> {
        Channel::ALL
            .into_iter()
            .find(|channel| channel.as_str() == text)
            .ok_or_else(|| UnknownChannel(text.to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_channel_is_found_by_its_word_and_its_place() {
        for (place, channel) in Channel::ALL.into_iter().enumerate() {
            assert_eq!(channel.as_str().parse(), Ok(channel));
            assert_eq!(channel.index(), place);
        }
        assert!(
            "vibration"
                .parse::<Channel>()
                .unwrap_err()
                .to_string()
                .starts_with("`vibration` is not a channel")
        );
    }
}
