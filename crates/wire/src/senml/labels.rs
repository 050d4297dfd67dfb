//! One SenML record as it was written, in whichever form: labels and their values.
//!
//! Labels have their names from JSON; CBOR's integers are turned into these by its parser.

use std::borrow::Cow;

/// Labels of the record itself (RFC 8428, section 4.2); all others of the RFC hand something on (section 4.1).
const OWN: [&str; 9] = ["n", "u", "v", "vs", "vb", "vd", "s", "t", "ut"];
/// The RFC has fifteen labels; a record of hundreds is no record.
const MOST_LABELS: usize = 64;
/// A wrong value is shown as far as this.
const SHOWN_CHARS: usize = 40;

/// A value as it was written.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Written<'t> {
    Text(Cow<'t, str>),
    /// Perhaps not finite: JSON can write `1e400`, and CBOR not-a-number.
    Number(f64),
    Boolean(bool),
    Null,
    Bytes,
    /// A list, a map or something else that no label takes.
    Other,
}

impl Written<'_> {
    fn shown(&self) -> String {
        match self {
            Written::Text(text) => {
                serde_json::Value::from(text.as_ref()).to_string().chars().take(SHOWN_CHARS).collect()
            }
            Written::Number(number) => number.to_string(),
            Written::Boolean(on) => on.to_string(),
            Written::Null => "null".to_owned(),
            Written::Bytes => "bytes".to_owned(),
            Written::Other => "a list or a map".to_owned(),
        }
    }
}

/// The labels of one record, in the order of the pack.
#[derive(Debug, Default, PartialEq)]
pub(crate) struct Labels<'t>(Vec<(Cow<'t, str>, Written<'t>)>);

impl<'t> Labels<'t> {
    /// Adds one label.
    ///
    /// # Errors
    /// A plain sentence if it is there already, or one too many.
    pub(crate) fn add(&mut self, label: Cow<'t, str>, value: Written<'t>) -> Result<(), String> {
        if self.has(&label) {
            return Err(format!("the label `{label}` is there twice in one record"));
        }
        if self.0.len() == MOST_LABELS {
            return Err(format!("a record has more than {MOST_LABELS} labels"));
        }
        self.0.push((label, value));
        Ok(())
    }

    pub(crate) fn has(&self, label: &str) -> bool {
        self.get(label).is_some()
    }

    fn get(&self, label: &str) -> Option<&Written<'t>> {
        self.0.iter().find(|(known, _)| known == label).map(|(_, value)| value)
    }

    /// Does the record only hand on base fields?
    pub(crate) fn is_base_only(&self) -> bool {
        !self.0.iter().any(|(label, _)| OWN.contains(&label.as_ref()))
    }

    /// A label that ends in `_` has to be understood by whoever reads the pack (section 4.4); the RFC has none such.
    pub(crate) fn refuse_what_must_be_understood(&self) -> Result<(), String> {
        match self.0.iter().find(|(label, _)| label.ends_with('_')) {
            Some((label, _)) => {
                let shown: String = label.chars().take(SHOWN_CHARS).collect();
                Err(format!("the label `{shown}` has to be understood, and is not known here"))
            }
            None => Ok(()),
        }
    }

    /// The text of `label`.
    pub(crate) fn text(&self, label: &str) -> Result<Option<&str>, String> {
        match self.get(label) {
            None => Ok(None),
            Some(Written::Text(text)) => Ok(Some(text)),
            Some(other) => Err(format!("`{label}` takes a text, not {}", other.shown())),
        }
    }

    /// The number of `label`, which may be infinite; `null` is not a number (NaN).
    pub(crate) fn number(&self, label: &str) -> Result<Option<f64>, String> {
        match self.get(label) {
            None => Ok(None),
            Some(Written::Number(number)) => Ok(Some(*number)),
            Some(Written::Null) => Ok(Some(f64::NAN)),
            Some(other) => Err(format!("`{label}` takes a number, not {}", other.shown())),
        }
    }

    /// True or false.
    pub(crate) fn boolean(&self, label: &str) -> Result<bool, String> {
        match self.get(label) {
            Some(Written::Boolean(on)) => Ok(*on),
            _ => Err(format!("`{label}` takes true or false")),
        }
    }
}
