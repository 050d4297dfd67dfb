//! What every part of the file needs: words of a list, texts that say something, ids that may stand only once.

use std::collections::BTreeMap;
use std::str::FromStr;

use model::IdError;

use crate::fault::{At, Faults};
use crate::nearest::{did_you_mean, listed};

/// A text that says something, or nothing at all.
pub(crate) fn not_blank(text: Option<&At<String>>, key: &str, faults: &mut Faults<'_>) -> Option<String> {
    let text = text?;
    if text.value.trim().is_empty() {
        faults.add(text.line, format!("`{key}` cannot be empty"));
        return None;
    }
    Some(text.value.clone())
}

/// The member of `all` that `word` names; `what` says what kind of word it is.
pub(crate) fn one_of<T: Copy>(
    word: Option<&At<String>>,
    what: &str,
    all: &[T],
    name: fn(T) -> &'static str,
    faults: &mut Faults<'_>,
) -> Option<T> {
    let word = word?;
    let found = all.iter().copied().find(|member| name(*member) == word.value);
    if found.is_none() {
        let names: Vec<&str> = all.iter().copied().map(name).collect();
        let hint = did_you_mean(&word.value, names.iter().copied());
        let says = format!("`{}` is not a {what} (one of {}){hint}", word.value, listed(names));
        faults.add(word.line, says);
    }
    found
}

/// A number of which sense can be made. Bounds are wide (common practice, no source): what lies outside is a slip or another unit.
pub(crate) fn within(
    number: Option<&At<f64>>,
    key: &str,
    [low, high]: [f64; 2],
    faults: &mut Faults<'_>,
) -> Option<f64> {
    let number = number?;
    if (low..=high).contains(&number.value) {
        return Some(number.value);
    }
    faults.add(number.line, format!("`{key} = {}` cannot be; it is between {low} and {high}", number.value));
    None
}

/// The ids of one kind of table, each with the line where it first stands.
pub(crate) struct Ids {
    what: &'static str,
    first_lines: BTreeMap<String, usize>,
}

impl Ids {
    /// No ids yet; `what` is `machine` or `couverture`.
    pub(crate) fn of(what: &'static str) -> Ids {
        Ids { what, first_lines: BTreeMap::new() }
    }

    /// Takes in one more id, if it can be one and has not been used before.
    pub(crate) fn take<I: FromStr<Err = IdError>>(
        &mut self,
        raw: Option<&At<String>>,
        faults: &mut Faults<'_>,
    ) -> Option<I> {
        let raw = raw?;
        if let Some(first) = self.first_lines.get(&raw.value) {
            let says =
                format!("the {} `{}` is there twice; it first stands in line {first}", self.what, raw.value);
            faults.add(raw.line, says);
            return None;
        }
        self.first_lines.insert(raw.value.clone(), raw.line);
        raw.value.parse().map_err(|error: IdError| faults.add(raw.line, error.to_string())).ok()
    }

    /// The id that `raw` points to. An id that is there but faulty has been reported where it stands.
    pub(crate) fn point<I: FromStr<Err = IdError>>(
        &self,
        raw: Option<&At<String>>,
        faults: &mut Faults<'_>,
    ) -> Option<I> {
        let raw = raw?;
        if !self.first_lines.contains_key(&raw.value) {
            let known = self.first_lines.keys().map(String::as_str);
            let hint = did_you_mean(&raw.value, known);
            let says = format!(
                "there is no {0} `{1}`; a [[{0}]] with that id is needed{hint}",
                self.what, raw.value
            );
            faults.add_absence(raw.line, says);
            return None;
        }
        raw.value.parse().ok()
    }
}
