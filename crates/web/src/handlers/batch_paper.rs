//! The report of a batch on two sheets of paper, in its reader's degrees and on their clock, like the page.

use axum::response::Response;
use model::Batch;
use report::{BatchPaper, batch_source};

use crate::app::App;
use crate::curve::Place;
use crate::curve_query::{CurveQuery, CurveSpan};
use crate::handlers::batch::Gathered;
use crate::handlers::batch_forms::draw;
use crate::handlers::files::{Kind, file};
use crate::kept::Kept;
use crate::past::band_says;
use crate::problem::Problem;
use crate::query::Params;
use crate::view::{BatchView, EventRow, FindingView, KeptView, Scene, measure_as_read};

/// The picture that the source refers to.
const SHEET: &str = "curve.svg";

/// The report of `batch` as PDF.
pub(crate) async fn answer(app: &App, batch: Batch) -> Result<Response, Problem> {
    if app.paper.is_none() {
        return Err(App::no_pdf());
    }
    let query = CurveQuery::read(&Params::parse(""), CurveSpan::Batch)?;
    let sheet = draw(app, &batch, query, Place::Document).await?;
    let reference = band_says(&batch, app.band_of(&batch).await?.as_ref().as_ref());
    let gathered = Gathered::of(app, batch).await?;
    let source = batch_source(&written(app, &gathered, reference));
    let name = gathered.batch.id.as_str().replace(':', "");
    let set = app.pdf(source, vec![(SHEET.to_owned(), sheet.into_bytes())]).await?;
    Ok(file(Kind::Pdf, &name, set))
}

fn written(app: &App, gathered: &Gathered, reference: String) -> BatchPaper {
    let scene = app.scene();
    let Gathered { batch, findings, events, past, .. } = gathered;
    let head = BatchView::new(scene, batch);
    let title = format!("{}, {}", head.machine, head.start.says);
    let statement = gathered.statement(app);
    let usual = past.usual.as_ref().map(|usual| &usual.measures);
    let measures = report::measure_rows(&batch.measures, usual);
    BatchPaper {
        plant: app.state.plant.name.clone(),
        about: about(&head),
        standing: (head.standing.word.to_owned(), standing_says(scene, &head, &gathered.kept)),
        statement: statement.iter().map(|paragraph| scene.sentence(paragraph)).collect(),
        sheet: Some((SHEET.to_owned(), format!("Curve sheet of {title}."))),
        reference,
        findings: findings
            .iter()
            .filter(|finding| finding.superseded_by.is_none())
            .map(|finding| finding_row(&FindingView::new(scene, finding)))
            .collect(),
        measures: measures.into_iter().map(|row| measure_as_read(row, scene.degrees)).collect(),
        usual: past.says(),
        phases: head
            .phases
            .iter()
            .map(|row| {
                let doubt = row.doubt.map_or_else(String::new, |doubt| format!(" ({doubt})"));
                [format!("{}{doubt}", row.name), row.from.says.clone(), row.length.clone()]
            })
            .collect(),
        events: events.iter().map(|event| event_row(scene, event)).collect(),
        title,
    }
}

/// Why it stands so, what was decided, and what is in question.
fn standing_says(scene: Scene<'_>, head: &BatchView, kept: &Kept) -> String {
    let mut told = vec![head.reasons.join("; ")];
    let view = KeptView::new(scene, kept);
    told.extend(view.decision.map(|decision| {
        format!(
            "decision: {}, {} ({}, {})",
            decision.chip.word, decision.reason, decision.by, decision.at.says
        )
    }));
    told.extend(view.notices.into_iter().map(|notice| format!("{}: {}", notice.title, notice.says)));
    told.retain(|text| !text.is_empty());
    told.join("; ")
}

/// Couverture, lot, mass and method in a line.
fn about(head: &BatchView) -> String {
    let mut parts = vec![head.couverture.clone()];
    parts.extend(head.lot.as_ref().map(|lot| format!("lot {lot}")));
    parts.extend(head.mass.clone());
    parts.push(head.method.to_owned());
    parts.push(match &head.end {
        Some(_) => format!("lasted {}", head.lasted),
        None => format!("open for {}", head.lasted),
    });
    parts.join(", ")
}

fn finding_row(view: &FindingView) -> [String; 4] {
    let raised = format!("{}, {}", view.raised.says, view.lasted);
    [view.chip.word.to_owned(), view.title.to_owned(), raised, view.says.clone()]
}

fn event_row(scene: Scene<'_>, event: &model::Event) -> [String; 3] {
    let row = EventRow::new(scene, event);
    [row.at.says, row.says, row.by.unwrap_or_default()]
}
