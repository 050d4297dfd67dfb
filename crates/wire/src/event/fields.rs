//! The fields of an event, each read as what it should be. A field that is `null` is not there.

use std::fmt::Display;
use std::str::FromStr;

use plant::MOST_KG;
use serde_json::{Map, Value};

/// No couverture, seed or hand thermometer is outside these, °C; a figure beyond them is a slip of the finger.
pub(crate) const PLAUSIBLE_C: std::ops::RangeInclusive<f64> = -40.0..=150.0;

/// Good temper sets within ten minutes, poor within an hour; common practice, no source.
const LONGEST_SET_MIN: f64 = 120.0;

/// The fields of one event.
pub(crate) struct Fields(Map<String, Value>);

impl Fields {
    pub(crate) fn parse(text: &str) -> Result<Fields, String> {
        if text.trim_ascii().is_empty() {
            return Err(
                "the event is empty; it is a JSON object such as {\"event\":\"note\",\"text\":\"…\"}".into(),
            );
        }
        match serde_json::from_str(text) {
            Ok(Value::Object(fields)) => Ok(Fields(fields)),
            Ok(_) => Err("an event is a JSON object such as {\"event\":\"note\",\"text\":\"…\"}".into()),
            Err(error) => Err(format!("the event is not JSON ({error})")),
        }
    }

    pub(crate) fn text(&self, key: &str) -> Result<Option<&str>, String> {
        match self.get(key) {
            None => Ok(None),
            Some(value) => value.as_str().map(Some).ok_or_else(|| format!("`{key}` takes a text")),
        }
    }

    pub(crate) fn owned_text(&self, key: &str) -> Result<Option<String>, String> {
        Ok(self.text(key)?.map(str::to_owned))
    }

    /// A text that stands for one of our own words or ids.
    pub(crate) fn parsed<T: FromStr<Err: Display>>(&self, key: &str) -> Result<Option<T>, String> {
        let Some(text) = self.text(key)? else { return Ok(None) };
        text.parse().map(Some).map_err(|error: T::Err| format!("`{key}`: {error}"))
    }

    pub(crate) fn above_zero(&self, key: &str) -> Result<Option<f64>, String> {
        match self.number(key)? {
            Some(number) if number <= 0.0 => Err(format!("`{key}` is {number}, and must be above zero")),
            number => Ok(number),
        }
    }

    /// A mass in kg, that some machine can hold.
    pub(crate) fn mass(&self, key: &str) -> Result<Option<f64>, String> {
        match self.above_zero(key)? {
            Some(kg) if MOST_KG < kg => {
                Err(format!("`{key}` is {kg} kg, and no machine holds more than {MOST_KG} kg"))
            }
            kg => Ok(kg),
        }
    }

    /// Minutes until a smear has set.
    pub(crate) fn set_minutes(&self, key: &str) -> Result<Option<f64>, String> {
        match self.above_zero(key)? {
            Some(minutes) if LONGEST_SET_MIN < minutes => Err(format!(
                "`{key}` is {minutes}, and what has not set in {LONGEST_SET_MIN} minutes has failed; leave the time out"
            )),
            minutes => Ok(minutes),
        }
    }

    pub(crate) fn temperature(&self, key: &str) -> Result<Option<f64>, String> {
        let (low, high) = (PLAUSIBLE_C.start(), PLAUSIBLE_C.end());
        match self.number(key)? {
            Some(number) if !PLAUSIBLE_C.contains(&number) => {
                Err(format!("`{key}` is {number} °C, and should be from {low} to {high} °C"))
            }
            number => Ok(number),
        }
    }

    /// One of two or more words of ours, or nothing.
    pub(crate) fn word(&self, key: &str, words: &[&str]) -> Result<(), String> {
        match self.text(key)? {
            Some(word) if !words.contains(&word) => {
                Err(format!("`{key}` is `{word}`; it is one of {}", words.join(" and ")))
            }
            Some(_) | None => Ok(()),
        }
    }

    /// A share of a hundred, or nothing.
    pub(crate) fn percent(&self, key: &str) -> Result<(), String> {
        match self.number(key)? {
            Some(number) if !(0.0..=100.0).contains(&number) => {
                Err(format!("`{key}` is {number}; it is a percentage, from 0 to 100"))
            }
            Some(_) | None => Ok(()),
        }
    }

    fn number(&self, key: &str) -> Result<Option<f64>, String> {
        match self.get(key) {
            None => Ok(None),
            Some(value) => value.as_f64().map(Some).ok_or_else(|| format!("`{key}` takes a number")),
        }
    }

    pub(crate) fn get(&self, key: &str) -> Option<&Value> {
        self.0.get(key).filter(|value| !value.is_null())
    }
}
