//! A week: the review, as a page and as files. A signed week answers with the document that was signed.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{Html, IntoResponse, Redirect, Response};
use history::gather;
use history::week::{Charted, IsoWeek, Review, review};
use records::{Entry, SignOff, Subject};
use report::{Gallery, ReviewDto, ReviewSheet, Reviewed, review_sheet, review_source, review_xlsx};
use serde::Serialize;

use crate::app::App;
use crate::archive::blocking;
use crate::handlers::files::{self, FormLink, Kind, file, form_links};
use crate::page_file::Shows;
use crate::problem::Problem;
use crate::query::Params;
use crate::view::{HistoryView, SectionView, history_of};

/// This week.
pub(crate) async fn this_week(State(app): State<Arc<App>>) -> Redirect {
    Redirect::to(&format!("/weeks/{}", IsoWeek::of(app.now(), app.state.plant.time_zone.rules())))
}

/// `/weeks/2026-W48` and its forms.
pub(crate) async fn week(
    State(app): State<Arc<App>>,
    Path(named): Path<String>,
    params: Params,
) -> Result<Response, Problem> {
    let (week, ending) = match named.rsplit_once('.') {
        Some((week, ending)) => (week, Some(ending)),
        None => (named.as_str(), None),
    };
    let week = week_of(week)?;
    match ending {
        None => {
            params.only(&["entered"])?;
            let said = Said { entered: params.text("entered").is_some(), fault: None };
            page(&app, &Told::of(&app, week, Drawn::Galleries).await?, said)
                .map(|page| Html(page).into_response())
        }
        Some("json") => {
            params.only(&[])?;
            let document = match signed(&app, week).await? {
                Some(signed) => signed.document,
                None => Told::of(&app, week, Drawn::Nothing).await?.document(),
            };
            Ok(([(header::CONTENT_TYPE, "application/json")], document).into_response())
        }
        Some(ending @ ("csv" | "xlsx" | "pdf")) => {
            params.only(&[])?;
            let drawn = if ending == "pdf" { Drawn::Galleries } else { Drawn::Nothing };
            form(&app, Told::of(&app, week, drawn).await?, ending).await
        }
        Some(_) => Err(no_such_week(&named)),
    }
}

pub(crate) fn week_of(text: &str) -> Result<IsoWeek, Problem> {
    text.parse().map_err(|_| no_such_week(text))
}

fn no_such_week(text: &str) -> Problem {
    let shown: String = text.chars().take(40).collect();
    Problem::not_found("no-such-week", format!("`{shown}` is not a week such as 2026-W48."))
}

/// A week that has been reviewed.
pub(crate) struct Told {
    week: IsoWeek,
    review: Review,
    sheet: ReviewSheet,
    signed: Option<SignOff>,
    history: Vec<Entry>,
}

/// Are the courses of the week to be drawn? That reads every batch of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Drawn {
    /// No.
    Nothing,
    /// All of them.
    Galleries,
}

/// What the page says about an entry that was just made.
#[derive(Debug, Default)]
pub(crate) struct Said {
    /// It has been entered.
    pub(crate) entered: bool,
    /// It has not, and why.
    pub(crate) fault: Option<String>,
}

async fn signed(app: &App, week: IsoWeek) -> Result<Option<SignOff>, Problem> {
    app.ask_records(move |records| records.sign_off_of(&week.to_string())).await
}

impl Told {
    pub(crate) async fn of(app: &App, week: IsoWeek, drawn: Drawn) -> Result<Told, Problem> {
        let (names, plant) = (app.names(), app.state.plant.clone());
        let (review, signed, history, galleries) = app
            .gather(move |sources| {
                let mut data = gather::week(&sources.records, &sources.plant, week, sources.now)?;
                let (from, to) = week.span(&sources.plant);
                data.rooms =
                    gather::rooms(&sources.store, &sources.plant, (from, to.min(sources.now).max(from)))?;
                let zone = sources.plant.time_zone.rules();
                let sets = match drawn {
                    Drawn::Nothing => Vec::new(),
                    Drawn::Galleries => gather::galleries(&data, |batch| sources.gallery_course(batch))?,
                };
                let galleries: Vec<Gallery> = sets
                    .iter()
                    .map(|set| {
                        let machine = sources.plant.machine(&set.machine);
                        let working =
                            machine.map(|machine| sources.plant.limits(machine, &set.couverture).working);
                        Gallery::of(set, working, zone)
                    })
                    .collect();
                let signed = sources.records.sign_off_of(&week.to_string())?;
                let subject = Subject::week(&week.to_string());
                let history = sources.records.audit(&history_of(vec![subject]))?;
                if let Some(signed) = &signed {
                    data.actions.retain(|action| action.opened <= signed.at);
                }
                Ok((review(data)?, signed, history, galleries))
            })
            .await?;
        let says = signed.as_ref().map(|signed| signed_says(app, signed));
        let told = move || {
            let sheet = review_sheet(&Reviewed {
                review: &review,
                names: &names,
                zone: plant.time_zone.rules(),
                plant: &plant.name,
                galleries: &galleries,
                signed: says.as_deref(),
            });
            Told { week, review, sheet, signed, history }
        };
        blocking(told).await
    }

    /// The document as it would be signed now; a signature is no part of it.
    pub(crate) fn document(&self) -> String {
        let document = ReviewDto::new(&self.review, &self.sheet);
        serde_json::to_string(&document).expect("words, numbers and times can be written as JSON")
    }

    pub(crate) fn is_over(&self) -> bool {
        self.review.is_over
    }

    pub(crate) fn is_signed(&self) -> bool {
        self.signed.is_some()
    }

    /// What is the matter with the signed document, if anything. Words are not compared: they may be worded better.
    fn signed_but(&self) -> Option<&'static str> {
        let signed = self.signed.as_ref()?;
        if !signed.is_intact() {
            return Some(
                "The signed document no longer has the digest that it was signed with: it has been changed in the file.",
            );
        }
        let document: serde_json::Value = serde_json::from_str(&signed.document).ok()?;
        let rests_on = document.get("rests_on")?.as_str()?;
        (rests_on != self.review.rests_on).then_some(
            "Records of this week have changed since it was signed; the signed document is kept as it was (JSON below).",
        )
    }
}

fn signed_says(app: &App, signed: &SignOff) -> String {
    let at = app.state.plant.time_zone.rules().to_datetime(signed.at.to_jiff()).strftime("%-d %B %Y %H:%M");
    format!("Signed by {} ({}) on {at}, SHA-256 {}", signed.by, signed.role, &signed.sha256)
}

#[derive(Serialize)]
struct Week {
    view: WeekView,
}

#[derive(Serialize)]
struct WeekView {
    title: String,
    span: String,
    href: String,
    before: String,
    after: Option<String>,
    headline: String,
    lead: Vec<String>,
    sections: Vec<SectionView>,
    signed: Option<String>,
    /// What is the matter with the signed document, if anything.
    signed_but: Option<&'static str>,
    can_sign: bool,
    history: HistoryView,
    entered: bool,
    fault: Option<String>,
    machines: Vec<(String, String)>,
    figures: Vec<(&'static str, &'static str)>,
    open_actions: Vec<(String, String)>,
    forms: Vec<FormLink>,
}

/// The page, with what was wrong with an entry, if something was.
pub(crate) fn page(app: &App, told: &Told, said: Said) -> Result<String, Problem> {
    let page = app.page("week", Shows::Week)?;
    let scene = app.plant_scene();
    let sheet = &told.sheet;
    let href = format!("/weeks/{}", told.week);
    let open = told.review.actions.iter().filter(|row| row.action.done.is_none() && !row.is_done_since);
    let view = WeekView {
        title: sheet.title.clone(),
        span: sheet.span.clone(),
        before: format!("/weeks/{}", told.week.later_by(-1)),
        after: told.review.is_over.then(|| format!("/weeks/{}", told.week.later_by(1))),
        headline: sheet.headline.clone(),
        lead: sheet.lead.iter().map(|says| scene.sentence(says)).collect(),
        sections: sheet.sections.iter().map(|section| SectionView::new(scene, section)).collect(),
        signed: sheet.signed.clone(),
        signed_but: told.signed_but(),
        can_sign: told.review.is_over && told.signed.is_none(),
        history: HistoryView::new(scene, &told.history),
        entered: said.entered,
        fault: said.fault,
        machines: app.state.plant.machines.iter().map(|m| (m.id.to_string(), m.name.clone())).collect(),
        figures: FIGURES.map(|charted| (charted.key(), figure_word(charted))).into(),
        open_actions: open.map(|row| (row.action.id.clone(), row.action.what.clone())).collect(),
        forms: form_links(&href, &FORMS, app.paper.is_some()),
        href,
    };
    let frame = app.frame("week", "");
    app.render_page(&page, &frame, &sheet.title, Week { view })
}

const FIGURES: [Charted; 4] = Charted::ALL;

fn figure_word(charted: Charted) -> &'static str {
    match charted {
        Charted::CoolingMinutes => "cooling, min",
        Charted::Settled => "settled at, °C",
        Charted::CoolingTau => "cooling time constant, min",
        Charted::Within => "scatter while working, °C",
    }
}

/// Forms of a week.
const FORMS: [(&str, &str); 4] = [
    ("pdf", "Review, for paper"),
    ("xlsx", "Review, workbook"),
    ("csv", "Batches to look at, table"),
    ("json", "Everything, for programs"),
];

async fn form(app: &App, told: Told, ending: &str) -> Result<Response, Problem> {
    let zone = app.state.plant.time_zone.rules();
    let name = format!("review-{}", told.week);
    match ending {
        "csv" => {
            let first = told.sheet.sections.first().and_then(|section| section.table.as_ref());
            let heads: Vec<&str> =
                first.iter().flat_map(|table| table.columns.iter().map(|(head, _)| *head)).collect();
            let rows = first.into_iter().flat_map(|table| &table.rows);
            let rows = rows.map(|row| row.iter().map(|cell| cell.says(zone)).collect());
            Ok(file(Kind::Csv, &name, files::csv(&heads, rows)))
        }
        "xlsx" => {
            let book = review_xlsx(&told.sheet, zone, told.review.to)
                .map_err(|cause| Problem::internal("no-workbook", cause))?;
            Ok(file(Kind::Xlsx, &name, book))
        }
        _ => {
            let source = review_source(&told.sheet, zone);
            let pictures = told.sheet.sections.iter().flat_map(|section| &section.pictures);
            let files = pictures.map(|p| (format!("{}.svg", p.name), p.svg.clone().into_bytes())).collect();
            Ok(file(Kind::Pdf, &name, app.pdf(source, files).await?))
        }
    }
}
