//! The audit trail: `GET /api/v1/audit` for programs, and the history of one record for its page.

use std::sync::Arc;

use axum::extract::State;
use records::{Entry, EntryQuery, Subject};
use serde_json::{Value, json};

use crate::app::App;
use crate::problem::Problem;
use crate::query::Params;

/// Entries in one answer.
pub(crate) const MOST: usize = 500;
const USUAL: usize = 100;

/// What entries are about.
pub(crate) const KINDS: [&str; 5] = ["machine", "batch", "week", "user", "plant"];

/// `GET /api/v1/audit`
pub(crate) async fn list(State(app): State<Arc<App>>, params: Params) -> Result<axum::Json<Value>, Problem> {
    params.only(&["kind", "id", "after", "limit"])?;
    let subjects = match (params.text("kind"), params.text("id")) {
        (None, None) => Vec::new(),
        (Some(kind), Some(id)) if KINDS.contains(&kind) => {
            vec![Subject { kind: kind.to_owned(), id: id.to_owned() }]
        }
        (Some(_), Some(_)) | (Some(_), None) | (None, Some(_)) => {
            let sentence =
                format!("Give `kind` (one of {}) and `id` together, or neither.", KINDS.join(", "));
            return Err(Problem::bad_request("bad-subject", sentence));
        }
    };
    let behind = params.optional::<u64>("after", "the number of an entry")?;
    let limit = params.count("limit", 1, MOST, USUAL)?;
    let entries = app.entries_of(EntryQuery { subjects, behind, limit, ..EntryQuery::default() }).await?;
    let next = entries
        .last()
        .filter(|last| entries.len() == limit && last.number > 1)
        .map(|last| last.number.to_string());
    let documents: Vec<Value> = entries.iter().map(document).collect();
    Ok(axum::Json(json!({ "entries": documents, "next": next })))
}

fn document(entry: &Entry) -> Value {
    json!({
        "number": entry.number, "at": entry.at.to_string(), "who": entry.who, "way": entry.way,
        "deed": entry.deed, "kind": entry.subject.kind, "id": entry.subject.id,
        "about": entry.about.map(|about| about.to_string()), "old": entry.old, "new": entry.new,
        "sha256": entry.sha256,
    })
}

impl App {
    /// Entries of the audit trail, the newest first.
    pub(crate) async fn entries_of(&self, query: EntryQuery) -> Result<Vec<Entry>, Problem> {
        self.ask_records(move |records| records.audit(&query)).await
    }
}
