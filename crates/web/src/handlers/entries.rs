//! Entries: events that people make on a page, and `POST /api/v1/events`. Answered when they are on disk.
//!
//! Nothing that changes state is open to a caller who has not signed in, except on loopback in the demo. There a foreign
//! page in the same browser must not make entries either, so its origin is looked at, and so is the name under which
//! this service was called: a name that an outsider points at this computer is not ours.

use std::sync::Arc;

use axum::body::Bytes;
use axum::extract::rejection::BytesRejection;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use charts::Degrees;
use model::{Arrival, Content, Event, MachineId};
use serde_json::{Map, Value, json};

use crate::app::App;
use crate::handlers::machine::{self, Said};
use crate::problem::Problem;
use crate::query::Params;
use crate::reader::degrees_of;
use crate::router::LARGEST_BODY;
use crate::state::Entries;

/// Fields of the forms that hold numbers; every other one is text.
const NUMBERS: [&str; 3] = ["mass_kg", "temperature", "minutes"];

/// `POST /api/v1/events`
pub(crate) async fn json(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let body = admit(&app, &headers, body, "application/json")?;
    let refused = |sentence: &str| Problem::bad_request("bad-event", sentence);
    let value: Value =
        serde_json::from_slice(&body).map_err(|fault| refused(&format!("The body is not JSON: {fault}.")))?;
    let named = value
        .get("machine")
        .and_then(Value::as_str)
        .ok_or_else(|| refused("The field `machine` is missing; it should be the id of a machine."))?;
    let machine = app.machine(named)?.id.clone();
    let event = take(&app, &machine, &body).await?;
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
    let body = admit(&app, &headers, body, "application/x-www-form-urlencoded")?;
    let entered = match event_of_form(&Params::parse(&String::from_utf8_lossy(&body))) {
        Ok(event) => take(&app, &machine, event.to_string().as_bytes()).await,
        Err(problem) => Err(problem),
    };
    match entered {
        Ok(event) => {
            let back = format!("/machines/{machine}?entered={}#entries-title", event.kind.as_str());
            Ok(Redirect::to(&back).into_response())
        }
        Err(problem) => {
            let said = Said { message: None, fault: Some(problem.sentence) };
            let page = machine::show_with(&app, machine.as_str(), said).await?;
            Ok((problem.status, page).into_response())
        }
    }
}

/// May this request make an entry, and is its body what we read?
pub(crate) fn admit(
    app: &App,
    headers: &HeaderMap,
    body: Result<Bytes, BytesRejection>,
    media_type: &str,
) -> Result<Bytes, Problem> {
    match app.entries {
        Entries::Closed => return Err(Problem::sign_in_needed()),
        Entries::OpenOnLoopback => {}
    }
    if !from_our_own_page(headers) {
        return Err(Problem::foreign_origin());
    }
    let given = headers.get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or_default();
    let given = given.split(';').next().unwrap_or_default().trim();
    if !given.eq_ignore_ascii_case(media_type) {
        return Err(Problem::wrong_media_type(media_type));
    }
    body.map_err(|_| Problem::too_large(LARGEST_BODY))
}

/// Called under a name of this computer, and by none but a page of ours or a program that is no browser.
fn from_our_own_page(headers: &HeaderMap) -> bool {
    let text = |name: header::HeaderName| headers.get(name).and_then(|value| value.to_str().ok());
    let Some(host) = text(header::HOST) else { return false };
    let name = host.rsplit_once(':').map_or(host, |(name, port)| {
        if port.bytes().all(|byte| byte.is_ascii_digit()) { name } else { host }
    });
    let ours = matches!(name, "localhost" | "127.0.0.1" | "[::1]");
    let same_origin = match headers.get(header::ORIGIN) {
        None => true,
        Some(origin) => origin.to_str().ok().and_then(|origin| origin.strip_prefix("http://")) == Some(host),
    };
    ours && same_origin
}

/// The event of a form, as the contract writes it.
pub(crate) fn event_of_form(form: &Params) -> Result<Value, Problem> {
    let mut event = Map::new();
    let degrees = form.text("degrees").and_then(degrees_of).unwrap_or_default();
    for (name, text) in form.pairs().filter(|(name, _)| *name != "degrees") {
        let value = if NUMBERS.contains(&name) {
            let number = text.replace(',', ".").parse::<f64>().ok().filter(|number| number.is_finite());
            let number = number.ok_or_else(|| {
                let shown: String = text.chars().take(40).collect();
                Problem::refused("bad-event", format!("`{shown}` is not a number; write it like 1.5."))
            })?;
            json!(if name == "temperature" { in_celsius(number, degrees) } else { number })
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
pub(crate) async fn take(app: &App, machine: &MachineId, json: &[u8]) -> Result<Event, Problem> {
    let now = app.now();
    let event =
        wire::parse_event(machine, json, now).map_err(|sentence| Problem::refused("bad-event", sentence))?;
    let arrival = Arrival { arrived: now, retained: false, content: Content::Event(event.clone()) };
    app.state.events.take(arrival).await.map_err(|cause| {
        Problem::unavailable(
            "not-durable",
            "The entry could not be put on disk; it is not entered. Try again.",
            cause,
        )
    })?;
    Ok(event)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(host: &str, origin: Option<&str>) -> HeaderMap {
        let mut headers = HeaderMap::new();
        headers.insert(header::HOST, host.parse().unwrap());
        if let Some(origin) = origin {
            headers.insert(header::ORIGIN, origin.parse().unwrap());
        }
        headers
    }

    #[test]
    fn entries_come_from_our_own_page_under_our_own_name() {
        assert!(from_our_own_page(&headers("127.0.0.1:8460", None)));
        assert!(from_our_own_page(&headers("localhost:8460", Some("http://localhost:8460"))));
        assert!(from_our_own_page(&headers("[::1]:8460", Some("http://[::1]:8460"))));
        assert!(!from_our_own_page(&headers("127.0.0.1:8460", Some("http://elsewhere.example"))));
        assert!(!from_our_own_page(&headers("127.0.0.1:8460", Some("null"))));
        assert!(!from_our_own_page(&headers(
            "elsewhere.example:8460",
            Some("http://elsewhere.example:8460")
        )));
        assert!(!from_our_own_page(&HeaderMap::new()));
    }

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
        assert_eq!(fault.sentence, "`much` is not a number; write it like 1.5.");
    }
}
