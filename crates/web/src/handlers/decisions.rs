//! What becomes of a batch is decided by people: the form of its report, and `POST /api/v1/batches/{id}/decisions`.
//!
//! Whoever may make entries may keep a batch apart or have it tempered anew; to release and to reject it is for quality.
//!
//! A decision never changes the standing that the watch worked out, nor is it changed by it. A later one takes its place; the earlier stay.

use std::sync::Arc;

use axum::body::Bytes;
use axum::extract::rejection::BytesRejection;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};
use model::{Batch, Decision, Verdict};
use records::By;
use report::DecisionDto;
use serde_json::Value;

use crate::access::{Right, Visitor, admit};
use crate::app::App;
use crate::handlers::batch;
use crate::problem::Problem;
use crate::query::Params;
use crate::typed;
use crate::written::{self, LONGEST_NAME, bounded};

/// A reason is a sentence or two.
const LONGEST_REASON: usize = 500;

/// The role of whoever types a name where nobody signs in.
const UNCHECKED: &str = "name typed in, not checked";

/// `POST /api/v1/batches/{id}/decisions`
pub(crate) async fn json(
    State(app): State<Arc<App>>,
    Path(id): Path<String>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let (by, body) = admit(&app, Right::Enter, &headers, body, "application/json")?;
    let batch = app.batch(&id).await?;
    let value: Value =
        serde_json::from_slice(&body).map_err(|fault| refused(format!("The body is not JSON: {fault}.")))?;
    let decision = decide(&app, by, &batch, |name| value.get(name).and_then(Value::as_str)).await?;
    Ok((StatusCode::CREATED, axum::Json(DecisionDto::from(&decision))).into_response())
}

/// The form of the report.
pub(crate) async fn form(
    State(app): State<Arc<App>>,
    Path(id): Path<String>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let (by, body) = admit(&app, Right::Enter, &headers, body, "application/x-www-form-urlencoded")?;
    let batch = app.batch(&id).await?;
    let form = Params::parse(&String::from_utf8_lossy(&body));
    form.only(&["decision", "reason", "by"])?;
    match decide(&app, by, &batch, |name| form.text(name)).await {
        Ok(_) => Ok(Redirect::to(&format!("/batches/{}#decision-title", batch.id)).into_response()),
        Err(problem) => {
            let page =
                batch::page_with(&app, batch, Some(typed::in_words("decision", &problem.sentence).1)).await?;
            Ok((problem.status, page).into_response())
        }
    }
}

/// Reads a decision and answers when it is on disk.
async fn decide<'a>(
    app: &App,
    by: By,
    batch: &Batch,
    field: impl Fn(&str) -> Option<&'a str>,
) -> Result<Decision, Problem> {
    let verdict = field("decision").and_then(|text| text.parse::<Verdict>().ok()).ok_or_else(|| {
        let words: Vec<_> = Verdict::ALL.iter().map(|verdict| verdict.as_str()).collect();
        missing("decision", &format!("one of {}", words.join(", ")))
    })?;
    if verdict.is_for_quality() {
        app.may(Right::Decide)?;
    }
    let (name, role) = match (written::name_of(&by), Visitor::now()) {
        (Some(name), Some(visitor)) => (Some(name.to_owned()), visitor.role.as_str()),
        (Some(_), None) | (None, _) => (bounded("by", field("by"), LONGEST_NAME)?, UNCHECKED),
    };
    let decision = Decision {
        batch: batch.id.clone(),
        verdict,
        reason: bounded("reason", field("reason"), LONGEST_REASON)?
            .ok_or_else(|| missing("reason", "why it was decided"))?,
        by: name.ok_or_else(|| missing("by", "the name of whoever decides"))?,
        role: role.to_owned(),
        at: by.at,
    };
    let kept = decision.clone();
    app.write_records(move |records| records.decide(&by, &kept)).await?;
    Ok(decision)
}

fn refused(sentence: String) -> Problem {
    written::refused("bad-decision", sentence)
}

fn missing(name: &str, should_be: &str) -> Problem {
    written::missing("bad-decision", name, should_be)
}
