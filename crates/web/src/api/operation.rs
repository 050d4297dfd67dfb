//! What a row of the table is made of: a verb, a path, what it takes and what it answers.

use std::sync::Arc;

use axum::routing::MethodRouter;

use crate::app::App;
use crate::handlers::api;

/// What can be asked of an address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Verb {
    Get,
    Post,
}

/// What a parameter may hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Takes {
    Text,
    /// The id of a machine.
    Machine,
    Time,
    /// A whole number, from and to.
    Count(usize, usize),
    Words(&'static [&'static str]),
    /// One of the channels.
    Channel,
    /// One of the kinds of finding.
    FindingKind,
}

/// A parameter of the query.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Parameter {
    pub name: &'static str,
    pub takes: Takes,
    pub required: bool,
    pub says: &'static str,
}

/// What comes back when all is well.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Answer {
    pub status: u16,
    pub media_type: &'static str,
    /// Of the document; `None` for what has no shape of ours.
    pub schema: Option<&'static str>,
    pub says: &'static str,
}

/// One row.
pub(crate) struct Operation {
    pub verb: Verb,
    pub path: &'static str,
    /// The name that generated clients use.
    pub id: &'static str,
    pub says: &'static str,
    /// What the `{…}` of the path is.
    pub named: Option<(&'static str, &'static str)>,
    pub parameters: &'static [Parameter],
    /// The shape of the body.
    pub body: Option<&'static str>,
    pub answers: &'static [Answer],
    /// Faults besides those that any address may have.
    pub faults: &'static [(u16, &'static str)],
    /// The answer goes on.
    pub lasts: bool,
    pub route: fn() -> MethodRouter<Arc<App>>,
}

pub(crate) const fn optional(name: &'static str, takes: Takes, says: &'static str) -> Parameter {
    Parameter { name, takes, required: false, says }
}

pub(crate) const fn required(name: &'static str, takes: Takes, says: &'static str) -> Parameter {
    Parameter { name, takes, required: true, says }
}

pub(crate) const fn json(status: u16, schema: &'static str, says: &'static str) -> Answer {
    Answer { status, media_type: "application/json", schema: Some(schema), says }
}

pub(crate) const MACHINE: Parameter =
    optional("machine", Takes::Machine, "Only of this machine: its id in the plant file.");
pub(crate) const OPEN: Parameter =
    optional("open", Takes::Words(&["yes", "no"]), "`yes` for what goes on, `no` for what is over.");
pub(crate) const LIMIT: Parameter =
    optional("limit", Takes::Count(1, api::MOST_LISTED), "At most so many; 100 if nothing is said.");
pub(crate) const AFTER: Parameter = optional(
    "after",
    Takes::Text,
    "The `next` of the page before: the list goes on behind its last record, whatever has come in since.",
);

pub(crate) const NO_SUCH_MACHINE: (u16, &str) = (404, "There is no such machine in the plant file.");
pub(crate) const NO_SUCH_ALARM: (u16, &str) = (404, "There is no such alarm now.");
pub(crate) const NO_SUCH_BATCH: (u16, &str) = (404, "There is no such batch.");
pub(crate) const NOT_DURABLE: (u16, &str) =
    (503, "It could not be put on disk, and is not entered; or the records are busy.");
pub(crate) const BUSY: (u16, &str) =
    (503, "Records or readings cannot be read just now; try again in a minute.");
pub(crate) const SENSELESS: (u16, &str) = (422, "It can be read, and makes no sense.");
