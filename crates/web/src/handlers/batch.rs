//! The report of one batch as a page. Its other forms are in `batch_forms`.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::response::{Html, IntoResponse, Response};
use model::{Batch, Event, Finding, PhaseCorrection, Span, Timestamp};
use records::{Entry, EntryQuery, FindingQuery, Subject};
use report::{BatchReportDto, CorrectionsDto, Telling};
use serde::Serialize;

use crate::app::App;
use crate::curve::{self, Place};
use crate::curve_query::{CurveQuery, CurveSpan};
use crate::dashboards::part_file;
use crate::handlers::batch_forms::{self, Form};
use crate::handlers::files::FormLink;
use crate::handlers::machine::{CurvePart, curve_part_only, files};
use crate::judged::{self, couverture_of};
use crate::kept::Kept;
use crate::page_file::Shows;
use crate::past::{self, Past};
use crate::problem::Problem;
use crate::query::Params;
use crate::view::{
    BatchView, CorrectionsView, CurveParts, CurveView, EventRow, FindingView, HistoryView, KeptView,
    MeasureView, history_of,
};

pub(crate) async fn report(
    State(app): State<Arc<App>>,
    Path(id): Path<String>,
    params: Params,
) -> Result<Response, Problem> {
    let with_form = id.rsplit_once('.').and_then(|(id, ending)| Some((id, Form::named(ending)?)));
    match with_form {
        Some((id, form)) => batch_forms::answer(&app, id, form, &params).await,
        None => page(&app, &id, &params).await,
    }
}

/// A batch with everything that belongs to it.
pub(crate) struct Gathered {
    pub(crate) batch: Batch,
    pub(crate) findings: Vec<Finding>,
    pub(crate) events: Vec<Event>,
    pub(crate) past: Past,
    /// What people said of its phases, and the program's own.
    corrections: Vec<PhaseCorrection>,
    own: Batch,
    pub(crate) kept: Kept,
}

impl Gathered {
    pub(crate) async fn of(app: &App, batch: Batch) -> Result<Gathered, Problem> {
        let findings = findings_of(app, &batch).await?;
        // What was entered this very moment belongs to it, too.
        let to = batch.end.unwrap_or_else(|| app.now() + Span::from_millis(1));
        let during = curve::events_between(app, &batch.machine, batch.start, to).await?;
        let past = app.past_of(&batch).await?;
        let (own, corrections) = app.corrections_of(&batch).await?;
        let mut kept = Kept::of(app, &batch, &during).await?;
        let events = std::mem::take(&mut kept.before_start).into_iter().chain(during).collect();
        Ok(Gathered { batch, findings, events, past, corrections, own, kept })
    }

    /// The statement in words, a paragraph each.
    pub(crate) fn statement(&self, app: &App) -> Vec<String> {
        let Gathered { batch, findings, events, past, .. } = self;
        let head = BatchView::new(app.scene(), batch, seen_to(app, batch));
        report::statement(&Telling {
            batch,
            machine: &head.machine,
            couverture: &head.couverture,
            findings,
            events: Some(events),
            usual: past.usual.as_ref().map(|usual| &usual.measures),
            zone: app.state.plant.time_zone.rules(),
            seen_to: seen_to(app, batch),
        })
    }

    /// The document for programs.
    pub(crate) fn document(&self, app: &App) -> BatchReportDto {
        let mut document =
            BatchReportDto::new(&self.batch, self.statement(app), &self.findings, &self.events);
        let plant = &app.state.plant;
        let couverture = couverture_of(plant, &self.batch).map(|known| &known.id);
        for (event, dto) in self.events.iter().zip(&mut document.events) {
            judged::complete(plant, couverture, event, dto);
        }
        document.kept(self.kept.document()).corrected(CorrectionsDto::new(&self.own, &self.corrections))
    }
}

/// How far the machine's readings have been worked through.
pub(crate) fn seen_to(app: &App, batch: &Batch) -> Timestamp {
    let board = app.state.board.borrow();
    let lane = board.lanes.iter().find(|lane| lane.machine == batch.machine);
    lane.map_or_else(|| app.now(), |lane| lane.seen_to)
}

#[derive(Serialize)]
struct Report {
    view: ReportView,
}

#[derive(Serialize)]
struct ReportView {
    batch: BatchView,
    statement: Vec<String>,
    curve: CurveView,
    forms: Vec<FormLink>,
    findings: Vec<FindingView>,
    measures: Vec<MeasureView>,
    usual_says: String,
    events: Vec<EventRow>,
    corrections: Option<CorrectionsView>,
    history: HistoryView,
    kept: KeptView,
    /// What was wrong with a decision.
    fault: Option<String>,
}

async fn page(app: &App, id: &str, params: &Params) -> Result<Response, Problem> {
    params.only(&["span", "from", "to", "channels", "width", "part"])?;
    let query = CurveQuery::read(params, CurveSpan::Batch)?;
    let batch = app.batch(id).await?;
    if curve_part_only(params)? {
        let curve = curve_view(app, &batch, &query).await?;
        let part = app.dashboards.render(&part_file("curve"), CurvePart::of(app, curve))?;
        return Ok(Html(part).into_response());
    }
    render(app, batch, &query, None).await.map(IntoResponse::into_response)
}

/// The page again after a decision that could not be taken.
pub(crate) async fn page_with(
    app: &App,
    batch: Batch,
    fault: Option<String>,
) -> Result<Html<String>, Problem> {
    let query = CurveQuery::read(&Params::parse(""), CurveSpan::Batch)?;
    render(app, batch, &query, fault).await
}

async fn render(
    app: &App,
    batch: Batch,
    query: &CurveQuery,
    fault: Option<String>,
) -> Result<Html<String>, Problem> {
    let curve = curve_view(app, &batch, query).await?;
    let gathered = Gathered::of(app, batch).await?;
    let history = history(app, &gathered).await?;
    let statement = gathered.statement(app);
    let page = app.page("batch", Shows::Batch)?;
    let scene = app.scene();
    let Gathered { batch, findings, events, past, corrections, own, kept } = &gathered;
    let head = BatchView::new(scene, batch, seen_to(app, batch));
    let title = format!("{}, {}", head.machine, head.start.says);
    let usual = past.usual.as_ref().map(|usual| &usual.measures);
    let view = ReportView {
        statement: statement.iter().map(|paragraph| scene.sentence(paragraph)).collect(),
        findings: findings.iter().map(|finding| FindingView::new(scene, finding)).collect(),
        events: events.iter().map(|event| EventRow::of_batch(scene, batch, event, &kept.photos)).collect(),
        kept: KeptView::new(scene, kept),
        fault,
        measures: report::measure_rows(&batch.measures, usual)
            .iter()
            .map(|row| MeasureView::new(scene, row))
            .collect(),
        usual_says: past.says(),
        corrections: CorrectionsView::new(scene, own, corrections),
        history: HistoryView::new(scene, &history),
        curve,
        forms: Form::links(&head.href, app.paper.is_some()),
        batch: head,
    };
    let frame = app.frame("batch", "");
    app.render_page(&page, &frame, &title, Report { view }).map(Html)
}

async fn curve_view(app: &App, batch: &Batch, query: &CurveQuery) -> Result<CurveView, Problem> {
    let band = app.band_of(batch).await?;
    let board = app.state.board.borrow().clone();
    let lane = board
        .lanes
        .iter()
        .find(|lane| batch.end.is_none() && lane.batch.as_ref().is_some_and(|open| open.id == batch.id));
    let page = format!("/batches/{}", batch.id);
    Ok(CurveView::new(CurveParts {
        query,
        span: query.span.covers(Some(curve::span_of(batch, seen_to(app, batch), app.now())), app.now()),
        offered: &[CurveSpan::Batch],
        lane,
        drawing: batch_forms::draw(app, batch, query.clone(), Place::Page).await?,
        values_href: format!("/machines/{}/curve.json?batch={}&{}", batch.machine, batch.id, query.query()),
        caption: past::band_says(batch, band.as_ref().as_ref()),
        files: files(&page, query),
        page,
    }))
}

/// What people changed of the batch, and on its machine while it went on; from the charge on where that was told before.
async fn history(app: &App, gathered: &Gathered) -> Result<Vec<Entry>, Problem> {
    let batch = &gathered.batch;
    let from = gathered.events.first().map_or(batch.start, |first| first.at.min(batch.start));
    let subjects = vec![Subject::batch(&batch.id), Subject::machine(&batch.machine)];
    let of_machines = Some((from, batch.end.unwrap_or(Timestamp::from_millis(i64::MAX))));
    app.entries_of(EntryQuery { of_machines, ..history_of(subjects) }).await
}

/// Findings of the batch, the most urgent first, those that a worse one took over last.
pub(crate) async fn findings_of(app: &App, batch: &Batch) -> Result<Vec<Finding>, Problem> {
    let query = FindingQuery {
        batch: Some(batch.id.clone()),
        limit: super::api::MOST_LISTED,
        ..FindingQuery::default()
    };
    let mut findings = app.findings(query).await?;
    findings.sort_by_key(|finding| {
        (finding.superseded_by.is_some(), std::cmp::Reverse(finding.priority), finding.raised_at)
    });
    Ok(findings)
}
