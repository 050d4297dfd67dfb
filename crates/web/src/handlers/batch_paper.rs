//! The report of a batch on two sheets of paper, in its reader's degrees and on their clock, like the page.

use axum::response::Response;
use model::Batch;
use report::{BatchPaper, batch_source};

use crate::app::App;
use crate::curve::Place;
use crate::curve_query::{CurveQuery, CurveSpan};
use crate::handlers::batch::{Gathered, seen_to};
use crate::handlers::batch_forms::draw;
use crate::handlers::files::{Kind, file};
use crate::kept::Kept;
use crate::past::band_says;
use crate::photo::pixels_of;
use crate::problem::Problem;
use crate::query::Params;
use crate::view::{BatchView, EventRow, FindingView, KeptView, Scene, measure_as_read};

/// The picture that the source refers to.
const SHEET: &str = "curve.svg";
/// The cooling curve of a sample.
const SAMPLE: &str = "sample.svg";
/// A photo is decoded to be set, at some four bytes a pixel: this is more than a telephone's usual picture, and 100 MB.
const MOST_PIXELS: u64 = 25_000_000;

/// The report of `batch` as PDF.
pub(crate) async fn answer(app: &App, batch: Batch) -> Result<Response, Problem> {
    if app.paper.is_none() {
        return Err(App::no_pdf());
    }
    let query = CurveQuery::read(&Params::parse(""), CurveSpan::Batch)?;
    let sheet = draw(app, &batch, query, Place::Document).await?;
    let reference = band_says(&batch, app.band_of(&batch).await?.as_ref().as_ref());
    let gathered = Gathered::of(app, batch).await?;
    let mut paper = written(app, &gathered, reference);
    let mut files = vec![(SHEET.to_owned(), sheet.into_bytes())];
    add_newest_curve(app, &gathered, &mut paper, &mut files);
    let plain = (paper.clone(), files.clone());
    let has_photo = add_newest_photo(app, &gathered, &mut paper, &mut files).await?;
    let name = gathered.batch.id.as_str().replace(':', "");
    let set = match app.pdf(batch_source(&paper), files).await {
        // A photo that passed as one and cannot be decoded after all must not cost the report.
        Err(_) if has_photo => {
            let (mut paper, files) = plain;
            paper.tests_note = "The photo of the smear cannot be printed; it stands on the page.".to_owned();
            app.pdf(batch_source(&paper), files).await?
        }
        set => set?,
    };
    Ok(file(Kind::Pdf, &name, set))
}

/// The newest cooling curve of a sample: one strip has to do, so that two sheets do.
fn add_newest_curve(
    app: &App,
    gathered: &Gathered,
    paper: &mut BatchPaper,
    files: &mut Vec<(String, Vec<u8>)>,
) {
    let scene = app.scene();
    let Gathered { batch, events, kept, .. } = gathered;
    let rows = events.iter().rev().map(|event| EventRow::of_batch(scene, batch, event, &kept.photos));
    if let Some((drawing, says)) = rows.filter_map(|row| row.curve).next() {
        files.push((SAMPLE.to_owned(), drawing.into_bytes()));
        paper.tests.push((SAMPLE.to_owned(), format!("Cooling curve of a sample: {says}.")));
    }
}

/// The newest photo of a smear, if it is not too large to be set; `false` if none was added.
async fn add_newest_photo(
    app: &App,
    gathered: &Gathered,
    paper: &mut BatchPaper,
    files: &mut Vec<(String, Vec<u8>)>,
) -> Result<bool, Problem> {
    let Some(&at) = gathered.kept.photos.last() else { return Ok(false) };
    let machine = gathered.batch.machine.clone();
    let Some(photo) = app.ask_records(move |records| records.photo(&machine, at)).await? else {
        return Ok(false);
    };
    let when = app.scene().moment(at).says;
    if pixels_of(&photo.bytes).is_none_or(|pixels| MOST_PIXELS < pixels) {
        paper.tests_note =
            format!("The photo of the smear of {when} is too large to be printed; it stands on the page.");
        return Ok(false);
    }
    let name = if photo.media_type == "image/png" { "smear.png" } else { "smear.jpg" };
    files.push((name.to_owned(), photo.bytes));
    paper.tests.push((name.to_owned(), format!("Photo of the smear of {when}.")));
    paper.tests_note = format!("Photo: the smear of {when}.");
    Ok(true)
}

fn written(app: &App, gathered: &Gathered, reference: String) -> BatchPaper {
    let scene = app.scene();
    let Gathered { batch, findings, events, past, .. } = gathered;
    let head = BatchView::new(scene, batch, seen_to(app, batch));
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
        events: events.iter().map(|event| event_row(scene, batch, event)).collect(),
        tests: Vec::new(),
        tests_note: String::new(),
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
    let notices = view.notices.into_iter();
    told.extend(notices.map(|notice| format!("{}: {}", notice.title, notice.says.trim_end_matches('.'))));
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
    parts.extend(head.last_good.as_ref().map(|last| format!("no good reading since {}", last.says)));
    parts.join(", ")
}

fn finding_row(view: &FindingView) -> [String; 4] {
    let raised = format!("{}, {}", view.raised.says, view.lasted);
    [view.chip.word.to_owned(), view.title.to_owned(), raised, view.says.clone()]
}

/// With the grade of a test, and what a sample's curve says.
fn event_row(scene: Scene<'_>, batch: &Batch, event: &model::Event) -> [String; 3] {
    let row = EventRow::of_batch(scene, batch, event, &[]);
    let mut told = vec![row.says];
    told.extend(row.further);
    told.extend(row.grade.map(|grade| format!("grade {}, {}", grade.letter, grade.meaning)));
    told.extend(row.curve.map(|(_, says)| says));
    [row.at.says, told.join("; "), row.by.unwrap_or_default()]
}
