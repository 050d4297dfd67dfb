//! Setup: machines, couvertures and limits as the plant file says them, and the probes with their checks. Checks are entered here, or by
//! `POST /api/v1/probe-checks`; all else is changed in the plant file.

use std::sync::Arc;

use axum::body::Bytes;
use axum::extract::State;
use axum::extract::rejection::BytesRejection;
use axum::http::{HeaderMap, StatusCode};
use axum::response::{Html, IntoResponse, Redirect, Response};
use charts::Degrees;
use model::{Channel, CheckKind, ProbeCheck};
use records::{By, Deed, EntryQuery};
use serde::Serialize;
use serde_json::{Map, Value, json};

use crate::access::{Right, admit};
use crate::app::App;
use crate::page_file::Shows;
use crate::problem::Problem;
use crate::query::Params;
use crate::reader::degrees_of;
use crate::typed::in_words;
use crate::view::{SetupView, history_of};
use crate::written::{self, LONGEST_NAME, bounded};

/// What ice and clean water hold at ordinary pressure, °C: the ice point of ITS-90 to a few thousandths.
const ICE_POINT_C: f64 = 0.0;
/// No probe here shows anything outside these, °C.
const PLAUSIBLE_C: std::ops::RangeInclusive<f64> = -40.0..=150.0;
/// Probes that are temperatures can be checked against ice and thermometers.
pub(crate) const CHECKED: [Channel; 3] = [Channel::Chocolate, Channel::Jacket, Channel::Room];

#[derive(Serialize)]
struct Shown {
    view: SetupView,
}

/// `/setup`
pub(crate) async fn page(State(app): State<Arc<App>>, params: Params) -> Result<Html<String>, Problem> {
    params.only(&["entered"])?;
    render(&app, params.text("entered").is_some(), None).await
}

async fn render(app: &App, entered: bool, fault: Option<String>) -> Result<Html<String>, Problem> {
    let checks = app.ask_records(|records| records.probe_checks(None)).await?;
    let of_checks = EntryQuery { deed: Some(Deed::ProbeChecked), ..history_of(Vec::new()) };
    let mut view = SetupView::new(app.scene(), &checks, &app.entries_of(of_checks).await?);
    view.entered = entered;
    view.fault = fault;
    let page = app.page("setup", Shows::Setup)?;
    app.render_page(&page, &app.frame("setup", ""), &page.title, Shown { view }).map(Html)
}

/// `POST /setup/checks`
pub(crate) async fn form(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let (by, body) = admit(&app, Right::Enter, &headers, body, "application/x-www-form-urlencoded")?;
    let form = Params::parse(&String::from_utf8_lossy(&body));
    match enter_form(&app, by, &form).await {
        Ok(_) => Ok(Redirect::to("/setup?entered=yes#checks-title").into_response()),
        Err(problem) => {
            let page =
                render(&app, false, Some(in_words("setup", &app.scene().sentence(&problem.sentence)).1))
                    .await?;
            Ok((problem.status, page).into_response())
        }
    }
}

async fn enter_form(app: &App, by: By, form: &Params) -> Result<ProbeCheck, Problem> {
    const NUMBERS: [&str; 3] = ["reference_c", "as_found_c", "as_left_c"];
    form.only(&["probe", "kind", "reference_c", "as_found_c", "as_left_c", "reference", "by", "degrees"])?;
    let degrees = form.text("degrees").and_then(degrees_of).unwrap_or_default();
    let mut fields = Map::new();
    for (name, text) in form.pairs() {
        let value = match name {
            "degrees" => continue,
            "probe" => {
                let (machine, channel) = text.split_once('/').unwrap_or((text, ""));
                fields.insert("machine".to_owned(), json!(machine));
                fields.insert("channel".to_owned(), json!(channel));
                continue;
            }
            _ if NUMBERS.contains(&name) => {
                let number = text.replace(',', ".").parse::<f64>().ok().filter(|number| number.is_finite());
                let number = number.ok_or_else(|| missing(name, "a number such as 31.2"))?;
                json!(match degrees {
                    Degrees::Celsius => number,
                    Degrees::Fahrenheit => (degrees.to_celsius(number) * 1000.0).round() / 1000.0,
                })
            }
            _ => json!(text),
        };
        fields.insert(name.to_owned(), value);
    }
    enter(app, by, &Value::Object(fields)).await
}

/// `POST /api/v1/probe-checks`
pub(crate) async fn json(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let (by, body) = admit(&app, Right::Enter, &headers, body, "application/json")?;
    let value: Value =
        serde_json::from_slice(&body).map_err(|fault| refused(format!("The body is not JSON: {fault}.")))?;
    let check = enter(&app, by, &value).await?;
    Ok((StatusCode::CREATED, axum::Json(document(&check))).into_response())
}

/// `GET /api/v1/probe-checks`
pub(crate) async fn list(State(app): State<Arc<App>>, params: Params) -> Result<axum::Json<Value>, Problem> {
    params.only(&["machine"])?;
    let machine = params.text("machine").map(|text| app.machine(text).map(|machine| machine.id.clone()));
    let machine = machine.transpose()?;
    let checks = app.ask_records(move |records| records.probe_checks(machine.as_ref())).await?;
    let checks: Vec<Value> = checks.iter().rev().map(document).collect();
    Ok(axum::Json(json!({ "probe_checks": checks })))
}

fn document(check: &ProbeCheck) -> Value {
    json!({
        "machine": check.machine.as_str(), "channel": check.channel.as_str(), "kind": check.kind.as_str(),
        "reference_c": check.reference_c, "as_found_c": check.as_found_c, "as_left_c": check.as_left_c,
        "error_c": (check.error_c() * 1e3).round() / 1e3, "accept_c": check.accept_c,
        "passed": check.is_passed(), "left_right": check.is_left_right(),
        "reference": check.reference, "by": check.by, "at": check.at.to_string(),
    })
}

/// Reads a check and answers when it is on disk.
async fn enter(app: &App, by: By, value: &Value) -> Result<ProbeCheck, Problem> {
    let check = read(app, &by, value)?;
    let kept = check.clone();
    app.write_records(move |records| records.check_probe(&by, &kept)).await?;
    Ok(check)
}

fn read(app: &App, by: &By, value: &Value) -> Result<ProbeCheck, Problem> {
    let text = |name: &str| value.get(name).and_then(Value::as_str);
    let number = |name: &str| match value.get(name).filter(|field| !field.is_null()) {
        None => Ok(None),
        Some(field) => match field.as_f64() {
            Some(celsius) if PLAUSIBLE_C.contains(&celsius) => Ok(Some(celsius)),
            Some(_) | None => Err(missing(name, "a temperature from -40 to 150 °C")),
        },
    };
    let machine = text("machine").ok_or_else(|| missing("machine", "the id of a machine"))?;
    let channel = text("channel").and_then(|text| text.parse::<Channel>().ok());
    let channel = channel.filter(|channel| CHECKED.contains(channel));
    let kind = text("kind").and_then(|text| text.parse::<CheckKind>().ok());
    let kind = kind.ok_or_else(|| missing("kind", "ice-point or comparison"))?;
    let reference_c = match kind {
        CheckKind::IcePoint => ICE_POINT_C,
        CheckKind::Comparison => number("reference_c")?
            .ok_or_else(|| missing("reference_c", "what the reference thermometer showed"))?,
    };
    Ok(ProbeCheck {
        machine: app.machine(machine)?.id.clone(),
        channel: channel.ok_or_else(|| missing("channel", "chocolate, jacket or room"))?,
        kind,
        reference_c,
        as_found_c: number("as_found_c")?
            .ok_or_else(|| missing("as_found_c", "what the probe showed as it was found"))?,
        as_left_c: number("as_left_c")?,
        reference: bounded("reference", text("reference"), LONGEST_NAME)?,
        accept_c: app.state.plant.probe_checks.accept_c,
        by: written::name_or_typed(by, text("by"))?
            .ok_or_else(|| missing("by", "the name of whoever checked it"))?,
        at: by.at,
    })
}

fn refused(sentence: String) -> Problem {
    written::refused("bad-check", sentence)
}

fn missing(name: &str, should_be: &str) -> Problem {
    written::missing("bad-check", name, should_be)
}
