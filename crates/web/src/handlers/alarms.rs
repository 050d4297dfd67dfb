//! Alarms: the page with its forms, and the same for programs below `/api/v1/alarms`.
//!
//! Whoever may make entries may acknowledge and shelve; to take alarms out of service is for an engineer.

mod fields;

use std::sync::Arc;

use alarms::{Alarm, Answer, Desk, DeskError, Listing, Wanted, rationale};
use axum::body::Bytes;
use axum::extract::State;
use axum::extract::rejection::BytesRejection;
use axum::http::{HeaderMap, StatusCode};
use axum::response::{Html, IntoResponse, Redirect, Response};
use model::{Acknowledgement, Aside, Board, FindingId, FindingKind, MachineId, SetAside, Span, Timestamp};
use records::By;
use serde::Serialize;
use serde_json::{Value, json};

use self::fields::{FORM, Fields, JSON, missing};
use crate::access::{Right, admit};
use crate::app::App;
use crate::archive::blocking;
use crate::page_file::Shows;
use crate::problem::Problem;
use crate::query::Params;
use crate::rendered::{Parts, named};
use crate::typed::Typed;
use crate::view::{AlarmsView, AsideForm, ReasonView, reasons as reason_rows};

/// What the button for all that have come back sends in the place of an id.
const ALL_RETURNED: &str = "all-returned";

#[derive(Serialize)]
struct Shown {
    view: AlarmsView,
    aside: Option<AsideForm>,
    machines: Vec<(String, String)>,
    reasons: Vec<ReasonView>,
    typed: Typed,
    fault: Option<String>,
}

/// `/alarms`
pub(crate) async fn page(State(app): State<Arc<App>>, params: Params) -> Result<Html<String>, Problem> {
    params.only(&["aside"])?;
    show(&app, params.text("aside"), (Typed::default(), None)).await
}

async fn show(
    app: &Arc<App>,
    aside: Option<&str>,
    (typed, fault): (Typed, Option<String>),
) -> Result<Html<String>, Problem> {
    let board = app.state.board.borrow().clone();
    let listing = fresh(app, &board).await?;
    let of_aside = aside.and_then(|id| listing.of(&FindingId::from_lookup(id)));
    let of_aside = of_aside.filter(|alarm| !alarm.state.is_aside());
    let machines = app.state.plant.machines.iter();
    let shown = Shown {
        view: view(app, &listing),
        aside: of_aside.map(|alarm| AsideForm::new(app.scene(), alarm)),
        machines: machines.map(|machine| (machine.id.to_string(), machine.name.clone())).collect(),
        reasons: reason_rows(),
        typed,
        fault,
    };
    let page = app.page("alarms", Shows::Alarms)?;
    app.render_page(&page, &app.frame("alarms", "/api/v1/live?alarms=yes"), &page.title, shown).map(Html)
}

fn view(app: &App, listing: &Listing) -> AlarmsView {
    AlarmsView::new(app.scene(), listing, &app.state.alarms.aside(app.now()))
}

/// What a live page is sent.
#[derive(Serialize)]
struct Live<'a> {
    view: AlarmsView,
    frame: &'a crate::app::Frame,
}

/// The part of the page that lives.
pub(crate) fn live_parts(app: &App, board: &Board) -> Result<Parts, Problem> {
    let frame = app.frame("", "");
    let mut parts = Parts::default();
    parts.render(app, "troubles", "troubles", named("frame", &frame))?;
    parts.render(app, "alarms", "alarms_now", Live { view: view(app, &app.alarms(board)), frame: &frame })?;
    Ok(parts)
}

/// What is on record at this moment.
async fn fresh(app: &App, board: &Board) -> Result<Listing, Problem> {
    let (desk, now) = (app.state.alarms.clone(), app.now());
    blocking(move || desk.refresh(now)).await?.map_err(DeskError::from).map_err(problem)?;
    Ok(app.alarms(board))
}

/// `GET /api/v1/alarms`
pub(crate) async fn list(State(app): State<Arc<App>>, params: Params) -> Result<axum::Json<Value>, Problem> {
    params.only(&[])?;
    let board = app.state.board.borrow().clone();
    let listing = fresh(&app, &board).await?;
    let now = app.now();
    let alarms: Vec<Value> = listing.alarms.iter().map(|alarm| alarm_document(alarm, now)).collect();
    let aside: Vec<Value> = app.state.alarms.aside(now).iter().map(aside_document).collect();
    let flood = listing.flood.map(|since| since.to_string());
    Ok(axum::Json(json!({ "alarms": alarms, "set_aside": aside, "flood_since": flood })))
}

/// `GET /api/v1/alarms/reasons`
pub(crate) async fn reasons(params: Params) -> Result<axum::Json<Value>, Problem> {
    params.only(&[])?;
    let row = |kind: &FindingKind| {
        let row = rationale(*kind);
        let answer = match row.answer {
            Answer::Act { .. } => "act",
            Answer::Prompt => "prompt",
            Answer::Report => "report",
        };
        let quiet: Vec<&str> = row.quiet_in.iter().map(|phase| phase.as_str()).collect();
        json!({
            "kind": kind.as_str(), "answer": answer, "minutes_to_act": row.minutes(), "cause": row.cause,
            "consequence": row.consequence, "action": row.action, "latches": row.latches, "quiet_in": quiet,
        })
    };
    Ok(axum::Json(json!({ "reasons": FindingKind::ALL.iter().map(row).collect::<Vec<_>>() })))
}

fn alarm_document(alarm: &Alarm, now: Timestamp) -> Value {
    let (finding, row) = (&alarm.finding, alarm.rationale());
    json!({
        "id": finding.id.as_str(), "kind": finding.kind.as_str(),
        "machine": finding.machine.as_ref().map(MachineId::as_str), "priority": finding.priority.as_str(),
        "state": alarm.state.as_str(), "rings": alarm.state.rings(), "raised_at": finding.raised_at.to_string(),
        "returned_at": finding.to.map(|to| to.to_string()), "rings_since": alarm.rings_since.to_string(),
        "act_by": alarm.act_by.to_string(), "says": finding.says, "advice": finding.advice, "cause": row.cause,
        "consequence": row.consequence, "action": row.action,
        "acknowledged": alarm.seen.as_ref().map(seen_document),
        "set_aside": alarm.aside.as_ref().map(|aside| aside.number),
        "shared_cause": alarm.shared.as_ref().map(FindingId::as_str),
        "raised_in_last_hour": alarm.raised_lately, "chattering": alarm.chatters(), "stale": alarm.is_stale(now),
    })
}

fn seen_document(seen: &Acknowledgement) -> Value {
    json!({
        "alarm": seen.finding.as_str(), "priority": seen.priority.as_str(), "by": seen.by, "at": seen.at.to_string(),
    })
}

fn aside_document(aside: &SetAside) -> Value {
    json!({
        "number": aside.number, "way": aside.way.as_str(), "machine": aside.machine.as_ref().map(MachineId::as_str),
        "kind": aside.kind.map(FindingKind::as_str), "reason": aside.reason, "by": aside.by,
        "from": aside.from.to_string(), "until": aside.until.to_string(),
        "ended": aside.ended.map(|ended| ended.to_string()), "ended_by": aside.ended_by,
    })
}

/// Does something at the desk, and answers when it is on disk.
async fn at_the_desk<T: Send + 'static>(
    app: &App,
    work: impl FnOnce(&Desk, &Board) -> Result<T, DeskError> + Send + 'static,
) -> Result<T, Problem> {
    let (desk, board) = (app.state.alarms.clone(), app.state.board.borrow().clone());
    blocking(move || work(&desk, &board)).await?.map_err(problem)
}

async fn acknowledging(app: &App, by: By, fields: &Fields) -> Result<Vec<Acknowledgement>, Problem> {
    let id = fields.text("alarm").ok_or_else(|| missing("alarm", "the id of an alarm"))?.to_owned();
    let name = fields.name(&by)?;
    at_the_desk(app, move |desk, board| {
        if id == ALL_RETURNED {
            desk.acknowledge_returned(&by, &name, board)
        } else {
            desk.acknowledge(&by, &name, board, &FindingId::from_lookup(&id))
        }
    })
    .await
}

async fn shelving(app: &App, by: By, fields: &Fields) -> Result<SetAside, Problem> {
    let minutes = fields.number("minutes").filter(|minutes| (1.0..=1e6).contains(minutes));
    let minutes = minutes.ok_or_else(|| {
        fields.unanswered("minutes", "a number of minutes, up to 60", "choose some minutes")
    })?;
    let wanted = Wanted {
        way: Aside::Shelved,
        machine: fields.machine(app)?,
        kind: Some(fields.kind()?.ok_or_else(|| missing("kind", "a kind of finding"))?),
        reason: fields.reason()?,
        until: by.at + Span::from_mins_f64(minutes),
    };
    let name = fields.name(&by)?;
    at_the_desk(app, move |desk, board| desk.set_aside(&by, &name, board, wanted)).await
}

async fn taking_out(app: &App, by: By, fields: &Fields) -> Result<SetAside, Problem> {
    let days = fields.number("days").filter(|days| (1.0..=1e4).contains(days));
    let until = fields.text("until").and_then(|text| text.parse::<Timestamp>().ok());
    let until = days.map(|days| by.at + Span::from_mins_f64(days * 24.0 * 60.0)).or(until);
    let wanted = Wanted {
        way: Aside::OutOfService,
        machine: fields.machine(app)?,
        kind: fields.kind()?,
        reason: fields.reason()?,
        until: until.ok_or_else(|| match fields.form() {
            Some(_) => fields.unanswered("days", "", "choose some days"),
            None => missing("until", "a time such as 2026-03-05T05:00:00Z, at most 31 days from now"),
        })?,
    };
    let name = fields.name(&by)?;
    at_the_desk(app, move |desk, board| desk.set_aside(&by, &name, board, wanted)).await
}

async fn taking_back(app: &App, by: By, fields: &Fields) -> Result<SetAside, Problem> {
    let number =
        fields.number("number").filter(|number| (1.0..=1e15).contains(number) && number.fract() == 0.0);
    let number = number.ok_or_else(|| missing("number", "that of something set aside"))? as u64;
    if app.state.alarms.way_of(number, by.at) == Some(Aside::OutOfService) {
        app.may(Right::TakeOut)?;
    }
    let name = fields.name(&by)?;
    at_the_desk(app, move |desk, _| desk.take_back(&by, &name, number)).await
}

/// `POST /api/v1/alarms/acknowledge`
pub(crate) async fn acknowledge(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let (by, body) = admit(&app, Right::Answer, &headers, body, JSON)?;
    let told = acknowledging(&app, by, &Fields::of(JSON, &body, &[])?).await?;
    let told: Vec<Value> = told.iter().map(seen_document).collect();
    Ok((StatusCode::CREATED, axum::Json(json!({ "acknowledged": told }))).into_response())
}

/// `POST /api/v1/alarms/shelve`
pub(crate) async fn shelve(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let (by, body) = admit(&app, Right::Answer, &headers, body, JSON)?;
    created(shelving(&app, by, &Fields::of(JSON, &body, &[])?).await)
}

/// `POST /api/v1/alarms/out-of-service`
pub(crate) async fn take_out(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let (by, body) = admit(&app, Right::TakeOut, &headers, body, JSON)?;
    created(taking_out(&app, by, &Fields::of(JSON, &body, &[])?).await)
}

/// `POST /api/v1/alarms/take-back`
pub(crate) async fn take_back(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let (by, body) = admit(&app, Right::Answer, &headers, body, JSON)?;
    created(taking_back(&app, by, &Fields::of(JSON, &body, &[])?).await)
}

fn created(aside: Result<SetAside, Problem>) -> Result<Response, Problem> {
    Ok((StatusCode::CREATED, axum::Json(aside_document(&aside?))).into_response())
}

/// The button on the page.
pub(crate) async fn acknowledge_form(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let (by, body) = admit(&app, Right::Answer, &headers, body, FORM)?;
    let fields = Fields::of(FORM, &body, &["alarm"])?;
    let done = acknowledging(&app, by, &fields).await;
    back(&app, &fields, done).await
}

/// The form on the page.
pub(crate) async fn shelve_form(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let (by, body) = admit(&app, Right::Answer, &headers, body, FORM)?;
    let known = ["form", "alarm", "machine", "kind", "minutes", "why", "reason", "by"];
    let fields = Fields::of(FORM, &body, &known)?;
    let done = shelving(&app, by, &fields).await;
    back(&app, &fields, done).await
}

/// The form on the page.
pub(crate) async fn take_out_form(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let (by, body) = admit(&app, Right::TakeOut, &headers, body, FORM)?;
    let known = ["form", "alarm", "machine", "kind", "days", "why", "reason", "by"];
    let fields = Fields::of(FORM, &body, &known)?;
    // Without either it would be every alarm of the whole works, which nobody has chosen.
    let done = if fields.text("machine").or(fields.text("kind")).is_some() {
        taking_out(&app, by, &fields).await
    } else {
        Err(fields.unanswered("machine", "", "choose one"))
    };
    back(&app, &fields, done).await
}

/// The button on the page.
pub(crate) async fn take_back_form(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let (by, body) = admit(&app, Right::Answer, &headers, body, FORM)?;
    let fields = Fields::of(FORM, &body, &["number"])?;
    let done = taking_back(&app, by, &fields).await;
    back(&app, &fields, done).await
}

/// Back to the page; with the sentence where it could not be done, and with what was typed.
async fn back<T>(app: &Arc<App>, fields: &Fields, done: Result<T, Problem>) -> Result<Response, Problem> {
    match done {
        Ok(_) => Ok(Redirect::to("/alarms").into_response()),
        Err(problem) => {
            let typed = fields.form().map(|form| Typed::refused(app.scene(), form, &problem));
            let page = show(app, fields.text("alarm"), typed.unwrap_or_default()).await?;
            Ok((problem.status, page).into_response())
        }
    }
}

fn problem(error: DeskError) -> Problem {
    let sentence = error.to_string();
    match error {
        DeskError::NoSuchAlarm => Problem::not_found("no-such-alarm", sentence),
        DeskError::NotAside => Problem::not_found("not-set-aside", sentence),
        DeskError::AlreadySeen { .. } => Problem::refused("already-acknowledged", sentence),
        DeskError::TooLong { .. } => Problem::refused("too-long", sentence),
        DeskError::AlreadyAside { .. } => Problem::refused("already-set-aside", sentence),
        DeskError::Passed => Problem::refused("time-has-passed", sentence),
        DeskError::Records(cause) => Problem::unavailable(
            "records-busy",
            "The records cannot be read or written just now, so nothing has been entered. Try again.",
            cause,
        ),
    }
}
