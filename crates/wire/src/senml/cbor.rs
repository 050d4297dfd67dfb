//! SenML in CBOR (RFC 8428, section 6, over RFC 8949).
//!
//! A record is a map with the integer labels of the RFC's table 4; a label without an integer is a text (section 6).
//! Numbers are integers, floats of any width, or decimal fractions (tag 4), which the section allows where a float would
//! not come back the same; big numbers are read as the nearest float. Lists and texts may be of indefinite length. A
//! pack may carry the tag that says "this is CBOR" (RFC 8949, section 3.4.6).

mod item;

use std::borrow::Cow;
use std::fmt;

use serde::de::{Deserialize, Deserializer, Error, MapAccess, Visitor};

use crate::senml::cbor::item::Item;
use crate::senml::labels::Labels;
use crate::senml::pack::Pack;

/// A pack is a list of maps of plain values; a tag and a list in it (a decimal fraction) take three levels more.
const DEEPEST: usize = 8;
/// The tag "this is CBOR", 55799.
const SELF_DESCRIBED: &[u8] = &[0xd9, 0xd9, 0xf7];

/// Does `payload` begin as a list does in CBOR? No text in UTF-8 begins with these bytes.
pub(crate) fn looks_like_pack(payload: &[u8]) -> bool {
    matches!(body(payload).first(), Some(0x80..=0x9f))
}

fn body(payload: &[u8]) -> &[u8] {
    payload.strip_prefix(SELF_DESCRIBED).unwrap_or(payload)
}

/// The records of a pack.
///
/// # Errors
/// A plain sentence if it is no pack.
pub(crate) fn parse(payload: &[u8]) -> Result<Vec<Labels<'static>>, String> {
    let mut rest = body(payload);
    let Pack(records) =
        ciborium::de::from_reader_with_recursion_limit::<Pack<CborRecord>, _>(&mut rest, DEEPEST)
            .map_err(|error| format!("the payload is not a SenML pack in CBOR ({})", says(error)))?;
    if !rest.is_empty() {
        return Err(format!(
            "the payload is not a SenML pack in CBOR (after the pack come {} bytes more)",
            rest.len()
        ));
    }
    Ok(records.into_iter().map(|CborRecord(labels)| labels).collect())
}

fn says(error: ciborium::de::Error<std::io::Error>) -> String {
    match error {
        ciborium::de::Error::Io(_) => "it breaks off".to_owned(),
        ciborium::de::Error::Syntax(place) => format!("at byte {place} it is no CBOR"),
        ciborium::de::Error::Semantic(Some(place), says) => format!("{says}, at byte {place}"),
        ciborium::de::Error::Semantic(None, says) => says,
        ciborium::de::Error::RecursionLimitExceeded => "its values are nested too deeply".to_owned(),
    }
}

struct CborRecord(Labels<'static>);

impl<'de> Deserialize<'de> for CborRecord {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<CborRecord, D::Error> {
        deserializer.deserialize_map(RecordVisitor)
    }
}

struct RecordVisitor;

impl<'de> Visitor<'de> for RecordVisitor {
    type Value = CborRecord;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a record, which is a map")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<CborRecord, A::Error> {
        let mut labels = Labels::default();
        while let Some(key) = map.next_key::<Item>()? {
            let Some(label) = label(&key) else {
                return Err(A::Error::custom("a label is an integer or a text"));
            };
            let value = map.next_value::<Item>()?.into_written();
            labels.add(label, value).map_err(A::Error::custom)?;
        }
        Ok(CborRecord(labels))
    }
}

/// The label's name in JSON. An integer that the table does not have stands for itself, and is passed over as unknown.
fn label(key: &Item) -> Option<Cow<'static, str>> {
    let number = match key {
        Item::Integer(number) => *number,
        Item::Text(text) => return Some(Cow::Owned(text.clone())),
        Item::Float(_) | Item::Boolean(_) | Item::Null | Item::Bytes | Item::Pair(..) | Item::Other => {
            return None;
        }
    };
    Some(match number {
        -6 => Cow::Borrowed("bs"),
        -5 => Cow::Borrowed("bv"),
        -4 => Cow::Borrowed("bu"),
        -3 => Cow::Borrowed("bt"),
        -2 => Cow::Borrowed("bn"),
        -1 => Cow::Borrowed("bver"),
        0 => Cow::Borrowed("n"),
        1 => Cow::Borrowed("u"),
        2 => Cow::Borrowed("v"),
        3 => Cow::Borrowed("vs"),
        4 => Cow::Borrowed("vb"),
        5 => Cow::Borrowed("s"),
        6 => Cow::Borrowed("t"),
        7 => Cow::Borrowed("ut"),
        8 => Cow::Borrowed("vd"),
        unknown => Cow::Owned(unknown.to_string()),
    })
}
