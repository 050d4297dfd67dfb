//! What comes with a form of the page about alarms, or in the document of a program.

use model::{FindingKind, MachineId};
use records::By;
use serde_json::Value;

use crate::app::App;
use crate::problem::Problem;
use crate::query::Params;
use crate::written::{self, bounded};

/// A reason is a sentence.
const LONGEST_REASON: usize = 200;
/// Whoever touches an alarm in the demo need not say who they are.
const AT_THIS_COMPUTER: &str = "somebody at this computer";
/// Fields that are a text wherever they stand.
const TEXTS: [&str; 6] = ["alarm", "machine", "kind", "reason", "until", "by"];

pub(super) const FORM: &str = "application/x-www-form-urlencoded";
pub(super) const JSON: &str = "application/json";

/// The fields of a form or a document.
pub(super) enum Fields {
    Form(Params),
    Document(Value),
}

impl Fields {
    pub(super) fn of(media_type: &str, body: &[u8], known: &[&str]) -> Result<Fields, Problem> {
        if media_type == JSON {
            let value: Value = serde_json::from_slice(body)
                .map_err(|fault| refused(format!("The body is not JSON: {fault}.")))?;
            // Passed over, a kind of another type would take every alarm of the machine out of service.
            let is_text =
                |name: &&str| value.get(name).is_none_or(|field| field.is_string() || field.is_null());
            return match TEXTS.iter().find(|name| !is_text(name)) {
                Some(name) => Err(missing(name, "a text")),
                None => Ok(Fields::Document(value)),
            };
        }
        let form = Params::parse(&String::from_utf8_lossy(body));
        form.only(known)?;
        Ok(Fields::Form(form))
    }

    pub(super) fn text(&self, name: &str) -> Option<&str> {
        match self {
            Fields::Form(form) => form.text(name),
            Fields::Document(value) => value.get(name).and_then(Value::as_str),
        }
    }

    pub(super) fn number(&self, name: &str) -> Option<f64> {
        match self {
            Fields::Form(form) => form.text(name).and_then(|text| text.parse().ok()),
            Fields::Document(value) => value.get(name).and_then(Value::as_f64),
        }
    }

    pub(super) fn machine(&self, app: &App) -> Result<Option<MachineId>, Problem> {
        self.text("machine").map(|text| app.machine(text).map(|machine| machine.id.clone())).transpose()
    }

    pub(super) fn kind(&self) -> Result<Option<FindingKind>, Problem> {
        let kind =
            self.text("kind").map(|text| text.parse().map_err(|()| missing("kind", "a kind of finding")));
        kind.transpose()
    }

    /// The words beside the buttons, or those of one's own.
    pub(super) fn reason(&self) -> Result<String, Problem> {
        let beside = bounded("reason", self.text("reason"), LONGEST_REASON)?;
        let own = bounded("why", self.text("why"), LONGEST_REASON)?;
        beside.or(own).ok_or_else(|| {
            self.unanswered(
                "reason",
                "why it is set aside",
                "choose a reason, or write one in your own words",
            )
        })
    }

    /// A field without an answer: for a program what it should be, for a person what to do.
    pub(super) fn unanswered(&self, name: &str, should_be: &str, to_do: &str) -> Problem {
        match self {
            Fields::Form(_) => refused(format!("`{name}` is not answered; {to_do}.")),
            Fields::Document(_) => missing(name, should_be),
        }
    }

    /// The form, where it is one.
    pub(super) fn form(&self) -> Option<&Params> {
        match self {
            Fields::Form(form) => Some(form),
            Fields::Document(_) => None,
        }
    }

    pub(super) fn name(&self, by: &By) -> Result<String, Problem> {
        let name = written::name_or_typed(by, self.text("by"))?;
        Ok(name.unwrap_or_else(|| AT_THIS_COMPUTER.to_owned()))
    }
}

fn refused(sentence: String) -> Problem {
    written::refused("bad-alarm-entry", sentence)
}

pub(super) fn missing(name: &str, should_be: &str) -> Problem {
    written::missing("bad-alarm-entry", name, should_be)
}
