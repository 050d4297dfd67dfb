//! SenML packs in JSON (RFC 8428): from base fields and relative times to records that stand by themselves.
//!
//! What makes the whole pack doubtful (not a list, a version that we do not know, a label that has to be understood, a
//! broken base field) rejects it whole; what is wrong with one record rejects that record.
//!
//! Where the RFC leaves a choice, the contract decides: a record without a value field is `missing`, also where a base
//! value stands. A record of base fields alone only hands them on (section 5.1.7). Upper-case exponents are read.

mod labels;
#[cfg(test)]
mod vectors;

use std::borrow::Cow;

use serde_json::value::RawValue;

use crate::lenient_json::with_null_for_nan;
use crate::senml::labels::Labels;

/// Times below this are relative to the arrival, in seconds (RFC 8428, section 4.5.3).
const RELATIVE_BELOW: f64 = 268_435_456.0;
/// The version that RFC 8428 describes, and that stands where none is given.
const VERSION: f64 = 10.0;

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

/// The records of a pack, each with its fault if it has one.
///
/// # Errors
/// A plain sentence if nothing of the pack can be used.
pub(crate) fn resolve(payload: &[u8]) -> Result<Vec<Result<Record, String>>, String> {
    if matches!(payload.first(), Some(0x80..=0x9f)) {
        return Err("this looks like SenML in CBOR, which is not read yet; send SenML in JSON".into());
    }
    let text = std::str::from_utf8(payload)
        .map_err(|_| "the payload is not text, and so no SenML pack".to_owned())?;
    let text = with_null_for_nan(text);
    let pack = parse_pack(&text)?;
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

fn parse_pack<'t>(text: &'t str) -> Result<Vec<Labels<'t>>, String> {
    if !text.trim_ascii_start().starts_with('[') {
        return Err("the payload is not a SenML pack; a pack is a list of records, such as \
                    [{\"n\":\"chocolate\",\"u\":\"Cel\",\"v\":31.2}]"
            .into());
    }
    serde_json::from_str(text).map_err(|error| format!("the payload is not a SenML pack ({error})"))
}

impl Base {
    /// Takes over the base fields of a record. A fault here would spoil all records to come, so it ends the pack.
    fn take_over(&mut self, labels: &Labels<'_>, is_first: bool) -> Result<(), String> {
        labels.refuse_what_must_be_understood()?;
        if let Some(name) = labels.text("bn")? {
            self.name = name.into_owned();
        }
        if let Some(unit) = labels.text("bu")? {
            self.unit = Some(unit.into_owned());
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
        let name = format!("{}{}", self.name, labels.text("n")?.unwrap_or_default());
        check_name(&name)?;
        let unit = labels.text("u")?.map(Cow::into_owned).or_else(|| self.unit.clone());
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
            ["vb"] => match labels.raw("vb").map(RawValue::get) {
                Some("true") => Ok(RecordValue::Boolean(true)),
                Some("false") => Ok(RecordValue::Boolean(false)),
                _ => Err("`vb` takes true or false".into()),
            },
            [other] => {
                Err(format!("a value of text or bytes (`{other}`) cannot be a reading; send a number in `v`"))
            }
            several => Err(format!("a record has one value, and here are {}", several.len())),
        }
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

#[cfg(test)]
mod tests {
    use expect_test::{Expect, expect};

    use super::*;

    #[expect(clippy::needless_pass_by_value, reason = "an expectation reads best as the last argument")]
    fn check(pack: &str, expected: Expect) {
        let shown = match resolve(pack.as_bytes()) {
            Err(says) => says,
            Ok(records) => records.iter().map(show).collect::<Vec<_>>().join("\n"),
        };
        expected.assert_eq(&shown);
    }

    fn show(record: &Result<Record, String>) -> String {
        match record {
            Err(says) => says.clone(),
            Ok(Record { name, unit, time, value }) => {
                format!("{name} {} {time:?} {value:?}", unit.as_deref().unwrap_or("-"))
            }
        }
    }

    #[test]
    fn a_broken_record_leaves_the_others_alone() {
        check(
            r#"[{"n":"chocolate","v":31.5},{"n":"room","v":"warm"},{"n":"humidity","v":50,"vs":"x"},{"n":"motor","v":2}]"#,
            expect![[r#"
                chocolate - FromArrival(0.0) Number(31.5)
                record 2: `v` takes a number, not "warm"
                record 3: a record has one value, and here are 2
                motor - FromArrival(0.0) Number(2.0)"#]],
        );
    }

    #[test]
    fn what_is_not_there_or_not_finite_is_missing() {
        check(
            r#"[{"bn":"alder/","bv":30},{"n":"chocolate"},{"n":"jacket","v":null},{"n":"room","v":1e400},{"n":"motor","v":NaN},{"n":"humidity","s":2}]"#,
            expect![[r#"
                alder/chocolate - FromArrival(0.0) Missing
                alder/jacket - FromArrival(0.0) Missing
                alder/room - FromArrival(0.0) Missing
                alder/motor - FromArrival(0.0) Missing
                alder/humidity - FromArrival(0.0) Missing"#]],
        );
    }

    #[test]
    fn what_spoils_a_pack_is_told_once() {
        check(
            "31.2",
            expect![[
                r#"the payload is not a SenML pack; a pack is a list of records, such as [{"n":"chocolate","u":"Cel","v":31.2}]"#
            ]],
        );
        check(
            "[31.2]",
            expect![
                "the payload is not a SenML pack (invalid type: floating point `31.2`, expected a record, which is an object at line 1 column 5)"
            ],
        );
        check(
            "[{\"n\":\"chocolate\",\"v\":31.2}",
            expect!["the payload is not a SenML pack (EOF while parsing a list at line 1 column 27)"],
        );
        check(
            r#"[{"n":"chocolate","v":31.2},{"bt":"now"}]"#,
            expect![[r#"record 2: `bt` takes a number, not "now""#]],
        );
        check(
            r#"[{"bt":1e400,"n":"chocolate","v":31.2}]"#,
            expect!["record 1: the base time `bt` is not a finite number"],
        );
        check(
            r#"[{"n":"chocolate","v":31.2,"v":31.3}]"#,
            expect![
                "the payload is not a SenML pack (the label `v` is there twice in one record at line 1 column 30)"
            ],
        );
        check(
            r#"[{"bver":0.5,"n":"chocolate","v":31.2}]"#,
            expect!["record 1: SenML version 0.5 is not known; versions up to 10 are"],
        );
    }

    #[test]
    fn a_pack_in_cbor_is_told_apart() {
        assert!(resolve(&[0x81, 0xa2, 0x00]).unwrap_err().contains("CBOR"));
    }

    #[test]
    fn an_empty_pack_says_nothing() {
        assert_eq!(resolve(b"[]"), Ok(vec![]));
    }
}
