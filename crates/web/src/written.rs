//! What people write into the records through a page or a program: baselines, phases, actions, signatures.
//!
//! One way to the file, and one way to say no. An entry waits for the disk and for nothing else: it takes no turn among
//! the heavy readers, and is answered when it is durable.

use records::{Actor, By, Records};

use crate::app::App;
use crate::archive::blocking;
use crate::problem::Problem;

/// A name of more characters is none.
pub(crate) const LONGEST_NAME: usize = 60;

impl App {
    /// Writes something into the records and answers when it is on disk.
    pub(crate) async fn write_records<T: Send + 'static, E: std::fmt::Display + Send + 'static>(
        &self,
        entry: impl FnOnce(&Records) -> Result<T, E> + Send + 'static,
    ) -> Result<T, Problem> {
        let records = self.state.records.clone();
        blocking(move || entry(&records)).await?.map_err(|cause| {
            let sentence = "It could not be put on disk, so nothing has been entered. Try again.";
            Problem::unavailable("not-durable", sentence, cause)
        })
    }
}

/// The name of whoever is signed in: it counts, whatever somebody typed.
pub(crate) fn name_of(by: &By) -> Option<&str> {
    match &by.actor {
        Actor::User(name, _) => Some(name.as_str()),
        Actor::Loopback | Actor::CommandLine | Actor::Broker | Actor::Nobody => None,
    }
}

/// An entry that makes no sense, for programs and for people.
pub(crate) fn refused(code: &'static str, sentence: String) -> Problem {
    Problem::bad_request(code, sentence)
}

/// A field that is not there, or cannot be read.
pub(crate) fn missing(code: &'static str, name: &str, should_be: &str) -> Problem {
    refused(code, format!("The field `{name}` should be {should_be}."))
}

/// Words of at most so many characters in the field `name`; empty ones are none. Longer ones are refused, so that nothing is kept that nobody
/// wrote.
pub(crate) fn bounded(name: &str, text: Option<&str>, longest: usize) -> Result<Option<String>, Problem> {
    let Some(text) = text.map(str::trim).filter(|text| !text.is_empty()) else { return Ok(None) };
    let typed = text.chars().count();
    if longest < typed {
        let sentence = format!("`{name}` has {typed} characters, and at most {longest} are kept.");
        return Err(Problem::refused("too-long", sentence));
    }
    Ok(Some(text.to_owned()))
}

/// The name of whoever is signed in, else what was typed as one.
pub(crate) fn name_or_typed(by: &By, typed: Option<&str>) -> Result<Option<String>, Problem> {
    match name_of(by) {
        Some(name) => Ok(Some(name.to_owned())),
        None => bounded("by", typed, LONGEST_NAME),
    }
}
