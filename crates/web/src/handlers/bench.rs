//! The bench: bowls that are worked by hand. `/bench` lists them, `/bench/{machine}` is one of them, on a tablet.
//!
//! Every entry goes the way of every arrival, into the journal, and is answered when it is on disk. Complete without a script; ours only
//! runs the timer of a burst and keeps the temperature and the next step alive.

use std::sync::Arc;

use axum::body::Bytes;
use axum::extract::rejection::BytesRejection;
use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::{Html, IntoResponse, Redirect, Response};
use model::{Board, Channel, Lane, MachineId, Reading, Timestamp};
use plant::{Machine, Style};
use serde::Serialize;

use crate::access::{Right, admit};
use crate::app::App;
use crate::bowl::BowlNow;
use crate::calculator::{CalculatorView, Known};
use crate::handlers::entries::take_form;
use crate::handlers::machine::Said;
use crate::handlers::readings::take_reading;
use crate::page_file::Shows;
use crate::problem::Problem;
use crate::query::Params;
use crate::reader::degrees_of;
use crate::rendered::{Parts, named};
use crate::typed::Typed;
use crate::view::{BatchRow, BowlRow, BowlView};

/// The last days of a bowl.
const LISTED_BATCHES: usize = 6;

/// A tenth of a degree is what a thermometer shows.
const TENTHS: f64 = 10.0;

#[derive(Serialize)]
struct BenchPage {
    bowls: Vec<BowlRow>,
}

#[derive(Serialize)]
struct BowlPage {
    view: BowlView,
    entries: EntriesView,
    calculator: CalculatorView,
    batches: Vec<BatchRow>,
}

#[derive(Serialize)]
struct EntriesView {
    open: bool,
    #[serde(flatten)]
    said: Said,
    /// The reading that has just been entered can be taken back.
    entered: String,
}

/// `/bench`
pub(crate) async fn list(State(app): State<Arc<App>>, params: Params) -> Result<Html<String>, Problem> {
    params.only(&[])?;
    let page = app.page("bench", Shows::Bench)?;
    let board = app.state.board.borrow().clone();
    let mut bowls = Vec::new();
    for machine in app.state.plant.machines.iter().filter(|machine| machine.style == Style::Bench) {
        let bowl = BowlNow::of(&app, machine).await?;
        bowls.push(BowlRow::new(app.scene(), &bowl, lane_of(&board, &machine.id)));
    }
    app.render_page(&page, &app.frame("bench", ""), &page.title, BenchPage { bowls }).map(Html)
}

/// `/bench/{machine}`
pub(crate) async fn page(
    State(app): State<Arc<App>>,
    Path(id): Path<String>,
    params: Params,
) -> Result<Html<String>, Problem> {
    CalculatorView::only(&params, &["entered"])?;
    let said = Said { message: params.text("entered").and_then(entered), fault: None, ..Said::default() };
    show(&app, bowl_machine(&app, &id)?, &params, said).await
}

/// What is entered on it: charge, seed, test, note, end.
pub(crate) async fn form(
    State(app): State<Arc<App>>,
    Path(id): Path<String>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let machine = bowl_machine(&app, &id)?;
    let (by, body) = admit(&app, Right::Enter, &headers, body, "application/x-www-form-urlencoded")?;
    let form = Params::parse(&String::from_utf8_lossy(&body));
    let kind = take_form(&app, &by, machine, &form).await.map(|event| {
        let kind = event.kind.as_str();
        app.just_entered.note(event);
        kind
    });
    back(&app, machine, &form, kind).await
}

/// A temperature typed with two taps, or one that is taken back.
pub(crate) async fn reading(
    State(app): State<Arc<App>>,
    Path(id): Path<String>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let machine = bowl_machine(&app, &id)?;
    let (by, body) = admit(&app, Right::Enter, &headers, body, "application/x-www-form-urlencoded")?;
    let form = Params::parse(&String::from_utf8_lossy(&body));
    let taken = match reading_of_form(machine, app.now(), &form) {
        Ok(reading) => {
            let word = if reading.value.is_some() { "reading" } else { "taken-back" };
            let typed = reading.clone();
            match app.write_records(move |records| records.note_reading(&by, &typed)).await {
                Ok(()) => take_reading(&app, reading).await.map(|()| word),
                Err(problem) => Err(problem),
            }
        }
        Err(problem) => Err(problem),
    };
    back(&app, machine, &form, taken).await
}

/// The reading of a form: whole degrees and tenths, or a number, or the moment of one that is taken back.
fn reading_of_form(machine: &Machine, now: Timestamp, form: &Params) -> Result<Reading, Problem> {
    let reading = |at, value| Reading { machine: machine.id.clone(), channel: Channel::Chocolate, at, value };
    if let Some(at) = form.moment("taken_back")? {
        return Ok(reading(at, None));
    }
    let degrees = form.text("degrees").and_then(degrees_of).unwrap_or_default();
    let read = match form.text("value") {
        Some(text) => {
            let number = text.replace(',', ".").parse::<f64>().ok().filter(|number| number.is_finite());
            number.ok_or_else(|| {
                let shown: String = text.chars().take(40).collect();
                Problem::refused(
                    "bad-reading",
                    format!("`{shown}` is not a temperature; write it like 31.4."),
                )
            })?
        }
        None => {
            let whole: Option<i32> = form.optional("whole", "whole degrees")?;
            let whole = whole.ok_or_else(|| {
                Problem::refused("bad-reading", "Tap the whole degrees first, then the tenth.")
            })?;
            let tenth = form.count("tenth", 0, 9, 0)?;
            f64::from(whole) + tenth as f64 / TENTHS
        }
    };
    // To the thousandth that is kept.
    let celsius = (degrees.to_celsius(read) * 1000.0).round() / 1000.0;
    Ok(reading(now, Some(celsius)))
}

/// Back to the page; a fault stands on it.
async fn back(
    app: &App,
    machine: &Machine,
    form: &Params,
    done: Result<&'static str, Problem>,
) -> Result<Response, Problem> {
    match done {
        Ok(word) => Ok(Redirect::to(&format!("/bench/{}?entered={word}", machine.id)).into_response()),
        Err(problem) => {
            let (typed, fault) = Typed::refused(app.scene(), form, &problem);
            let said = Said { fault, typed, ..Said::default() };
            let page = show(app, machine, &Params::default(), said).await?;
            Ok((problem.status, page).into_response())
        }
    }
}

async fn show(app: &App, machine: &Machine, params: &Params, said: Said) -> Result<Html<String>, Problem> {
    let page = app.page("bowl", Shows::Bowl)?;
    let bowl = BowlNow::of(app, machine).await?;
    let listed = records::BatchQuery {
        machine: Some(machine.id.clone()),
        limit: LISTED_BATCHES,
        ..records::BatchQuery::default()
    };
    let batches: Vec<_> =
        app.batches(listed).await?.iter().map(|batch| BatchRow::new(app.scene(), batch)).collect();
    let board = app.state.board.borrow().clone();
    let view = BowlView::new(app.scene(), &bowl, lane_of(&board, &machine.id));
    let known = Known {
        family: bowl.family,
        limits: bowl.limits,
        mass_kg: bowl.filled.as_ref().and_then(|filled| filled.mass_kg),
        chocolate_c: bowl.readings.last().map(|(_, celsius)| *celsius),
    };
    let shown = BowlPage {
        calculator: CalculatorView::new(app.scene(), view.href.clone(), params, &known),
        entries: EntriesView {
            open: app.may(Right::Enter).is_ok(),
            said,
            entered: params.text("entered").unwrap_or_default().to_owned(),
        },
        view,
        batches,
    };
    let frame = app.frame("bench", &format!("/api/v1/live?bowl={}", machine.id));
    app.render_page(&page, &frame, &machine.name, shown).map(Html)
}

/// The parts of a bowl's page that live.
pub(crate) fn live_parts(app: &App, board: &Board, bowl: &BowlNow) -> Result<Parts, Problem> {
    let view = BowlView::new(app.scene(), bowl, lane_of(board, &bowl.machine.id));
    let mut parts = Parts::default();
    parts.render(app, "troubles", "troubles", named("frame", app.frame("", "")))?;
    parts.render(app, "bowl-now", "bowl_now", named("view", &view))?;
    parts.render(app, "bowl-step", "bowl_step", named("view", &view))?;
    Ok(parts)
}

/// The bowl that an address names.
pub(crate) fn bowl_machine<'a>(app: &'a App, id: &str) -> Result<&'a Machine, Problem> {
    let machine = app.machine(id)?;
    if machine.style == Style::Bench {
        Ok(machine)
    } else {
        let sentence =
            format!("{} is no bowl that is worked by hand; it has a page of its own.", machine.name);
        Err(Problem::not_found("no-such-bowl", sentence))
    }
}

fn lane_of<'b>(board: &'b Board, machine: &MachineId) -> Option<&'b Lane> {
    board.lanes.iter().find(|lane| lane.machine == *machine)
}

/// What the page says after an entry of that kind.
fn entered(word: &str) -> Option<&'static str> {
    Some(match word {
        "reading" => "The temperature has been entered.",
        "taken-back" => "The temperature has been taken back.",
        "charge" => "The bowl has been filled.",
        "temper-test" => "The temper test has been entered.",
        "seed" => "The seed has been entered.",
        "top-up" => "The top-up has been entered.",
        "note" => "The note has been entered.",
        "end" => "The bowl is done. Its report is ready within seconds.",
        _ => return None,
    })
}
