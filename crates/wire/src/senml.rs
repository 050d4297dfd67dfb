//! SenML packs (RFC 8428): from base fields and relative times to records that stand by themselves.
//!
//! A pack comes in JSON or in CBOR, told apart by its first byte; one resolver serves both, so that both mean the same.
//! Everything that a small payload could blow up into much memory is bounded here: records, labels, names.
//!
//! What makes the whole pack doubtful (not a list, a version that we do not know, a label that has to be understood, a
//! broken base field) rejects it whole; what is wrong with one record rejects that record.
//!
//! Where the RFC leaves a choice, the contract decides: a record without a value field is `missing`, also where a base
//! value stands. A record of base fields alone only hands them on (section 5.1.7). Upper-case exponents are read.

mod cbor;
mod json;
mod labels;
mod pack;
#[cfg(test)]
mod tests;
#[cfg(test)]
mod vectors;

use crate::senml::labels::Labels;

/// Times below this are relative to the arrival, in seconds (RFC 8428, section 4.5.3).
pub(crate) const RELATIVE_BELOW: f64 = 268_435_456.0;
/// The version that RFC 8428 describes, and that stands where none is given.
const VERSION: f64 = 10.0;
/// A base name stands in front of each name of the pack, so that a long one would be copied thousands of times.
const LONGEST_NAME: usize = 256;
/// Longer than any unit that is registered (RFC 8428, section 12.1).
const LONGEST_UNIT: usize = 64;

/// A record with its base fields worked in.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Record {
    pub(crate) name: String,
    pub(crate) unit: Option<String>,
    pub(crate) time: RecordTime,
    pub(crate) value: RecordValue,
}

/// When a record was taken, in seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum RecordTime {
    /// Seconds from the arrival, mostly backwards.
    FromArrival(f64),
    /// Seconds since 1970.
    Since1970(f64),
}

/// What a record says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum RecordValue {
    /// A finite number.
    Number(f64),
    /// A boolean.
    Boolean(bool),
    /// No value, or one that is not finite.
    Missing,
}

/// The base fields that hold for a record and those after it.
#[derive(Default)]
struct Base {
    name: String,
    time: f64,
    unit: Option<String>,
    value: f64,
    version: Option<f64>,
}

/// Does `payload` begin like a pack, in JSON or in CBOR?
pub(crate) fn looks_like_pack(payload: &[u8]) -> bool {
    cbor::looks_like_pack(payload) || payload.trim_ascii_start().starts_with(b"[")
}

/// The records of a pack, each with its fault if it has one.
///
/// # Errors
/// A plain sentence if nothing of the pack can be used.
pub(crate) fn resolve(payload: &[u8]) -> Result<Vec<Result<Record, String>>, String> {
    if cbor::looks_like_pack(payload) {
        return resolve_records(&cbor::parse(payload)?);
    }
    let text = json::text(payload)?;
    resolve_records(&json::parse(&text)?)
}

fn resolve_records(pack: &[Labels<'_>]) -> Result<Vec<Result<Record, String>>, String> {
    let mut base = Base::default();
    let mut records = Vec::with_capacity(pack.len());
    for (place, labels) in pack.iter().enumerate() {
        let number = place + 1;
        base.take_over(labels, place == 0).map_err(|says| format!("record {number}: {says}"))?;
        if !labels.is_base_only() {
            records.push(base.resolve(labels).map_err(|says| format!("record {number}: {says}")));
        }
    }
    Ok(records)
}

impl Base {
    /// Takes over the base fields of a record. A fault here would spoil all records to come, so it ends the pack.
    fn take_over(&mut self, labels: &Labels<'_>, is_first: bool) -> Result<(), String> {
        labels.refuse_what_must_be_understood()?;
        if let Some(name) = labels.text("bn")? {
            self.name = bounded("the base name", name, LONGEST_NAME)?;
        }
        if let Some(unit) = labels.text("bu")? {
            self.unit = Some(bounded("the base unit", unit, LONGEST_UNIT)?);
        }
        if let Some(time) = labels.number("bt")? {
            self.time = time;
            if !time.is_finite() {
                return Err("the base time `bt` is not a finite number".into());
            }
        }
        if let Some(value) = labels.number("bv")? {
            self.value = value;
        }
        labels.number("bs")?;
        self.check_version(labels.number("bver")?, is_first)
    }

    fn check_version(&mut self, version: Option<f64>, is_first: bool) -> Result<(), String> {
        if let Some(version) = version {
            if !(1.0..=VERSION).contains(&version) || version.fract() != 0.0 {
                return Err(format!("SenML version {version} is not known; versions up to {VERSION} are"));
            }
            if !is_first && version != self.version.unwrap_or(VERSION) {
                return Err("all records of a pack must have the same version `bver`".into());
            }
            self.version = Some(version);
        }
        Ok(())
    }

    fn resolve(&self, labels: &Labels<'_>) -> Result<Record, String> {
        let own = labels.text("n")?.unwrap_or_default();
        let name = format!("{}{}", self.name, bounded("the name", own, LONGEST_NAME)?);
        check_name(&name)?;
        let unit = match labels.text("u")? {
            Some(unit) => Some(bounded("the unit", unit, LONGEST_UNIT)?),
            None => self.unit.clone(),
        };
        let seconds = self.time + labels.number("t")?.unwrap_or(0.0);
        if !seconds.is_finite() {
            return Err("the time `t` is not a finite number".into());
        }
        let time = match seconds < RELATIVE_BELOW {
            true => RecordTime::FromArrival(seconds),
            false => RecordTime::Since1970(seconds),
        };
        Ok(Record { name, unit, time, value: self.value_of(labels)? })
    }

    fn value_of(&self, labels: &Labels<'_>) -> Result<RecordValue, String> {
        let values: Vec<&str> =
            ["v", "vs", "vb", "vd"].into_iter().filter(|label| labels.has(label)).collect();
        match values.as_slice() {
            [] => Ok(RecordValue::Missing),
            ["v"] => {
                let value = self.value + labels.number("v")?.unwrap_or(0.0);
                Ok(if value.is_finite() { RecordValue::Number(value) } else { RecordValue::Missing })
            }
            ["vb"] => labels.boolean("vb").map(RecordValue::Boolean),
            [other] => {
                Err(format!("a value of text or bytes (`{other}`) cannot be a reading; send a number in `v`"))
            }
            several => Err(format!("a record has one value, and here are {}", several.len())),
        }
    }
}

fn bounded(what: &str, text: &str, longest: usize) -> Result<String, String> {
    match text.len() <= longest {
        true => Ok(text.to_owned()),
        false => Err(format!("{what} is longer than {longest} bytes; send a shorter one")),
    }
}

/// RFC 8428, section 4.5.1.
fn check_name(name: &str) -> Result<(), String> {
    let Some(first) = name.chars().next() else {
        return Err("the record has no name; `n`, or `bn` and `n` together, say which channel it is".into());
    };
    let is_allowed = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | ':' | '.' | '/' | '_');
    if let Some(wrong) = name.chars().find(|c| !is_allowed(*c)) {
        return Err(format!(
            "the name `{name}` holds `{wrong}`; letters, digits and - : . / _ can stand there"
        ));
    }
    if !first.is_ascii_alphanumeric() {
        return Err(format!("the name `{name}` must begin with a letter or digit"));
    }
    Ok(())
}
