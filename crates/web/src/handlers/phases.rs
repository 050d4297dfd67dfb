//! A person knows better in which phase a batch was: `POST /api/v1/batches/{id}/phases`.
//!
//! What was said is written down and answered when it is on disk; the service works it into the batch within seconds. The program's own
//! phases are kept beside it.

use std::sync::Arc;

use axum::body::Bytes;
use axum::extract::rejection::BytesRejection;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use model::{Batch, Phase, PhaseCorrection, Timestamp};
use report::CorrectionDto;
use serde_json::Value;

use crate::access::{Right, admit};
use crate::app::App;
use crate::problem::Problem;
use crate::written::{self, LONGEST_NAME, bounded};

/// A reason is a sentence or two.
const LONGEST_REASON: usize = 500;

/// `POST /api/v1/batches/{id}/phases`
pub(crate) async fn correct(
    State(app): State<Arc<App>>,
    Path(id): Path<String>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let (by, body) = admit(&app, Right::CorrectPhases, &headers, body, "application/json")?;
    let batch = app.batch(&id).await?;
    let value: Value =
        serde_json::from_slice(&body).map_err(|fault| refused(format!("The body is not JSON: {fault}.")))?;
    let correction = read(&batch, by.at, |name| match name {
        "by" => written::name_of(&by).or_else(|| value.get(name)?.as_str()),
        _ => value.get(name)?.as_str(),
    })?;
    let kept = correction.clone();
    app.write_records(move |records| records.correct_phase(&by, &kept)).await?;
    Ok((StatusCode::CREATED, axum::Json(CorrectionDto::from(&correction))).into_response())
}

fn read<'a>(
    batch: &Batch,
    now: Timestamp,
    field: impl Fn(&str) -> Option<&'a str>,
) -> Result<PhaseCorrection, Problem> {
    let moment = |name: &str| {
        let parsed = field(name).map(str::parse::<Timestamp>).transpose();
        parsed.map_err(|_| missing(name, "a time such as 2026-03-02T07:05:00Z"))
    };
    let words = |name: &str, longest: usize| bounded(name, field(name), longest);
    let phase = field("phase").and_then(|text| text.parse::<Phase>().ok()).ok_or_else(|| {
        let words: Vec<_> = Phase::ALL.iter().map(|phase| phase.as_str()).collect();
        missing("phase", &format!("one of {}", words.join(", ")))
    })?;
    let from = moment("from")?.ok_or_else(|| missing("from", "the time at which the phase really began"))?;
    let to = moment("to")?;
    let end = batch.end.unwrap_or(now);
    let (first, last) = (from.max(batch.start), to.unwrap_or(end).min(end));
    if to.is_some_and(|to| to <= from) || last <= first {
        let sentence = format!(
            "From {from} to {} is no time of this batch, which went from {} to {}.",
            to.map_or_else(|| "its end".to_owned(), |to| to.to_string()),
            batch.start,
            end
        );
        return Err(refused(sentence));
    }
    Ok(PhaseCorrection {
        batch: batch.id.clone(),
        phase,
        from,
        to,
        by: words("by", LONGEST_NAME)?.ok_or_else(|| missing("by", "the name of whoever says so"))?,
        at: now,
        reason: words("reason", LONGEST_REASON)?.ok_or_else(|| missing("reason", "why it was that phase"))?,
    })
}

fn refused(sentence: String) -> Problem {
    written::refused("bad-correction", sentence)
}

fn missing(name: &str, should_be: &str) -> Problem {
    written::missing("bad-correction", name, should_be)
}
