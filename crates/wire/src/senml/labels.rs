//! One SenML record as it was written: labels and their raw values.
//!
//! Values stay text until they are asked for, so that a number too large for a float (`1e400`) is a value that is not
//! finite and not a broken payload.

use std::borrow::Cow;
use std::fmt;

use serde::de::{Deserialize, Deserializer, Error, MapAccess, Visitor};
use serde_json::value::RawValue;

/// Labels that hand something on to the records after them (RFC 8428, section 4.1).
const BASE: [&str; 6] = ["bn", "bt", "bu", "bv", "bs", "bver"];
/// Labels of the record itself (section 4.2).
const OWN: [&str; 9] = ["n", "u", "v", "vs", "vb", "vd", "s", "t", "ut"];

/// The labels of one record, in the order of the pack.
pub(crate) struct Labels<'t>(Vec<(Cow<'t, str>, &'t RawValue)>);

impl Labels<'_> {
    pub(crate) fn has(&self, label: &str) -> bool {
        self.raw(label).is_some()
    }

    pub(crate) fn raw(&self, label: &str) -> Option<&RawValue> {
        self.0.iter().find(|(known, _)| known == label).map(|(_, raw)| *raw)
    }

    /// Does the record only hand on base fields?
    pub(crate) fn is_base_only(&self) -> bool {
        !self.0.iter().any(|(label, _)| OWN.contains(&label.as_ref()))
    }

    /// A label that ends in `_` has to be understood by whoever reads the pack (RFC 8428, section 4.4).
    pub(crate) fn refuse_what_must_be_understood(&self) -> Result<(), String> {
        let is_known = |label: &str| BASE.contains(&label) || OWN.contains(&label);
        match self.0.iter().find(|(label, _)| label.ends_with('_') && !is_known(label)) {
            Some((label, _)) => {
                Err(format!("the label `{label}` has to be understood, and is not known here"))
            }
            None => Ok(()),
        }
    }

    /// The text of `label`.
    pub(crate) fn text(&self, label: &str) -> Result<Option<Cow<'_, str>>, String> {
        let Some(raw) = self.raw(label) else { return Ok(None) };
        match serde_json::from_str::<String>(raw.get()) {
            Ok(text) => Ok(Some(text.into())),
            Err(_) => Err(format!("`{label}` takes a text, not {}", shortened(raw))),
        }
    }

    /// The number of `label`, which may be infinite; `null` is not a number (NaN).
    pub(crate) fn number(&self, label: &str) -> Result<Option<f64>, String> {
        let Some(raw) = self.raw(label) else { return Ok(None) };
        let text = raw.get();
        if text == "null" {
            return Ok(Some(f64::NAN));
        }
        // Every JSON number is one for Rust as well; every other JSON value begins with another sign.
        match text.starts_with(|c: char| c == '-' || c.is_ascii_digit()).then(|| text.parse()) {
            Some(Ok(number)) => Ok(Some(number)),
            _ => Err(format!("`{label}` takes a number, not {}", shortened(raw))),
        }
    }
}

fn shortened(raw: &RawValue) -> String {
    raw.get().chars().take(40).collect()
}

impl<'de> Deserialize<'de> for Labels<'de> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Labels<'de>, D::Error> {
        deserializer.deserialize_map(LabelsVisitor)
    }
}

struct LabelsVisitor;

impl<'de> Visitor<'de> for LabelsVisitor {
    type Value = Labels<'de>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a record, which is an object")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Labels<'de>, A::Error> {
        let mut labels: Vec<(Cow<'de, str>, &'de RawValue)> = Vec::new();
        while let Some(label) = map.next_key::<String>()? {
            if labels.iter().any(|(known, _)| *known == label) {
                return Err(A::Error::custom(format_args!(
                    "the label `{label}` is there twice in one record"
                )));
            }
            labels.push((label.into(), map.next_value()?));
        }
        Ok(Labels(labels))
    }
}
