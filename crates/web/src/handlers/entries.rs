//! Entries: events that people make on a page, and `POST /api/v1/events`. Answered when they are on disk.
//!
//! Who may make them is decided in `access`. An entry carries the name of whoever is signed in, whatever the form says. It is asked for in the
//! records first, then put into the journal; with its record the audit trail gets its entry (`records::audit::asked` says what happens at a crash
//! in between).

use std::sync::Arc;

use axum::body::Bytes;
use axum::extract::rejection::BytesRejection;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};
use charts::Degrees;
use model::{Arrival, Content, Event, EventKind, MachineId};
use plant::Machine;
use records::By;
use serde_json::{Map, Value, json};

use crate::access::{Right, admit};
use crate::app::App;
use crate::handlers::machine::{self, About, Said};
use crate::problem::Problem;
use crate::query::Params;
use crate::reader::degrees_of;
use crate::typed::{self, Typed};
use crate::written::name_of;

/// Fields of the forms that hold numbers; every other one is text.
const NUMBERS: [&str; 5] = ["mass_kg", "temperature", "minutes", "room_c", "room_rh"];
/// Those of them that are temperatures, in the reader's degrees.
const TEMPERATURES: [&str; 2] = ["temperature", "room_c"];
/// What a form says of itself.
const OF_THE_FORM: [&str; 2] = ["degrees", "form"];
/// Fields that are ticked or not.
const TICKED: [&str; 1] = ["clean"];

/// `POST /api/v1/events`
pub(crate) async fn json(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let (by, body) = admit(&app, Right::Enter, &headers, body, "application/json")?;
    let refused = |sentence: &str| Problem::bad_request("bad-event", sentence);
    let value: Value =
        serde_json::from_slice(&body).map_err(|fault| refused(&format!("The body is not JSON: {fault}.")))?;
    let named = value
        .get("machine")
        .and_then(Value::as_str)
        .ok_or_else(|| refused("The field `machine` is missing; it should be the id of a machine."))?;
    let machine = app.machine(named)?.id.clone();
    let event = take(&app, &by, &machine, &body).await?;
    let answer = json!({
        "machine": machine.as_str(), "event": event.kind.as_str(), "at": event.at.to_string(), "durable": true,
    });
    Ok((StatusCode::CREATED, axum::Json(answer)).into_response())
}

/// The forms of the machine page.
pub(crate) async fn form(
    State(app): State<Arc<App>>,
    Path(id): Path<String>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let machine = app.machine(&id)?.id.clone();
    let (by, body) = admit(&app, Right::Enter, &headers, body, "application/x-www-form-urlencoded")?;
    let form = Params::parse(&String::from_utf8_lossy(&body));
    match take_form(&app, &by, app.machine(&id)?, &form).await {
        Ok(event) => {
            let back = format!("/machines/{machine}?entered={}#entries-title", event.kind.as_str());
            Ok(Redirect::to(&back).into_response())
        }
        Err(problem) => {
            let (typed, fault) = Typed::refused(app.scene(), &form, &problem);
            let said = Said { message: None, fault, about: About::Entries, typed };
            let page = machine::show_with(&app, machine.as_str(), said).await?;
            Ok((problem.status, page).into_response())
        }
    }
}

/// Takes the event of a form, if it makes sense.
pub(crate) async fn take_form(
    app: &App,
    by: &By,
    machine: &Machine,
    form: &Params,
) -> Result<Event, Problem> {
    let event = event_of_form(form)?;
    typed::check(app, machine, by, &event).await?;
    take(app, by, &machine.id, event.to_string().as_bytes()).await
}

/// The report with the name of whoever is signed in; as it came where nobody is, or where it is none.
fn signed(by: &By, report: &[u8]) -> Vec<u8> {
    match (name_of(by), serde_json::from_slice(report)) {
        (Some(name), Ok(Value::Object(mut fields))) => {
            fields.insert("by".to_owned(), json!(name));
            Value::Object(fields).to_string().into_bytes()
        }
        (Some(_) | None, _) => report.to_owned(),
    }
}

/// The event of a form, as the contract writes it.
pub(crate) fn event_of_form(form: &Params) -> Result<Value, Problem> {
    let mut event = Map::new();
    let degrees = form.text("degrees").and_then(degrees_of).unwrap_or_default();
    for (name, text) in form.pairs().filter(|(name, _)| !OF_THE_FORM.contains(name)) {
        let value = if NUMBERS.contains(&name) {
            let number = text.replace(',', ".").parse::<f64>().ok().filter(|number| number.is_finite());
            let number = number.ok_or_else(|| {
                let shown: String = text.chars().take(40).collect();
                Problem::refused(
                    "bad-event",
                    format!("`{name}` is `{shown}`, which is not a number; write it like 1.5."),
                )
            })?;
            json!(if TEMPERATURES.contains(&name) { in_celsius(number, degrees) } else { number })
        } else if TICKED.contains(&name) {
            json!(text == "true")
        } else {
            json!(text)
        };
        event.insert(name.to_owned(), value);
    }
    Ok(Value::Object(event))
}

/// The temperature in °C, to the thousandth that is kept.
fn in_celsius(typed: f64, degrees: Degrees) -> f64 {
    match degrees {
        Degrees::Celsius => typed,
        Degrees::Fahrenheit => (degrees.to_celsius(typed) * 1000.0).round() / 1000.0,
    }
}

/// Reads the event and answers when it is on disk.
pub(crate) async fn take(app: &App, by: &By, machine: &MachineId, json: &[u8]) -> Result<Event, Problem> {
    let now = by.at;
    let rules = &app.state.plant.temper_test.curve;
    let event = wire::parse_event(machine, &signed(by, json), now, rules)
        .map_err(|sentence| Problem::refused("bad-event", sentence))?;
    let (by, asked) = (by.clone(), event.clone());
    app.write_records(move |records| records.ask_for_event(&asked, &by)).await?;
    let arrival = Arrival { arrived: now, retained: false, content: Content::Event(event.clone()) };
    app.state.events.take(arrival).await.map_err(|cause| {
        Problem::unavailable(
            "not-durable",
            "The entry could not be put on disk; it is not entered. Try again.",
            cause,
        )
    })?;
    if let EventKind::TemperTest(_) = &event.kind {
        app.smears.judged(machine, event.at);
    }
    Ok(event)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_form_is_written_as_an_event() {
        let form = Params::parse("event=seed&mass_kg=1%2C5&temperature=&by=ana+m");
        assert_eq!(
            event_of_form(&form).unwrap().to_string(),
            r#"{"event":"seed","mass_kg":1.5,"by":"ana m"}"#
        );
        let warm = event_of_form(&Params::parse("event=reference&temperature=88.5&degrees=F")).unwrap();
        assert_eq!(warm.to_string(), r#"{"event":"reference","temperature":31.389}"#);
        let fault = event_of_form(&Params::parse("event=seed&mass_kg=much")).unwrap_err();
        assert_eq!(fault.sentence, "`mass_kg` is `much`, which is not a number; write it like 1.5.");
    }
}
