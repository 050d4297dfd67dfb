//! A day: what was different, as a page and as files.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::response::{Html, IntoResponse, Redirect, Response};
use history::day::{Diagnosis, MachineDay, compared, diagnose};
use history::{HistoryError, gather};
use jiff::civil::Date;
use model::{MachineId, Phase, Span, Timestamp};
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
            let told = Told::of(&app, date, Drawn::Concerned).await?;
            page(&app, &told).map(|page| Html(page).into_response())
        }
        Some("svg" | "png") => {
            params.only(&["machine"])?;
            let machine = params.text("machine").map(|machine| app.machine(machine)).transpose()?;
            let drawn = machine.map_or(Drawn::Concerned, |machine| Drawn::Of(machine.id.clone()));
            let picture = picture_of(Told::of(&app, date, drawn).await?)?;
            let name = format!("{date}-{}", picture.name);
            if ending == Some("svg") {
                return Ok(file(Kind::Svg, &name, picture.svg.into_bytes()));
            }
            Ok(file(Kind::Png, &name, files::png_of(picture.svg).await?))
        }
        Some(ending @ ("json" | "csv" | "xlsx" | "pdf")) => {
            params.only(&[])?;
            let drawn = if ending == "pdf" { Drawn::Concerned } else { Drawn::Nothing };
            form(&app, &Told::of(&app, date, drawn).await?, ending).await
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
    overlays: Vec<Picture>,
}

/// Which courses are to be drawn.
enum Drawn {
    /// None.
    Nothing,
    /// Those worth a look: of the machines of the first cause, or of all of them.
    Concerned,
    /// Those of this machine.
    Of(MachineId),
}

impl Drawn {
    /// Draws them, which takes a while: bands are made of what is usual.
    fn overlays(&self, with: Overlays<'_>, days: &[MachineDay], found: &Diagnosis) -> Vec<Picture> {
        match self {
            Drawn::Nothing => Vec::new(),
            Drawn::Concerned => {
                let concerned = found.cases.first().filter(|_| found.is_unusual);
                with.of_day(days, concerned.map(|case| case.machines.as_slice()), &found.moved)
            }
            Drawn::Of(machine) => with.of_day(days, Some(std::slice::from_ref(machine)), &[]),
        }
    }
}

impl Told {
    async fn of(app: &App, date: Date, drawn: Drawn) -> Result<Told, Problem> {
        let zone = app.state.plant.time_zone.rules().clone();
        let midnight =
            |date: Date| date.to_zoned_datetime(zone.clone()).map(|at| Timestamp::from(at.timestamp()));
        let next = date.tomorrow().map_err(|_| no_such_day(&date.to_string()))?;
        let (Ok(from), Ok(to)) = (midnight(date), midnight(next)) else {
            return Err(no_such_day(&date.to_string()));
        };
        let days = app
            .gather(move |sources| {
                let courses = |batch: &model::Batch| sources.courses(batch);
                gather::day(&sources.records, &sources.plant, (from, to), sources.now, courses)
            })
            .await?;
        let (names, plant, rules) = (app.names(), app.state.plant.clone(), zone.clone());
        let (days, found, overlays) = blocking(move || {
            let found = diagnose(&days)?;
            let with = Overlays { plant: &plant, names: &names, zone: &rules };
            let overlays = drawn.overlays(with, &days, &found);
            Ok((days, found, overlays))
        })
        .await?
        .map_err(|cause: HistoryError| Problem::internal("no-diagnosis", cause))?;
        let words = day_words(&found, &app.names(), &zone);
        let title = date.strftime("%A %-d %B %Y").to_string();
        Ok(Told { date, to, days, found, words, title, overlays })
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
    further: String,
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
    let scene = app.plant_scene();
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
        further: words.further.join("; ").to_lowercase(),
        others: words.others.join("; ").to_lowercase(),
        moved: said(&words.moved),
        unexplained: said(&words.unexplained),
        overlays: told.overlays.clone(),
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

fn picture_of(told: Told) -> Result<Picture, Problem> {
    told.overlays.into_iter().next().ok_or_else(|| {
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
            let pictures = &told.overlays;
            let named: Vec<(String, String)> = pictures
                .iter()
                .map(|picture| (format!("{}.svg", picture.name), picture.says.clone()))
                .collect();
            let shown: Vec<(&str, &str)> =
                named.iter().map(|(name, says)| (name.as_str(), says.as_str())).collect();
            let rows: Vec<[String; 5]> = told.batches().map(|batch| batch_row(app, batch)).collect();
            let source = day_source(&told.title, &app.state.plant.name, &told.words, &shown, &rows);
            let files =
                pictures.iter().map(|p| (format!("{}.svg", p.name), p.svg.clone().into_bytes())).collect();
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
