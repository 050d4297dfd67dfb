//! The page of one machine: how it stands, its curve, what is open, entries, earlier batches.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{Html, IntoResponse, Response};
use model::{Board, Channel, Lane, MachineId, Span};
use plant::{Family, Machine};

use records::BatchQuery;
use serde::Serialize;

use crate::app::{App, Frame};
use crate::archive::blocking;
use crate::calculator::{CalculatorView, Known};
use crate::curve::{self, Place, Wanted};
use crate::curve_query::{CURVE_PARAMETERS, CurveQuery, CurveSpan, whole_batch};
use crate::curve_values::curve_values;
use crate::dashboards::part_file;
use crate::handlers::baselines::BaselineView;
use crate::handlers::batch::seen_to;
use crate::kept::{self, Kept};
use crate::page_file::Shows;
use crate::problem::Problem;
use crate::query::{Params, wrong};
use crate::rendered::{Parts, named};
use crate::stored_curve::Offer;
use crate::typed::Typed;
use crate::view::{BatchRow, Choice, CurveParts, CurveView, FindingView, LaneView, Notice, Room, notices};

/// Two weeks of two batches a day.
const LISTED_BATCHES: usize = 28;

/// Pixels of a picture to one of the drawing: sharp in print at the width of a page.
const PICTURE_SCALE: f32 = 2.0;

/// An SVG document may style itself; nothing else.
const SVG_POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'";

/// The page opens with as much as a person remembers.
const USUAL_SPAN: CurveSpan = CurveSpan::Last(3);

/// What the page says after an entry.
#[derive(Debug, Clone, Default, Serialize)]
pub(crate) struct Said {
    pub message: Option<&'static str>,
    pub fault: Option<String>,
    /// Beside which form it stands.
    pub about: About,
    /// The form that was refused.
    pub typed: Typed,
}

/// A part of the page with forms.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub(crate) enum About {
    /// The temper test.
    Test,
    /// All other entries.
    #[default]
    Entries,
}

#[derive(Serialize)]
struct MachinePage {
    view: MachineView,
    calculator: CalculatorView,
    #[serde(flatten)]
    standing: Standing,
}

#[derive(Serialize)]
struct MachineView {
    curve: CurveView,
    entries_href: String,
    /// Where to come back to after signing in.
    entries_back: String,
    /// Where a smear that was taken is told, and where its result.
    smears_href: String,
    tests_href: String,
    /// From where the cooling curve of a sample can be taken.
    sample: Offer,
    #[serde(flatten)]
    said: Said,
    batches: Vec<BatchRow>,
    baselines: Vec<BaselineView>,
    baselines_href: String,
    /// What to know of the product in it.
    notices: Vec<Notice>,
    /// Id and name.
    couvertures: Vec<(String, String)>,
}

/// How the machine stands: its lane and its open findings.
#[derive(Serialize)]
struct Standing {
    lane: LaneView,
    open: Vec<FindingView>,
}

pub(crate) async fn page(
    State(app): State<Arc<App>>,
    Path(id): Path<String>,
    params: Params,
) -> Result<Html<String>, Problem> {
    CalculatorView::only(&params, &["span", "from", "to", "channels", "width", "entered", "part"])?;
    let query = CurveQuery::read(&params, USUAL_SPAN)?;
    if curve_part_only(&params)? {
        let view = curve_view(&app, app.machine(&id)?, &query).await?;
        return app.dashboards.render(&part_file("curve"), CurvePart::of(&app, view)).map(Html);
    }
    let entered_kind = params.text("entered");
    let about = if entered_kind == Some("temper-test") { About::Test } else { About::Entries };
    let said = Said { message: entered_kind.and_then(entered), fault: None, about, ..Said::default() };
    show(&app, &id, &query, &params, said).await
}

/// Does the script ask for the curve alone?
pub(crate) fn curve_part_only(params: &Params) -> Result<bool, Problem> {
    match params.text("part") {
        None => Ok(false),
        Some("curve") => Ok(true),
        Some(other) => Err(wrong("part", other, "curve, or left out")),
    }
}

/// The curve alone, as the script asks for it.
#[derive(Serialize)]
pub(crate) struct CurvePart {
    frame: Frame,
    view: CurveOnly,
}

#[derive(Serialize)]
struct CurveOnly {
    curve: CurveView,
}

impl CurvePart {
    pub(crate) fn of(app: &App, curve: CurveView) -> CurvePart {
        CurvePart { frame: app.frame("", ""), view: CurveOnly { curve } }
    }
}

/// The page of the machine `id` as it opens.
pub(crate) async fn show_with(app: &App, id: &str, said: Said) -> Result<Html<String>, Problem> {
    show(app, id, &CurveQuery::of(USUAL_SPAN), &Params::default(), said).await
}

/// The page of the machine `id`.
async fn show(
    app: &App,
    id: &str,
    query: &CurveQuery,
    params: &Params,
    said: Said,
) -> Result<Html<String>, Problem> {
    let machine = app.machine(id)?;
    let page = app.page("machine", Shows::Machine)?;
    let board = app.state.board.borrow().clone();
    let listed =
        BatchQuery { machine: Some(machine.id.clone()), limit: LISTED_BATCHES, ..BatchQuery::default() };
    let batches: Vec<_> =
        app.batches(listed).await?.iter().map(|batch| BatchRow::new(app.scene(), batch)).collect();
    let lane = board.lanes.iter().find(|lane| lane.machine == machine.id);
    let couvertures = app.state.plant.couvertures.iter();
    let view = MachineView {
        notices: notices_of(app, machine, lane).await?,
        couvertures: couvertures
            .map(|couverture| (couverture.id.to_string(), couverture.display_name().to_owned()))
            .collect(),
        curve: curve_view(app, machine, query).await?,
        entries_href: format!("/machines/{}/entries", machine.id),
        entries_back: format!("/machines/{}", machine.id),
        smears_href: format!("/machines/{}/smears", machine.id),
        tests_href: format!("/machines/{}/tests", machine.id),
        sample: Offer::new(&app.state.plant, &board, &machine.id),
        said,
        batches,
        baselines: BaselineView::all(app.scene(), &board.baselines, &machine.id),
        baselines_href: format!("/machines/{}/baselines", machine.id),
    };
    let frame = app.frame("machine", &format!("/api/v1/live?machine={}", machine.id));
    let standing = standing(app, &board, machine);
    let action = format!("/machines/{}", machine.id);
    let calculator = CalculatorView::new(app.scene(), action, params, &known(app, &board, machine));
    app.render_page(&page, &frame, &machine.name, MachinePage { view, calculator, standing }).map(Html)
}

/// What the calculator knows of the charge: its mass as it was told, else what the machine holds, and how warm it is.
fn known(app: &App, board: &Board, machine: &Machine) -> Known {
    let plant = &app.state.plant;
    let lane = board.lanes.iter().find(|lane| lane.machine == machine.id);
    let batch = lane.and_then(|lane| lane.batch.as_ref());
    let couverture = batch.map_or(&machine.couverture, |batch| &batch.couverture);
    let found = plant.couverture(couverture).or_else(|| plant.couverture(&machine.couverture));
    Known {
        family: found.map_or(Family::Dark, |found| found.family),
        limits: plant.limits(machine, couverture),
        mass_kg: batch.and_then(|batch| batch.mass_kg).or(machine.capacity_kg),
        chocolate_c: lane.and_then(|lane| lane.latest(Channel::Chocolate)).and_then(|latest| latest.value),
    }
}

/// What to know of the batch in the machine, and of a charge that waits for its melt.
async fn notices_of(app: &App, machine: &Machine, lane: Option<&Lane>) -> Result<Vec<Notice>, Problem> {
    let scene = app.scene();
    let mut told = Vec::new();
    if let Some(batch) = lane.and_then(|lane| lane.batch.as_ref()) {
        let until = app.now() + Span::from_millis(1);
        let events = curve::events_between(app, &batch.machine, batch.start, until).await?;
        told = notices(scene, &Kept::of(app, batch, &events).await?);
    }
    let waiting = kept::changeover_of_next(app, machine).await?;
    told.extend(waiting.map(|changeover| Notice::of_changeover(scene, &changeover).of_next_charge()));
    Ok(told)
}

async fn curve_view(app: &App, machine: &Machine, query: &CurveQuery) -> Result<CurveView, Problem> {
    let board = app.state.board.borrow().clone();
    let lane = board.lanes.iter().find(|lane| lane.machine == machine.id);
    let asked = wanted(app, machine, lane, query).await?;
    let span = asked.span;
    let drawing = curve::draw(app, asked, Place::Page).await?;
    let address = format!("/machines/{}/curve", machine.id);
    Ok(CurveView::new(CurveParts {
        page: format!("/machines/{}", machine.id),
        query,
        span,
        offered: &CurveSpan::OFFERED,
        lane,
        drawing,
        values_href: format!("{address}.json?{}", query.query()),
        caption: String::new(),
        files: files(&address, query),
    }))
}

/// The drawing as files.
pub(crate) fn files(address: &str, query: &CurveQuery) -> Vec<Choice> {
    let file = |ending: &str| Choice {
        key: ending.to_owned(),
        word: ending.to_uppercase(),
        href: format!("{address}.{ending}?{}", query.query()),
        chosen: false,
    };
    ["svg", "png"].map(file).into()
}

/// What is to be drawn of a machine.
async fn wanted(
    app: &App,
    machine: &Machine,
    lane: Option<&Lane>,
    query: &CurveQuery,
) -> Result<Wanted, Problem> {
    let batch = lane.and_then(|lane| lane.batch.as_ref());
    let reference = match batch {
        Some(batch) => app.reference_for(batch).await?,
        None => Vec::new(),
    };
    Ok(Wanted {
        title: machine.name.clone(),
        machine: machine.id.clone(),
        couverture: batch.map_or(&machine.couverture, |batch| &batch.couverture).clone(),
        query: query.clone(),
        span: query.span.covers(whole_batch(lane, app.now()), app.now()),
        reference,
    })
}

fn standing(app: &App, board: &Board, machine: &Machine) -> Standing {
    let (scene, alarms) = (app.scene(), app.alarms(board));
    let lane = board.lanes.iter().find(|lane| lane.machine == machine.id);
    let open = lane.iter().flat_map(|lane| &lane.open);
    let open: Vec<_> = open.map(|finding| FindingView::with_alarm(scene, finding, &alarms)).collect();
    let lane = lane
        .and_then(|lane| LaneView::new(scene, lane, &app.smears.now(), &alarms, Room::Row))
        .unwrap_or_else(|| LaneView::unseen(scene, machine, Room::Row));
    Standing { lane, open }
}

/// The parts of the page that live.
pub(crate) fn live_parts(app: &App, board: &Board, id: &MachineId) -> Result<Parts, Problem> {
    let machine = app.machine(id.as_str())?;
    let standing = standing(app, board, machine);
    let mut parts = Parts::default();
    parts.render(app, "troubles", "troubles", named("frame", app.frame("", "")))?;
    parts.render(app, "now", "now", &standing)?;
    parts.render(app, "test", "test_now", &standing)?;
    parts.render(app, "open", "open_findings", &standing)?;
    Ok(parts)
}

/// The curve as a drawing, a picture, or the values behind it: `/machines/{id}/curve.svg`, `.png`, `.json`.
pub(crate) async fn curve(
    State(app): State<Arc<App>>,
    Path((id, file)): Path<(String, String)>,
    params: Params,
) -> Result<Response, Problem> {
    params.only(&CURVE_PARAMETERS)?;
    let machine = app.machine(&id)?;
    let query = CurveQuery::read(&params, USUAL_SPAN)?;
    let board = app.state.board.borrow().clone();
    let lane = board.lanes.iter().find(|lane| lane.machine == machine.id);
    match file.as_str() {
        "curve.svg" => {
            svg_file(curve::draw(&app, wanted(&app, machine, lane, &query).await?, Place::Document).await?)
        }
        "curve.png" => {
            let drawing =
                curve::draw(&app, wanted(&app, machine, lane, &query).await?, Place::Document).await?;
            png_file(drawing).await
        }
        "curve.json" => {
            let batch = match params.text("batch") {
                Some(id) => Some(app.batch(id).await?),
                None => lane.and_then(|lane| lane.batch.clone()),
            };
            let (whole, reference) = match &batch {
                Some(batch) => (
                    Some(curve::span_of(batch, seen_to(&app, batch), app.now())),
                    app.reference_for(batch).await?,
                ),
                None => (None, Vec::new()),
            };
            let span = query.span.covers(whole, app.now());
            let values = curve_values(&app, &machine.id, &query, span, reference).await?;
            Ok(axum::Json(values).into_response())
        }
        _ => Err(Problem::not_found("no-such-page", "There is no such page here.")),
    }
}

/// A drawing as an answer.
pub(crate) fn svg_file(drawing: String) -> Result<Response, Problem> {
    let headers = [(header::CONTENT_TYPE, "image/svg+xml"), (header::CONTENT_SECURITY_POLICY, SVG_POLICY)];
    Ok((headers, drawing).into_response())
}

/// The drawing as a picture.
pub(crate) async fn png_file(drawing: String) -> Result<Response, Problem> {
    let picture = blocking(move || charts::png(&drawing, PICTURE_SCALE)).await?;
    let picture = picture.map_err(|cause| Problem::internal("no-picture", cause))?;
    Ok(([(header::CONTENT_TYPE, "image/png")], picture).into_response())
}

/// What the page says after an entry of that kind.
fn entered(kind: &str) -> Option<&'static str> {
    Some(match kind {
        "temper-test" => "The temper test has been entered.",
        "charge" => "The charge has been entered.",
        "seed" => "The seed has been entered.",
        "top-up" => "The top-up has been entered.",
        "reference" => "The hand thermometer's value has been entered.",
        "note" => "The note has been entered.",
        _ => return None,
    })
}
