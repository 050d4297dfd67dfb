//! A temper test is started: somebody has taken a smear, and its page counts down. `POST /machines/{id}/smears` and `POST /api/v1/smears`.

use std::sync::Arc;

use axum::body::Bytes;
use axum::extract::rejection::BytesRejection;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};
use model::{MachineId, Smear};
use records::By;
use serde_json::{Value, json};

use crate::access::{Right, admit};
use crate::app::App;
use crate::problem::Problem;
use crate::query::Params;
use crate::written;

/// The button of the machine page.
pub(crate) async fn form(
    State(app): State<Arc<App>>,
    Path(id): Path<String>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let machine = app.machine(&id)?.id.clone();
    let (by, body) = admit(&app, Right::Enter, &headers, body, "application/x-www-form-urlencoded")?;
    let form = Params::parse(&String::from_utf8_lossy(&body));
    form.only(&["by"])?;
    take(&app, by, &machine, form.text("by")).await?;
    Ok(Redirect::to(&format!("/machines/{machine}#test-title")).into_response())
}

/// `POST /api/v1/smears`
pub(crate) async fn json(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let (by, body) = admit(&app, Right::Enter, &headers, body, "application/json")?;
    let refused = |sentence: String| written::refused("bad-smear", sentence);
    let value: Value =
        serde_json::from_slice(&body).map_err(|fault| refused(format!("The body is not JSON: {fault}.")))?;
    let field = |name: &str| value.get(name).and_then(Value::as_str);
    let named =
        field("machine").ok_or_else(|| written::missing("bad-smear", "machine", "the id of a machine"))?;
    let machine = app.machine(named)?.id.clone();
    let smear = take(&app, by, &machine, field("by")).await?;
    let answer = json!({
        "machine": machine.as_str(), "at": smear.at.to_string(),
        "ready_at": (smear.at + app.state.plant.temper_test.cool).to_string(), "durable": true,
    });
    Ok((StatusCode::CREATED, axum::Json(answer)).into_response())
}

/// Answers when it is on disk.
async fn take(app: &App, by: By, machine: &MachineId, typed: Option<&str>) -> Result<Smear, Problem> {
    let name = written::name_or_typed(&by, typed)?;
    let smear = Smear { machine: machine.clone(), by: name, at: by.at };
    let kept = smear.clone();
    app.write_records(move |records| records.take_smear(&by, &kept)).await?;
    app.smears.note(smear.clone());
    Ok(smear)
}
