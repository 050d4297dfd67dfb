//! The page of one machine: how it stands, its curve, what is open, entries, earlier batches.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::{HeaderName, header};
use axum::response::Html;
use model::{Board, Lane, MachineId, Span, Timestamp};
use plant::Machine;

use records::BatchQuery;
use serde::Serialize;

use crate::app::App;
use crate::curve::{self, Wanted};
use crate::handlers::baselines::BaselineView;
use crate::page_file::Shows;
use crate::problem::Problem;
use crate::query::{Params, wrong};
use crate::rendered::{Parts, named};
use crate::state::Entries;
use crate::view::{BatchRow, FindingView, LaneView};

/// Two weeks of two batches a day.
const LISTED_BATCHES: usize = 28;

/// An SVG document may style itself; nothing else.
pub(crate) const SVG_POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'";

/// How much of the curve is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum CurveSpan {
    #[default]
    ThreeHours,
    TwelveHours,
    Day,
    Batch,
}

impl CurveSpan {
    const ALL: [CurveSpan; 4] =
        [CurveSpan::ThreeHours, CurveSpan::TwelveHours, CurveSpan::Day, CurveSpan::Batch];

    fn key(self) -> &'static str {
        match self {
            CurveSpan::ThreeHours => "3h",
            CurveSpan::TwelveHours => "12h",
            CurveSpan::Day => "24h",
            CurveSpan::Batch => "batch",
        }
    }

    fn word(self) -> &'static str {
        match self {
            CurveSpan::ThreeHours => "3 h",
            CurveSpan::TwelveHours => "12 h",
            CurveSpan::Day => "24 h",
            CurveSpan::Batch => "This batch",
        }
    }

    fn read(params: &Params) -> Result<CurveSpan, Problem> {
        let Some(text) = params.text("span") else { return Ok(CurveSpan::default()) };
        let known = CurveSpan::ALL.into_iter().find(|span| span.key() == text);
        known.ok_or_else(|| wrong("span", text, "3h, 12h, 24h or batch"))
    }

    /// The time that it covers.
    fn covers(self, lane: Option<&Lane>, now: Timestamp) -> (Timestamp, Timestamp) {
        let back = |hours| (now - Span::from_hours(hours), now);
        match self {
            CurveSpan::ThreeHours => back(3),
            CurveSpan::TwelveHours => back(12),
            CurveSpan::Day => back(24),
            CurveSpan::Batch => lane
                .and_then(|lane| lane.batch.as_ref())
                .map_or_else(|| back(12), |batch| curve::span_of(batch, now)),
        }
    }
}

/// What the page says after an entry.
#[derive(Debug, Clone, Default, Serialize)]
pub(crate) struct Said {
    pub message: Option<&'static str>,
    pub fault: Option<String>,
}

#[derive(Serialize)]
struct MachinePage {
    view: MachineView,
    #[serde(flatten)]
    standing: Standing,
}

#[derive(Serialize)]
struct MachineView {
    spans: [SpanChoice; 4],
    curve_href: String,
    curve_says: String,
    entries_open: bool,
    entries_href: String,
    #[serde(flatten)]
    said: Said,
    batches: Vec<BatchRow>,
    baselines: Vec<BaselineView>,
    baselines_href: String,
}

/// How the machine stands: its lane and its open findings.
#[derive(Serialize)]
struct Standing {
    lane: LaneView,
    open: Vec<FindingView>,
}

#[derive(Serialize)]
struct SpanChoice {
    key: &'static str,
    word: &'static str,
    chosen: bool,
}

pub(crate) async fn page(
    State(app): State<Arc<App>>,
    Path(id): Path<String>,
    params: Params,
) -> Result<Html<String>, Problem> {
    params.only(&["span", "entered"])?;
    let message = params.text("entered").and_then(entered);
    show(&app, &id, CurveSpan::read(&params)?, Said { message, fault: None }).await
}

/// The page of the machine `id`.
pub(crate) async fn show(app: &App, id: &str, span: CurveSpan, said: Said) -> Result<Html<String>, Problem> {
    let machine = app.machine(id)?;
    let page = app.page("machine", Shows::Machine)?;
    let board = app.state.board.borrow().clone();
    let query =
        BatchQuery { machine: Some(machine.id.clone()), limit: LISTED_BATCHES, ..BatchQuery::default() };
    let batches: Vec<_> =
        app.batches(query).await?.iter().map(|batch| BatchRow::new(app.scene(), batch)).collect();
    let spans =
        CurveSpan::ALL.map(|one| SpanChoice { key: one.key(), word: one.word(), chosen: one == span });
    let view = MachineView {
        spans,
        curve_href: format!("/machines/{}/curve.svg?span={}", machine.id, span.key()),
        curve_says: format!(
            "Curve of {}, {}. The panel above tells where it stands now.",
            machine.name,
            span.word()
        ),
        entries_open: app.entries == Entries::OpenOnLoopback,
        entries_href: format!("/machines/{}/entries", machine.id),
        said,
        batches,
        baselines: BaselineView::all(app.scene(), &board.baselines, &machine.id),
        baselines_href: format!("/machines/{}/baselines", machine.id),
    };
    let frame = app.frame("machine", &format!("/api/v1/live?machine={}", machine.id));
    let standing = standing(app, &board, machine);
    app.render_page(page, &frame, &machine.name, MachinePage { view, standing }).map(Html)
}

fn standing(app: &App, board: &Board, machine: &Machine) -> Standing {
    let scene = app.scene();
    let lane = board.lanes.iter().find(|lane| lane.machine == machine.id);
    let open: Vec<_> =
        lane.iter().flat_map(|lane| &lane.open).map(|finding| FindingView::new(scene, finding)).collect();
    let lane =
        lane.and_then(|lane| LaneView::new(scene, lane)).unwrap_or_else(|| LaneView::unseen(scene, machine));
    Standing { lane, open }
}

/// The parts of the page that live.
pub(crate) fn live_parts(app: &App, board: &Board, id: &MachineId) -> Result<Parts, Problem> {
    let machine = app.machine(id.as_str())?;
    let standing = standing(app, board, machine);
    let mut parts = Parts::default();
    parts.render(app, "troubles", "troubles", named("frame", app.frame("", "")))?;
    parts.render(app, "now", "now", &standing)?;
    parts.render(app, "open", "open_findings", &standing)?;
    Ok(parts)
}

pub(crate) async fn curve(
    State(app): State<Arc<App>>,
    Path(id): Path<String>,
    params: Params,
) -> Result<([(HeaderName, &'static str); 2], String), Problem> {
    params.only(&["span", "width", "at"])?;
    let machine = app.machine(&id)?;
    let board = app.state.board.borrow().clone();
    let lane = board.lanes.iter().find(|lane| lane.machine == machine.id);
    let (from, to) = CurveSpan::read(&params)?.covers(lane, app.now());
    let batch = lane.and_then(|lane| lane.batch.as_ref());
    let reference = match batch {
        Some(batch) => app.reference_for(batch).await?,
        None => Vec::new(),
    };
    let wanted = Wanted {
        title: machine.name.clone(),
        machine: machine.id.clone(),
        couverture: batch.map_or(&machine.couverture, |batch| &batch.couverture).clone(),
        from,
        to,
        width: curve::width(&params)?,
        reference,
    };
    Ok((svg_headers(), curve::draw(&app, wanted).await?))
}

pub(crate) fn svg_headers() -> [(HeaderName, &'static str); 2] {
    [(header::CONTENT_TYPE, "image/svg+xml"), (header::CONTENT_SECURITY_POLICY, SVG_POLICY)]
}

/// What the page says after an entry of that kind.
fn entered(kind: &str) -> Option<&'static str> {
    Some(match kind {
        "temper-test" => "The temper test has been entered.",
        "seed" => "The seed has been entered.",
        "top-up" => "The top-up has been entered.",
        "reference" => "The hand thermometer's value has been entered.",
        "note" => "The note has been entered.",
        _ => return None,
    })
}
