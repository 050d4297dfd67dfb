//! The report of one batch: as a page, as a drawing, as readings, and as a document for programs.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{Html, IntoResponse, Response};
use model::{Batch, Event, Finding, Span, Timestamp};
use records::FindingQuery;
use report::{BatchReportDto, Telling};
use serde::Serialize;

use crate::app::App;
use crate::curve::{self, Wanted};
use crate::handlers::machine::svg_headers;
use crate::page_file::Shows;
use crate::past::{self, Past};
use crate::problem::Problem;
use crate::query::Params;
use crate::view::{BatchView, EventRow, FindingView, MeasureView};
use crate::words;

/// Two days of seven channels at one reading a second are some 20 MB of text, and are made in memory.
const LONGEST_EXPORT: Span = Span::from_hours(48);

pub(crate) async fn report(
    State(app): State<Arc<App>>,
    Path(id): Path<String>,
    params: Params,
) -> Result<Response, Problem> {
    match id.rsplit_once('.') {
        Some((id, "svg")) => svg(&app, id, &params).await,
        Some((id, "json")) => json(&app, id, &params).await,
        Some((id, "csv")) => csv(&app, id, &params).await,
        Some(_) | None => page(&app, &id, &params).await,
    }
}

/// A batch with everything that belongs to it.
pub(crate) struct Gathered {
    batch: Batch,
    findings: Vec<Finding>,
    events: Vec<Event>,
    past: Past,
}

impl Gathered {
    pub(crate) async fn of(app: &App, batch: Batch) -> Result<Gathered, Problem> {
        let findings = findings_of(app, &batch).await?;
        let to = batch.end.unwrap_or_else(|| app.now());
        let events = curve::events_between(app, &batch.machine, batch.start, to).await?;
        let past = app.past_of(&batch).await?;
        Ok(Gathered { batch, findings, events, past })
    }

    /// The statement in words, a paragraph each.
    fn statement(&self, app: &App) -> Vec<String> {
        let Gathered { batch, findings, events, past } = self;
        let head = BatchView::new(app.scene(), batch);
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
        BatchReportDto::new(&self.batch, self.statement(app), &self.findings, &self.events)
    }
}

/// How far the machine's readings have been worked through.
fn seen_to(app: &App, batch: &Batch) -> Timestamp {
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
    sheet_says: String,
    reference_says: String,
    findings: Vec<FindingView>,
    measures: Vec<MeasureView>,
    usual_says: String,
    events: Vec<EventRow>,
}

async fn page(app: &App, id: &str, params: &Params) -> Result<Response, Problem> {
    params.only(&[])?;
    let gathered = Gathered::of(app, app.batch(id).await?).await?;
    let statement = gathered.statement(app);
    let page = app.page("batch", Shows::Batch)?;
    let scene = app.scene();
    let band = app.band_of(&gathered.batch).await?;
    let Gathered { batch, findings, events, past } = &gathered;
    let head = BatchView::new(scene, batch);
    let title = format!("{}, {}", head.machine, head.start.says);
    let usual = past.usual.as_ref().map(|usual| &usual.measures);
    let view = ReportView {
        statement: statement.iter().map(|paragraph| words::tied(paragraph)).collect(),
        findings: findings.iter().map(|finding| FindingView::new(scene, finding)).collect(),
        events: events.iter().map(|event| EventRow::new(scene, event)).collect(),
        measures: report::measure_rows(&batch.measures, usual).iter().map(MeasureView::from).collect(),
        usual_says: past.says(),
        sheet_says: format!("Curve of {title}. Phases, findings and measures stand below in words."),
        reference_says: past::band_says(batch, band.as_ref().as_ref()),
        batch: head,
    };
    let frame = app.frame("batch", "");
    app.render_page(page, &frame, &title, Report { view }).map(|page| Html(page).into_response())
}

async fn svg(app: &App, id: &str, params: &Params) -> Result<Response, Problem> {
    params.only(&["width"])?;
    let width = curve::width(params)?;
    let batch = app.batch(id).await?;
    let (from, to) = curve::span_of(&batch, app.now());
    let scene = app.scene();
    let head = BatchView::new(scene, &batch);
    let wanted = Wanted {
        title: format!("{}, {}", head.machine, head.start.says),
        machine: batch.machine.clone(),
        couverture: batch.couverture.clone(),
        from,
        to,
        width,
        reference: app.reference_for(&batch).await?,
    };
    let drawing = curve::draw(app, wanted).await?;
    Ok((svg_headers(), drawing).into_response())
}

async fn json(app: &App, id: &str, params: &Params) -> Result<Response, Problem> {
    params.only(&[])?;
    let gathered = Gathered::of(app, app.batch(id).await?).await?;
    Ok(axum::Json(gathered.document(app)).into_response())
}

async fn csv(app: &App, id: &str, params: &Params) -> Result<Response, Problem> {
    params.only(&[])?;
    let batch = app.batch(id).await?;
    let to = batch.end.unwrap_or_else(|| app.now());
    if to.since(batch.start) > LONGEST_EXPORT {
        let sentence = "This batch is too long for one answer; export its readings with `halfdegree export`.";
        return Err(Problem::refused("too-many-readings", sentence));
    }
    let text = app.export_csv(&batch.machine, batch.start, to).await?;
    let disposition = format!("attachment; filename=\"{}.csv\"", batch.id.as_str().replace(':', ""));
    let headers = [
        (header::CONTENT_TYPE, "text/csv; charset=utf-8".to_owned()),
        (header::CONTENT_DISPOSITION, disposition),
    ];
    Ok((headers, text).into_response())
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
