//! SenML in JSON (RFC 8428, section 5).
//!
//! Numbers are read from their text, so that one too large for a float (`1e400`) is a value that is not finite and not
//! a broken payload.

use std::borrow::Cow;
use std::fmt;

use serde::de::{Deserialize, Deserializer, Error, MapAccess, Visitor};
use serde_json::value::RawValue;

use crate::lenient_json::with_null_for_nan;
use crate::senml::labels::{Labels, Written};
use crate::senml::pack::Pack;

/// The payload as text that is JSON, if it is any.
///
/// # Errors
/// A plain sentence if it is no text.
pub(crate) fn text(payload: &[u8]) -> Result<Cow<'_, str>, String> {
    std::str::from_utf8(payload)
        .map(with_null_for_nan)
        .map_err(|_| "the payload is not text, and so no SenML pack".to_owned())
}

/// The records of a pack.
///
/// # Errors
/// A plain sentence if it is no pack.
pub(crate) fn parse(text: &str) -> Result<Vec<Labels<'_>>, String> {
    if !text.trim_ascii_start().starts_with('[') {
        return Err("the payload is not a SenML pack; a pack is a list of records, such as \
                    [{\"n\":\"chocolate\",\"u\":\"Cel\",\"v\":31.2}]"
            .into());
    }
    let Pack(records) = serde_json::from_str::<Pack<JsonRecord<'_>>>(text)
        .map_err(|error| format!("the payload is not a SenML pack ({error})"))?;
    Ok(records.into_iter().map(|JsonRecord(labels)| labels).collect())
}

struct JsonRecord<'t>(Labels<'t>);

impl<'de> Deserialize<'de> for JsonRecord<'de> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<JsonRecord<'de>, D::Error> {
        deserializer.deserialize_map(RecordVisitor)
    }
}

struct RecordVisitor;

impl<'de> Visitor<'de> for RecordVisitor {
    type Value = JsonRecord<'de>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a record, which is an object")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<JsonRecord<'de>, A::Error> {
        let mut labels = Labels::default();
        while let Some(label) = map.next_key::<String>()? {
            let raw: &'de RawValue = map.next_value()?;
            labels.add(label.into(), written(raw.get())).map_err(A::Error::custom)?;
        }
        Ok(JsonRecord(labels))
    }
}

/// The first sign of a JSON value tells its kind. A string that is JSON and yet no text (half a surrogate pair) is none
/// of ours.
fn written(raw: &str) -> Written<'_> {
    match raw.as_bytes().first() {
        Some(b'"') => string(raw),
        Some(b't') => Written::Boolean(true),
        Some(b'f') => Written::Boolean(false),
        Some(b'n') => Written::Null,
        // Every JSON number is one for Rust as well.
        Some(b'-' | b'0'..=b'9') => raw.parse().map_or(Written::Other, Written::Number),
        _ => Written::Other,
    }
}

fn string(raw: &str) -> Written<'_> {
    if let Ok(borrowed) = serde_json::from_str::<&str>(raw) {
        return Written::Text(Cow::Borrowed(borrowed));
    }
    match serde_json::from_str::<String>(raw) {
        Ok(owned) => Written::Text(Cow::Owned(owned)),
        Err(_) => Written::Other,
    }
}
