//! One TOML table, read key by key.
//!
//! Whoever asks for a key makes it known; [`Table::finish`] then reports every key that nobody asked for. So the list
//! of keys that can stand somewhere is never written down twice.

use toml::de::{DeArray, DeTable, DeValue};

use crate::fault::{At, Faults};
use crate::nearest::{did_you_mean, listed};

/// What a `[[table]]` is called to somebody who wrote something else.
const LIST_OF_TABLES: &str = "tables that begin with two brackets";

/// A table of the file, with the name under which people know it.
pub(crate) struct Table<'t> {
    name: String,
    line: usize,
    entries: &'t DeTable<'t>,
    asked: Vec<&'static str>,
}

/// A value that can be a number or a word.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum NumberOrText {
    Number(f64),
    Text(String),
}

impl<'t> Table<'t> {
    pub(crate) fn new(name: impl Into<String>, line: usize, entries: &'t DeTable<'t>) -> Table<'t> {
        Table { name: name.into(), line, entries, asked: Vec::new() }
    }

    /// The line of the table's head.
    pub(crate) fn line(&self) -> usize {
        self.line
    }

    /// A text between quotes.
    pub(crate) fn text(&mut self, key: &'static str, faults: &mut Faults<'_>) -> Option<At<String>> {
        let (line, value) = self.ask(key, faults)?;
        match value.as_str() {
            Some(text) => Some(At { line, value: text.to_owned() }),
            None => wrong_type(line, key, "a text between quotes", value, faults),
        }
    }

    /// A text that must be there.
    pub(crate) fn required_text(&mut self, key: &'static str, faults: &mut Faults<'_>) -> Option<At<String>> {
        if !self.has(key) {
            faults.add_absence(self.line, format!("`{key}` is missing in {}", self.name));
        }
        self.text(key, faults)
    }

    /// Does the key stand there at all?
    pub(crate) fn has(&self, key: &str) -> bool {
        self.entries.contains_key(key)
    }

    /// A finite number, with or without a decimal point.
    pub(crate) fn number(&mut self, key: &'static str, faults: &mut Faults<'_>) -> Option<At<f64>> {
        let (line, value) = self.ask(key, faults)?;
        let value = finite(line, key, "a number", value, faults)?;
        Some(At { line, value })
    }

    /// Two finite numbers, `[low, high]`. Their order is not looked at here.
    pub(crate) fn pair(&mut self, key: &'static str, faults: &mut Faults<'_>) -> Option<At<(f64, f64)>> {
        const TYPE: &str = "two numbers such as [31.0, 32.0]";
        let (line, value) = self.ask(key, faults)?;
        let Some(items) = value.as_array() else {
            return wrong_type(line, key, TYPE, value, faults);
        };
        let [low, high] = items.iter().collect::<Vec<_>>()[..] else {
            faults.add(line, format!("`{key}` takes {TYPE}, not {} values", items.len()));
            return None;
        };
        let low = finite(line, key, TYPE, low.get_ref(), faults);
        let high = finite(line, key, TYPE, high.get_ref(), faults);
        Some(At { line, value: (low?, high?) })
    }

    /// A finite number or a text.
    pub(crate) fn number_or_text(
        &mut self,
        key: &'static str,
        faults: &mut Faults<'_>,
    ) -> Option<At<NumberOrText>> {
        let (line, value) = self.ask(key, faults)?;
        let value = match value.as_str() {
            Some(text) => NumberOrText::Text(text.to_owned()),
            None => {
                NumberOrText::Number(finite(line, key, "a number or a text between quotes", value, faults)?)
            }
        };
        Some(At { line, value })
    }

    /// A list of texts, each with its line.
    pub(crate) fn texts(&mut self, key: &'static str, faults: &mut Faults<'_>) -> Option<Vec<At<String>>> {
        const TYPE: &str = "a list of texts such as [\"alder\", \"birch\"]";
        let (line, value) = self.ask(key, faults)?;
        let Some(items) = value.as_array() else {
            return wrong_type(line, key, TYPE, value, faults);
        };
        let mut texts = Vec::new();
        for item in items.iter() {
            let line = faults.line_of(&item.span());
            texts.extend(match item.get_ref().as_str() {
                Some(text) => Some(At { line, value: text.to_owned() }),
                None => wrong_type(line, key, TYPE, item.get_ref(), faults),
            });
        }
        Some(texts)
    }

    /// The table `[key]`.
    pub(crate) fn table(&mut self, key: &'static str, faults: &mut Faults<'_>) -> Option<Table<'t>> {
        let (line, value) = self.ask(key, faults)?;
        match value.as_table() {
            Some(entries) => Some(Table::new(format!("[{}]", self.path_of(key)), line, entries)),
            None => wrong_type(line, key, "a table", value, faults),
        }
    }

    /// The tables `[[key]]`.
    pub(crate) fn tables(&mut self, key: &'static str, faults: &mut Faults<'_>) -> Vec<Table<'t>> {
        let Some((line, value)) = self.ask(key, faults) else { return Vec::new() };
        if value.is_table() {
            faults.add(line, format!("write [[{key}]] with two brackets on each side, once for each {key}"));
            return Vec::new();
        }
        match value.as_array() {
            Some(items) => tables_of(&self.path_of(key), items, faults),
            None => wrong_type(line, key, LIST_OF_TABLES, value, faults).unwrap_or_default(),
        }
    }

    /// Every entry, each of which must be a table: `[key.<name>]`.
    pub(crate) fn named_tables(&self, faults: &mut Faults<'_>) -> Vec<(At<String>, Table<'t>)> {
        let path = self.name.trim_matches(['[', ']']);
        let mut tables = Vec::new();
        for (key, value) in self.entries {
            let name = At { line: faults.line_of(&key.span()), value: key.get_ref().clone().into_owned() };
            let table = match value.get_ref().as_table() {
                Some(entries) => Some(Table::new(format!("[{path}.{}]", name.value), name.line, entries)),
                None => wrong_type(name.line, &name.value, "a table", value.get_ref(), faults),
            };
            tables.extend(table.map(|table| (name, table)));
        }
        tables
    }

    /// Reports every key that nobody has asked for.
    pub(crate) fn finish(self, faults: &mut Faults<'_>) {
        for key in self.entries.keys() {
            let word = key.get_ref().as_ref();
            if !self.asked.contains(&word) {
                let line = faults.line_of(&key.span());
                let hint = did_you_mean(word, self.asked.iter().copied());
                let known = listed(self.asked.iter().copied());
                let says = match hint.as_str() {
                    "" => format!("`{word}` is not known in {}; what can stand there: {known}", self.name),
                    hint => {
                        format!("`{word}` is not known in {}{hint} What can stand there: {known}", self.name)
                    }
                };
                faults.add(line, says);
            }
        }
    }

    fn ask(&mut self, key: &'static str, faults: &Faults<'_>) -> Option<(usize, &'t DeValue<'t>)> {
        self.asked.push(key);
        let (found, value) = self.entries.get_key_value(key)?;
        Some((faults.line_of(&found.span()), value.get_ref()))
    }

    fn path_of(&self, key: &str) -> String {
        match self.name.trim_matches(['[', ']']) {
            "the plant file" => key.to_owned(),
            path => format!("{path}.{key}"),
        }
    }
}

fn tables_of<'t>(key: &str, items: &'t DeArray<'t>, faults: &mut Faults<'_>) -> Vec<Table<'t>> {
    let mut tables = Vec::new();
    for item in items.iter() {
        let line = faults.line_of(&item.span());
        tables.extend(match item.get_ref().as_table() {
            Some(entries) => Some(Table::new(format!("[[{key}]]"), line, entries)),
            None => wrong_type(line, key, LIST_OF_TABLES, item.get_ref(), faults),
        });
    }
    tables
}

fn finite(
    line: usize,
    key: &str,
    expected: &str,
    value: &DeValue<'_>,
    faults: &mut Faults<'_>,
) -> Option<f64> {
    let number: Option<f64> = if let Some(integer) = value.as_integer() {
        i64::from_str_radix(integer.as_str(), integer.radix()).ok().map(|number| number as f64)
    } else if let Some(float) = value.as_float() {
        float.as_str().parse().ok()
    } else {
        return wrong_type(line, key, expected, value, faults);
    };
    let finite = number.filter(|number| number.is_finite());
    if finite.is_none() {
        faults.add(line, format!("`{key}` must be a finite number of ordinary size"));
    }
    finite
}

/// Adds the fault; always `None`, so that a caller can end with it.
fn wrong_type<T>(
    line: usize,
    key: &str,
    expected: &str,
    found: &DeValue<'_>,
    faults: &mut Faults<'_>,
) -> Option<T> {
    let found = match found {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) | DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date or time",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    };
    faults.add(line, format!("`{key}` takes {expected}, not {found}"));
    None
}
