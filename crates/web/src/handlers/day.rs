//! A day: what was different, as a page and as files.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::response::{Html, IntoResponse, Redirect, Response};
use history::day::{Diagnosis, MachineDay, compared, diagnose};
use history::gather;
use jiff::civil::Date;
use model::{Phase, Span, Timestamp};
use report::{DayDto, DayWords, FigureRow, day_source, day_words, figure_rows, figures_xlsx};
use serde::Serialize;

use crate::app::App;
use crate::archive::blocking;
use crate::handlers::files::{self, FormLink, Kind, file, form_links};
use crate::page_file::Shows;
use crate::problem::Problem;
use crate::query::Params;
use crate::view::{BatchRow, Overlays, Picture};

/// Today.
pub(crate) async fn today(State(app): State<Arc<App>>) -> Redirect {
    let zone = app.state.plant.time_zone.rules();
    Redirect::to(&format!("/days/{}", zone.to_datetime(app.now().to_jiff()).date()))
}

/// `/days/2026-11-25` and its forms.
pub(crate) async fn day(
    State(app): State<Arc<App>>,
    Path(named): Path<String>,
    params: Params,
) -> Result<Response, Problem> {
    let (date, ending) = match named.rsplit_once('.') {
        Some((date, ending)) => (date, Some(ending)),
        None => (named.as_str(), None),
    };
    let date = date_of(date)?;
    match ending {
        None => {
            params.only(&[])?;
            page(&app, &Told::of(&app, date).await?).map(|page| Html(page).into_response())
        }
        Some("svg" | "png") => {
            params.only(&["machine"])?;
            let told = Told::of(&app, date).await?;
            let picture = picture_of(&app, &told, params.text("machine"))?;
            let name = format!("{date}-{}", picture.name);
            if ending == Some("svg") {
                return Ok(file(Kind::Svg, &name, picture.svg.into_bytes()));
            }
            Ok(file(Kind::Png, &name, files::png_of(picture.svg).await?))
        }
        Some(ending @ ("json" | "csv" | "xlsx" | "pdf")) => {
            params.only(&[])?;
            form(&app, &Told::of(&app, date).await?, ending).await
        }
        Some(_) => Err(no_such_day(&named)),
    }
}

fn date_of(text: &str) -> Result<Date, Problem> {
    let is_plain = text.len() == 10 && text.bytes().all(|byte| byte.is_ascii_digit() || byte == b'-');
    text.parse::<Date>().ok().filter(|_| is_plain).ok_or_else(|| no_such_day(text))
}

fn no_such_day(text: &str) -> Problem {
    let shown: String = text.chars().take(40).collect();
    Problem::not_found("no-such-day", format!("`{shown}` is not a day such as 2026-11-25."))
}

/// A day that has been looked at.
struct Told {
    date: Date,
    to: Timestamp,
    days: Vec<MachineDay>,
    found: Diagnosis,
    words: DayWords,
    title: String,
}

impl Told {
    async fn of(app: &App, date: Date) -> Result<Told, Problem> {
        let zone = app.state.plant.time_zone.rules().clone();
        let midnight =
            |date: Date| date.to_zoned_datetime(zone.clone()).map(|at| Timestamp::from(at.timestamp()));
        let next = date.tomorrow().map_err(|_| no_such_day(&date.to_string()))?;
        let (Ok(from), Ok(to)) = (midnight(date), midnight(next)) else {
            return Err(no_such_day(&date.to_string()));
        };
        let days = app
            .gather(move |sources| {
                let courses = |batch: &model::Batch| sources.courses.of(&sources.store, batch, sources.now);
                gather::day(&sources.records, &sources.plant, (from, to), sources.now, courses)
            })
            .await?;
        let (days, found) = blocking(move || {
            let found = diagnose(&days);
            (days, found)
        })
        .await?;
        let found = found.map_err(|cause| Problem::internal("no-diagnosis", cause))?;
        let words = day_words(&found, &app.names(), &zone);
        let title = date.strftime("%A %-d %B %Y").to_string();
        Ok(Told { date, to, days, found, words, title })
    }

    /// Machines whose courses are worth a look: those of the first cause, or all of them.
    fn overlays(&self, app: &App) -> Vec<Picture> {
        let concerned = self.found.cases.first().filter(|_| self.found.is_unusual).map(|case| &case.machines);
        Overlays { plant: &app.state.plant, names: &app.names(), zone: app.state.plant.time_zone.rules() }
            .of_day(&self.days, concerned.map(Vec::as_slice), &self.found.moved)
    }

    fn batches(&self) -> impl Iterator<Item = &model::Batch> {
        self.days.iter().flat_map(|day| &day.today).map(|record| &record.batch)
    }
}

#[derive(Serialize)]
struct Day {
    view: DayView,
}

#[derive(Serialize)]
struct DayView {
    title: String,
    href: String,
    before: String,
    after: Option<String>,
    week: String,
    is_unusual: bool,
    headline: String,
    lead: Vec<String>,
    causes: Vec<CauseView>,
    others: String,
    moved: Vec<String>,
    unexplained: Vec<String>,
    overlays: Vec<Picture>,
    batches: Vec<DayBatch>,
    figures: Vec<FigureRow>,
    basis: String,
    forms: Vec<FormLink>,
}

#[derive(Serialize)]
struct CauseView {
    title: &'static str,
    likelihood: &'static str,
    place: String,
    supports: Vec<String>,
    opposes: Vec<String>,
    missing: Vec<&'static str>,
    check: &'static str,
    caution: Option<&'static str>,
}

#[derive(Serialize)]
struct DayBatch {
    machine: String,
    row: BatchRow,
}

fn page(app: &App, told: &Told) -> Result<String, Problem> {
    let page = app.page("day", Shows::Day)?;
    let scene = app.scene();
    let words = &told.words;
    let said =
        |sentences: &[String]| -> Vec<String> { sentences.iter().map(|says| scene.sentence(says)).collect() };
    let href = format!("/days/{}", told.date);
    let beside =
        |date: Result<Date, jiff::Error>| date.map_or_else(|_| href.clone(), |date| format!("/days/{date}"));
    let names = app.names();
    let view = DayView {
        title: told.title.clone(),
        before: beside(told.date.yesterday()),
        after: (told.to <= app.now()).then(|| beside(told.date.tomorrow())),
        week: format!("/weeks/{}", history::week::IsoWeek::holding(told.date)),
        is_unusual: told.found.is_unusual,
        headline: words.headline.clone(),
        lead: said(&words.lead),
        causes: words
            .causes
            .iter()
            .map(|cause| CauseView {
                title: cause.title,
                likelihood: cause.likelihood,
                place: cause.place.clone(),
                supports: said(&cause.supports),
                opposes: said(&cause.opposes),
                missing: cause.missing.clone(),
                check: cause.check,
                caution: cause.caution,
            })
            .collect(),
        others: words.others.join("; ").to_lowercase(),
        moved: said(&words.moved),
        unexplained: said(&words.unexplained),
        overlays: told.overlays(app),
        batches: told
            .batches()
            .map(|batch| DayBatch {
                machine: names.machine(&batch.machine).to_owned(),
                row: BatchRow::new(scene, batch),
            })
            .collect(),
        figures: figure_rows(&compared(&told.days), &names),
        basis: words.basis.clone(),
        forms: form_links(&href, &FORMS, app.paper.is_some()),
        href,
    };
    let frame = app.frame("day", "");
    app.render_page(&page, &frame, &told.title, Day { view })
}

/// Forms of a day.
const FORMS: [(&str, &str); 6] = [
    ("pdf", "Report, for paper"),
    ("svg", "Courses, drawing"),
    ("png", "Courses, picture"),
    ("xlsx", "Figures, workbook"),
    ("csv", "Figures, table"),
    ("json", "Everything, for programs"),
];

/// The overlay of a machine, the first concerned one if none is named.
fn picture_of(app: &App, told: &Told, machine: Option<&str>) -> Result<Picture, Problem> {
    let wanted = machine.map(|machine| app.machine(machine)).transpose()?.map(|machine| machine.id.clone());
    let mut pictures = told.overlays(app);
    if let Some(wanted) = &wanted {
        let only = std::slice::from_ref(wanted);
        pictures = Overlays {
            plant: &app.state.plant,
            names: &app.names(),
            zone: app.state.plant.time_zone.rules(),
        }
        .of_day(&told.days, Some(only), &[]);
    }
    pictures.into_iter().next().ok_or_else(|| {
        Problem::not_found("no-courses", "There is no batch on this day whose course could be drawn.")
    })
}

async fn form(app: &App, told: &Told, ending: &str) -> Result<Response, Problem> {
    let names = app.names();
    let zone = app.state.plant.time_zone.rules();
    let name = format!("day-{}", told.date);
    match ending {
        "json" => {
            let batches = told.batches().map(|batch| batch.id.to_string()).collect();
            let document = DayDto::new(&told.date.to_string(), &told.found, &told.words, batches);
            Ok(axum::Json(document).into_response())
        }
        "csv" => {
            let heads =
                ["machine", "batch", "figure", "value", "usual", "batches", "spreads_apart", "stands_out"];
            let rows = figure_rows(&compared(&told.days), &names).into_iter().map(|row| {
                let FigureRow { machine, batch, figure, value, usual, batches, spreads, stands_out } = row;
                vec![
                    machine,
                    batch,
                    figure,
                    value,
                    usual,
                    batches.to_string(),
                    spreads,
                    stands_out.to_owned(),
                ]
            });
            Ok(file(Kind::Csv, &name, files::csv(&heads, rows)))
        }
        "xlsx" => {
            let about = (told.words.headline.as_str(), told.words.lead.as_slice());
            let plant = &app.state.plant.name;
            let book =
                figures_xlsx(&told.title, plant, about, &compared(&told.days), &names, (zone, told.to))
                    .map_err(|cause| Problem::internal("no-workbook", cause))?;
            Ok(file(Kind::Xlsx, &name, book))
        }
        _ => {
            let pictures = told.overlays(app);
            let named: Vec<(String, String)> = pictures
                .iter()
                .map(|picture| (format!("{}.svg", picture.name), picture.says.clone()))
                .collect();
            let shown: Vec<(&str, &str)> =
                named.iter().map(|(name, says)| (name.as_str(), says.as_str())).collect();
            let rows: Vec<[String; 5]> = told.batches().map(|batch| batch_row(app, batch)).collect();
            let source = day_source(&told.title, &app.state.plant.name, &told.words, &shown, &rows);
            let files =
                pictures.into_iter().map(|p| (format!("{}.svg", p.name), p.svg.into_bytes())).collect();
            Ok(file(Kind::Pdf, &name, app.pdf(source, files).await?))
        }
    }
}

fn batch_row(app: &App, batch: &model::Batch) -> [String; 5] {
    let names = app.names();
    let zone = app.state.plant.time_zone.rules();
    let at = |at: Timestamp| zone.to_datetime(at.to_jiff()).strftime("%a %-d %b %H:%M").to_string();
    let cooling = batch.measures.cooling_minutes.map(Span::from_mins_f64).map(crate::words::length);
    [
        names.machine(&batch.machine).to_owned(),
        names.couverture(&batch.couverture).to_owned(),
        batch.first(Phase::Cooling).map_or_else(|| "–".to_owned(), |span| at(span.from)),
        cooling.unwrap_or_else(|| "–".to_owned()),
        crate::words::standing(batch.standing).to_owned(),
    ]
}
