//! Readings that come by HTTP: `POST /api/v1/readings`, and those typed on the bench.
//!
//! They go into the journal like every arrival and are answered when they are on disk. What is typed is what a thermometer shows: the
//! offset of the machine's own probe is not added to it.

use std::sync::Arc;

use axum::body::Bytes;
use axum::extract::State;
use axum::extract::rejection::BytesRejection;
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use model::{Arrival, Channel, Content, Reading, Span, Timestamp};
use serde_json::{Value, json};

use crate::access::{Right, admit};
use crate::app::App;
use crate::problem::Problem;

/// A reading this far ahead of now has a wrong clock (the contract's limit for `clock-off`).
const AHEAD: Span = Span::from_secs(60);
/// A reading from before this is brought in as a recorded stream.
const OLDEST: Span = Span::from_hours(24);

/// `POST /api/v1/readings`
pub(crate) async fn json(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    // A program sends as many readings as a sender at the broker; they are arrivals like those, and not in the audit trail.
    let (_, body) = admit(&app, Right::Enter, &headers, body, "application/json")?;
    let refused = |sentence: &str| Problem::bad_request("bad-reading", sentence);
    let value: Value =
        serde_json::from_slice(&body).map_err(|fault| refused(&format!("The body is not JSON: {fault}.")))?;
    let text = |name: &str| value.get(name).and_then(Value::as_str);
    let machine = text("machine")
        .ok_or_else(|| refused("The field `machine` is missing; it should be the id of a machine."))?;
    let machine = app.machine(machine)?.id.clone();
    let channel = text("channel").and_then(|word| word.parse::<Channel>().ok());
    let channel = channel
        .ok_or_else(|| refused("The field `channel` should be one such as chocolate, jacket or room."))?;
    let at = match value.get("at") {
        None => app.now(),
        Some(at) => {
            let at = at.as_str().and_then(|text| text.parse::<Timestamp>().ok());
            at.ok_or_else(|| refused("The field `at` should be a time such as 2026-03-02T07:05:00Z."))?
        }
    };
    let number = match value.get("value") {
        Some(Value::Null) => None,
        Some(Value::Number(number)) => number.as_f64().filter(|number| number.is_finite()),
        Some(_) | None => {
            return Err(refused(
                "The field `value` should be a number, or null for a reading that is missing.",
            ));
        }
    };
    let reading = Reading { machine, channel, at, value: number };
    take_reading(&app, reading.clone()).await?;
    let answer = json!({
        "machine": reading.machine.as_str(), "channel": channel.as_str(), "at": at.to_string(), "value": number, "durable": true,
    });
    Ok((StatusCode::CREATED, axum::Json(answer)).into_response())
}

/// Puts a reading on disk, if it can be one.
pub(crate) async fn take_reading(app: &App, reading: Reading) -> Result<(), Problem> {
    let now = app.now();
    if let Some(fault) = senseless(&reading, now) {
        return Err(Problem::refused("bad-reading", fault));
    }
    let arrival = Arrival { arrived: now, retained: false, content: Content::Reading(reading) };
    app.state.events.take(arrival).await.map_err(|cause| {
        let sentence = "The reading could not be put on disk; it is not entered. Try again.";
        Problem::unavailable("not-durable", sentence, cause)
    })
}

fn senseless(reading: &Reading, now: Timestamp) -> Option<String> {
    if now + AHEAD < reading.at {
        return Some("The reading is dated ahead of now; look at the clock that dated it.".to_owned());
    }
    if reading.at < now - OLDEST {
        return Some("The reading is older than a day; bring older ones in as a recorded stream.".to_owned());
    }
    let value = reading.value?;
    let possible = reading.channel.possible();
    if possible.contains(&value) {
        return None;
    }
    let (low, high) = (possible.start(), possible.end());
    Some(match reading.channel.is_temperature() {
        true => format!(
            "{value:.1} °C is no temperature of a works; it should be between {low:.0} and {high:.0} °C."
        ),
        false => format!("{value} is no value of the channel {}.", reading.channel),
    })
}
