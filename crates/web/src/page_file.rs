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
    /// How the service itself is.
    Health,
}

/// Reads the page file `file`.
pub(crate) fn parse_page_file(file: &str, text: &str) -> Result<PageFile, WebError> {
    toml::from_str(text)
        .map_err(|fault| WebError::PageFile { file: file.to_owned(), says: first_line(&fault.to_string()) })
}

/// The parser's message with place and reason on one line.
fn first_line(message: &str) -> String {
    let lines: Vec<_> = message.lines().map(str::trim).collect();
    match (lines.first(), lines.last()) {
        (Some(first), Some(last)) if first != last => format!("{first}: {last}"),
        (Some(only), _) => (*only).to_owned(),
        (None, _) => "it cannot be read".to_owned(),
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
    fn an_unknown_key_is_refused_with_file_and_line() {
        let text = "title = \"Floor\"\nshows = \"works\"\nparts = []\ncolour = \"red\"\n";
        let error = parse_page_file("pages/floor.toml", text).unwrap_err().to_string();
        assert!(error.starts_with("pages/floor.toml: TOML parse error at line 4"), "{error}");
        assert!(error.contains("unknown field `colour`"), "{error}");
    }
}
