//! What programs ask: machines, batches, findings, readings, health.

use std::fmt::Write as _;
use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use model::{Channel, FindingKind, Span, Timestamp};

use records::{BatchQuery, FindingQuery, Life, Mark};
use report::{BatchDto, BatchReportDto, FindingDto, MachineDto};
use serde_json::{Value, json};

use crate::app::App;
use crate::archive::{Series, blocking};
use crate::handlers::batch::Gathered;
use crate::handlers::batch_forms::PARQUET;
use crate::judged;
use crate::problem::Problem;
use crate::query::{Params, wrong};

/// Most batches or findings in one answer.
pub(crate) const MOST_LISTED: usize = 1_000;

/// Batches or findings in an answer that does not say how many.
const USUALLY_LISTED: usize = 100;

/// Most points in one answer: two screens of the widest kind.
pub(crate) const MOST_POINTS: usize = 10_000;

/// Points in a JSON answer that does not say how many.
const USUAL_POINTS: usize = 2_000;

/// Most readings in one CSV answer that is not thinned: two weeks of one channel at one a second, some 40 MB of text.
const MOST_READINGS: usize = 1_300_000;

/// Longest time in one answer: a month of readings at one a second still fits into memory.
const LONGEST_TIME: Span = Span::from_hours(31 * 24);

const A_TIME_ORDER: &str = "a time after `from`";

pub(crate) async fn health(State(app): State<Arc<App>>) -> Response {
    let health = (app.state.health)();
    let (status, word) =
        if health.is_well() { (StatusCode::OK, "ok") } else { (StatusCode::SERVICE_UNAVAILABLE, "trouble") };
    if !app.may_read() {
        return (status, axum::Json(json!({ "status": word }))).into_response();
    }
    let says = health.says();
    (status, axum::Json(json!({ "status": word, "says": says, "health": health }))).into_response()
}

pub(crate) async fn machines(
    State(app): State<Arc<App>>,
    params: Params,
) -> Result<axum::Json<Value>, Problem> {
    params.only(&[])?;
    let board = app.state.board.borrow().clone();
    let named = board.lanes.iter().filter_map(|lane| Some((app.state.plant.machine(&lane.machine)?, lane)));
    let document = |(machine, lane): (&plant::Machine, &model::Lane)| {
        let mut document = MachineDto::new(&machine.name, machine.style.as_str(), lane);
        let couverture = lane.batch.as_ref().map_or(&machine.couverture, |batch| &batch.couverture);
        if let Some((event, dto)) = lane.last_test.as_ref().zip(document.last_test.as_mut()) {
            judged::complete(&app.state.plant, Some(couverture), event, dto);
        }
        document
    };
    let machines: Vec<_> = named.map(document).collect();
    let plant_findings: Vec<_> = board.plant_open.iter().map(FindingDto::from).collect();
    Ok(axum::Json(json!({
        "plant": app.state.plant.name, "machines": machines, "plant_findings": plant_findings,
    })))
}

pub(crate) async fn batches(
    State(app): State<Arc<App>>,
    params: Params,
) -> Result<axum::Json<Value>, Problem> {
    params.only(&["machine", "from", "to", "open", "after", "limit"])?;
    let query = BatchQuery {
        machine: machine(&app, &params)?,
        from: params.moment("from")?,
        to: params.moment("to")?,
        life: life(&params)?,
        behind: after(&params)?,
        limit: params.count("limit", 1, MOST_LISTED, USUALLY_LISTED)?,
    };
    let limit = query.limit;
    let batches = app.batches(query).await?;
    let next = next(limit, &batches, |batch| (batch.start, batch.id.to_string()));
    let batches: Vec<_> = batches.iter().map(BatchDto::from).collect();
    Ok(axum::Json(json!({ "batches": batches, "next": next })))
}

pub(crate) async fn batch(
    State(app): State<Arc<App>>,
    Path(id): Path<String>,
    params: Params,
) -> Result<axum::Json<BatchReportDto>, Problem> {
    params.only(&[])?;
    let batch = app.batch(&id).await?;
    Ok(axum::Json(Gathered::of(&app, batch).await?.document(&app)))
}

pub(crate) async fn findings(
    State(app): State<Arc<App>>,
    params: Params,
) -> Result<axum::Json<Value>, Problem> {
    params.only(&["machine", "batch", "kind", "open", "from", "to", "after", "limit"])?;
    let kind = params.text("kind").map(|text| {
        text.parse::<FindingKind>().map_err(|()| {
            let kinds: Vec<_> = FindingKind::ALL.iter().map(|kind| kind.as_str()).collect();
            wrong("kind", text, format!("one of {}", kinds.join(", ")))
        })
    });
    let query = FindingQuery {
        machine: machine(&app, &params)?,
        batch: params.text("batch").map(model::BatchId::from_lookup),
        kind: kind.transpose()?,
        life: life(&params)?,
        from: params.moment("from")?,
        to: params.moment("to")?,
        behind: after(&params)?,
        limit: params.count("limit", 1, MOST_LISTED, USUALLY_LISTED)?,
    };
    let limit = query.limit;
    let findings = app.findings(query).await?;
    let next = next(limit, &findings, |finding| (finding.raised_at, finding.id.to_string()));
    let findings: Vec<_> = findings.iter().map(FindingDto::from).collect();
    Ok(axum::Json(json!({ "findings": findings, "next": next })))
}

pub(crate) async fn readings(State(app): State<Arc<App>>, params: Params) -> Result<Response, Problem> {
    params.only(&["machine", "channel", "from", "to", "points", "format"])?;
    let machine =
        machine(&app, &params)?.ok_or_else(|| missing("machine", "the id of a machine of the plant file"))?;
    let channel: Channel = params.required("channel", "a channel such as chocolate, jacket or room")?;
    let from =
        params.moment("from")?.ok_or_else(|| missing("from", "a time such as 2026-03-02T05:00:00Z"))?;
    let to = params.moment("to")?.ok_or_else(|| missing("to", A_TIME_ORDER))?;
    if to <= from {
        return Err(wrong("to", &to.to_string(), A_TIME_ORDER));
    }
    if LONGEST_TIME < to.since(from) {
        let sentence =
            "One answer covers at most 31 days; ask for a shorter time, or use `halfdegree export`.";
        return Err(Problem::refused("time-too-long", sentence));
    }
    let format = ReadingsFormat::read(&params)?;
    let points = match (params.text("points"), format) {
        (None, ReadingsFormat::Csv | ReadingsFormat::Parquet) => None,
        (None, ReadingsFormat::Json) | (Some(_), _) => {
            Some(params.count("points", 2, MOST_POINTS, USUAL_POINTS)?)
        }
    };
    let series = match points {
        Some(points) => app.envelope(&machine, channel, from, to, points).await?,
        None => app.series(&machine, channel, from, to).await?,
    };
    if series.len() > MOST_READINGS {
        let sentence = format!(
            "That is {} readings, and one answer holds at most {MOST_READINGS}; ask for a shorter time, or give `points`.",
            series.len()
        );
        return Err(Problem::refused("too-many-readings", sentence));
    }
    match format {
        ReadingsFormat::Json => {}
        ReadingsFormat::Csv => {
            let headers = [(header::CONTENT_TYPE, "text/csv; charset=utf-8")];
            return Ok((headers, csv_of(channel, &series)).into_response());
        }
        ReadingsFormat::Parquet => {
            let file = blocking(move || store::parquet_of(channel, &series)).await?;
            let file = file.map_err(|cause| Problem::internal("no-file", cause))?;
            return Ok(([(header::CONTENT_TYPE, PARQUET)], file).into_response());
        }
    }
    let answer = json!({
        "machine": machine.as_str(), "channel": channel.as_str(), "unit": channel.unit(),
        "from": from.to_string(), "to": to.to_string(), "readings": pairs(&series),
    });
    Ok(axum::Json(answer).into_response())
}

/// How readings go out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum ReadingsFormat {
    Json,
    Csv,
    Parquet,
}

impl ReadingsFormat {
    fn read(params: &Params) -> Result<ReadingsFormat, Problem> {
        match params.text("format") {
            None | Some("json") => Ok(ReadingsFormat::Json),
            Some("csv") => Ok(ReadingsFormat::Csv),
            Some("parquet") => Ok(ReadingsFormat::Parquet),
            Some(other) => Err(wrong("format", other, "json, csv or parquet")),
        }
    }
}

/// A line a reading; an empty value is a missing reading.
fn csv_of(channel: Channel, series: &Series) -> String {
    let mut text = format!("time,{channel}\n");
    for (at, value) in series {
        let value = value.map(|value| value.to_string()).unwrap_or_default();
        writeln!(text, "{at},{value}").expect("a String takes all that is written");
    }
    text
}

/// `[time, value]`, `null` for a missing reading.
fn pairs(series: &Series) -> Vec<Value> {
    series.iter().map(|(at, value)| json!([at.to_string(), value])).collect()
}

/// Between the time and the id of a mark: neither has it.
const MARK_JOINT: char = '~';

/// Where the next page begins; `None` where this one is the last.
fn next<T>(limit: usize, page: &[T], mark: impl Fn(&T) -> (Timestamp, String)) -> Option<String> {
    let (at, id) = mark(page.last().filter(|_| page.len() == limit)?);
    Some(format!("{}{MARK_JOINT}{id}", at.as_millis()))
}

/// The mark behind which a page begins, as the page before gave it.
fn after(params: &Params) -> Result<Option<Mark>, Problem> {
    let Some(text) = params.text("after") else { return Ok(None) };
    let mark = text
        .split_once(MARK_JOINT)
        .and_then(|(at, id)| Some(Mark { at: Timestamp::from_millis(at.parse().ok()?), id: id.to_owned() }));
    mark.map(Some).ok_or_else(|| wrong("after", text, "the `next` of the page before"))
}

fn machine(app: &App, params: &Params) -> Result<Option<model::MachineId>, Problem> {
    params.text("machine").map(|text| app.machine(text).map(|machine| machine.id.clone())).transpose()
}

fn missing(name: &str, should_be: &str) -> Problem {
    Problem::bad_request(
        "missing-parameter",
        format!("The parameter `{name}` is missing; it should be {should_be}."),
    )
}

/// `open=yes` for what goes on, `open=no` for what is over.
pub(crate) fn life(params: &Params) -> Result<Life, Problem> {
    match params.text("open") {
        None => Ok(Life::Either),
        Some("yes") => Ok(Life::Open),
        Some("no") => Ok(Life::Closed),
        Some(other) => Err(wrong("open", other, "yes or no")),
    }
}
