//! The small TOML file of a page: its title, what it is about, and its parts from top to bottom.
//!
//! A plant rearranges a page by changing the list, or adds one for a display in another room by adding a file.

use model::MachineId;
use serde::Deserialize;

use crate::server::WebError;

/// What a page shows.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct PageFile {
    /// Stands in the browser's title and over the page.
    pub title: String,
    /// What its parts may speak of.
    pub shows: Shows,
    /// Its parts from top to bottom; each is a file in `parts`.
    pub parts: Vec<String>,
    /// Only these machines; all of them if the list is left out.
    #[serde(default)]
    pub machines: Vec<MachineId>,
    /// Areas of a works page, in their order; a machine that stands in none comes last.
    #[serde(default, rename = "area")]
    pub areas: Vec<Area>,
}

/// A part of the works that people go to as one: a room, a line.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Area {
    /// As people call it.
    pub name: String,
    /// The machines that stand there.
    pub machines: Vec<MachineId>,
}

/// What a page is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(crate) enum Shows {
    /// All machines, or those that the page lists.
    Works,
    /// One machine.
    Machine,
    /// One batch.
    Batch,
    /// A list of findings.
    Findings,
    /// Alarms, and what people say of them.
    Alarms,
    /// What was different on a day.
    Day,
    /// The review of a week.
    Week,
    /// Any batches on one sheet.
    Compare,
    /// Lots, and where each went.
    Lots,
    /// The plant file, and probes with their checks.
    Setup,
    /// How the service itself is.
    Health,
    /// How to work with all this.
    Handbook,
    /// How the reader wants to read.
    Display,
    /// The way in.
    #[serde(rename = "sign-in")]
    SignIn,
    /// Taking over a device.
    Pin,
    /// Oneself.
    Account,
    /// Everybody who may sign in.
    Users,
    /// One of them.
    User,
    /// The bowls that are worked by hand.
    Bench,
    /// One of them.
    Bowl,
}

impl PageFile {
    /// Does the page show this machine?
    pub(crate) fn has(&self, machine: &MachineId) -> bool {
        self.machines.is_empty() || self.machines.contains(machine)
    }
}

/// Reads the page file `file`.
pub(crate) fn parse_page_file(file: &str, text: &str) -> Result<PageFile, WebError> {
    toml::from_str(text)
        .map_err(|fault| WebError::PageFile { file: file.to_owned(), says: in_words(text, &fault) })
}

/// `line 4: unknown field ...`
fn in_words(text: &str, fault: &toml::de::Error) -> String {
    let reason = fault.message().replace('\n', ", ");
    match fault.span() {
        Some(span) => {
            let line = text.get(..span.start).unwrap_or(text).matches('\n').count() + 1;
            format!("line {line}: {reason}")
        }
        None => reason,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_page_is_a_title_a_subject_and_its_parts() {
        let text = "title = \"Two kettles\"\nshows = \"works\"\nparts = [\"lanes\"]\nmachines = [\"alder\"]";
        let page = parse_page_file("pages/two.toml", text).unwrap();
        assert_eq!((page.shows, page.parts.len(), page.machines[0].as_str()), (Shows::Works, 1, "alder"));
    }

    #[test]
    fn a_page_may_have_areas() {
        let text = "title = \"Floor\"\nshows = \"works\"\nparts = [\"lanes\"]\n\n[[area]]\nname = \"Moulding room\"\nmachines = [\"alder\", \"birch\"]\n";
        let page = parse_page_file("pages/floor.toml", text).unwrap();
        assert_eq!((page.areas[0].name.as_str(), page.areas[0].machines.len()), ("Moulding room", 2));
    }

    #[test]
    fn an_unknown_key_is_refused_with_file_and_line() {
        let text = "title = \"Floor\"\nshows = \"works\"\nparts = []\ncolour = \"red\"\n";
        let error = parse_page_file("pages/floor.toml", text).unwrap_err().to_string();
        assert!(error.starts_with("pages/floor.toml: line 4: unknown field `colour`"), "{error}");
    }
}
