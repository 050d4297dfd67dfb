//! Lots: what has come in, and where each went. `/lots`, `/lots/{lot}`, and the same for programs under `/api/v1/lots`.
//!
//! One step forward from a lot to batches and times; one step back, from a batch to its lots, stands on the batch's report.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::response::Html;
use history::lots::{BatchContent, Use, contents, lots, uses_of};
use model::{Batch, Event, Span, Timestamp};
use records::{BatchQuery, EntryQuery, RecordsError};
use report::{LOT_ASSUMPTIONS, UseDto};
use serde::Serialize;
use serde_json::{Value, json};

use crate::app::App;
use crate::kept::LOOKED_BACK;
use crate::material::{KINDS, additions};
use crate::page_file::Shows;
use crate::problem::Problem;
use crate::query::Params;
use crate::view::{HistoryView, Link, Moment, Scene, batch_link, history_of, lot_link, share_says};

/// Charges, seed, top-ups and notes of all machines: some years of a workshop, one of a works of twenty machines.
const MOST_EVENTS: usize = 20_000;
/// Lots on one page: more is a table for a program.
const MOST_LOTS: usize = 200;
/// Longer is no lot's name.
const LONGEST_LOT: usize = 200;

/// All machines, as far back as is looked.
struct Material {
    batches: Vec<Vec<Batch>>,
    events: Vec<Event>,
}

impl Material {
    async fn of(app: &App) -> Result<Material, Problem> {
        let until = app.now() + Span::from_millis(1);
        let machines: Vec<_> = app.state.plant.machines.iter().map(|machine| machine.id.clone()).collect();
        app.ask_records(move |records| {
            let of_machine = |machine| {
                records.batches(&BatchQuery {
                    machine: Some(machine),
                    limit: LOOKED_BACK,
                    ..BatchQuery::default()
                })
            };
            Ok::<_, RecordsError>(Material {
                batches: machines.into_iter().map(of_machine).collect::<Result<_, _>>()?,
                events: records.events_of_kinds(None, &KINDS, until, MOST_EVENTS)?,
            })
        })
        .await
    }

    fn contents(&self) -> Vec<BatchContent> {
        let additions = additions(&self.events);
        self.batches.iter().flat_map(|batches| contents(batches, &additions)).collect()
    }

    fn lots(&self) -> Vec<(String, Timestamp)> {
        let mut lots = lots(&additions(&self.events));
        lots.truncate(MOST_LOTS);
        lots
    }

    /// Has as much been read as is looked at, so that older things are left out?
    fn is_cut(&self) -> bool {
        self.events.len() == MOST_EVENTS || self.batches.iter().any(|batches| batches.len() == LOOKED_BACK)
    }
}

#[derive(Serialize)]
struct Shown {
    view: LotsView,
}

#[derive(Serialize)]
struct LotsView {
    /// The lot that is looked at; without one the page lists all.
    lot: Option<String>,
    uses: Vec<UseRow>,
    lots: Vec<LotRow>,
    assume: &'static str,
    is_cut: bool,
    /// Who told of the lot that is looked at.
    history: Option<HistoryView>,
}

#[derive(Serialize)]
struct LotRow {
    link: Link,
    newest: Moment,
}

#[derive(Serialize)]
struct UseRow {
    batch: Link,
    from: Moment,
    to: Option<Moment>,
    share: String,
    mass: String,
    ways: String,
    carried: bool,
}

impl UseRow {
    fn new(scene: Scene<'_>, used: &Use) -> UseRow {
        let ways: Vec<&str> = used.ways.iter().map(|way| way.as_str()).collect();
        UseRow {
            batch: batch_link(scene, &used.batch),
            from: scene.moment(used.from),
            to: used.to.map(|to| scene.moment(to)),
            share: share_says(used.share),
            mass: used.mass_kg.map_or_else(|| "not told".to_owned(), crate::words::kilograms),
            ways: format!("{}{}", ways.join(", "), if used.is_rework { ", rework" } else { "" }),
            carried: used.is_carried,
        }
    }
}

/// `/lots`
pub(crate) async fn page(State(app): State<Arc<App>>, params: Params) -> Result<Html<String>, Problem> {
    params.only(&[])?;
    let material = Material::of(&app).await?;
    let scene = app.scene();
    let row =
        |(lot, newest): (String, Timestamp)| LotRow { link: lot_link(&lot), newest: scene.moment(newest) };
    let view = LotsView {
        lot: None,
        uses: Vec::new(),
        lots: material.lots().into_iter().map(row).collect(),
        assume: LOT_ASSUMPTIONS,
        is_cut: material.is_cut(),
        history: None,
    };
    let page = app.page("lots", Shows::Lots)?;
    app.render_page(&page, &app.frame("lots", ""), &page.title, Shown { view }).map(Html)
}

/// `/lots/{lot}`
pub(crate) async fn one(
    State(app): State<Arc<App>>,
    Path(lot): Path<String>,
    params: Params,
) -> Result<Html<String>, Problem> {
    params.only(&[])?;
    let (material, uses) = uses(&app, &lot).await?;
    let told = EntryQuery { lot: Some(lot.clone()), ..history_of(Vec::new()) };
    let told = app.entries_of(told).await?;
    let scene = app.scene();
    let title = format!("Lot {lot}");
    let view = LotsView {
        lot: Some(lot),
        uses: uses.iter().map(|used| UseRow::new(scene, used)).collect(),
        lots: Vec::new(),
        assume: LOT_ASSUMPTIONS,
        is_cut: material.is_cut(),
        history: Some(HistoryView::new(scene, &told)),
    };
    let page = app.page("lots", Shows::Lots)?;
    app.render_page(&page, &app.frame("lots", ""), &title, Shown { view }).map(Html)
}

/// `GET /api/v1/lots`
pub(crate) async fn list(State(app): State<Arc<App>>, params: Params) -> Result<axum::Json<Value>, Problem> {
    params.only(&[])?;
    let material = Material::of(&app).await?;
    let row = |(lot, newest): &(String, Timestamp)| json!({ "lot": lot, "newest_at": newest.to_string() });
    let lots: Vec<Value> = material.lots().iter().map(row).collect();
    Ok(axum::Json(json!({ "lots": lots, "older_left_out": material.is_cut() })))
}

/// `GET /api/v1/lots/{lot}`
pub(crate) async fn trace(
    State(app): State<Arc<App>>,
    Path(lot): Path<String>,
    params: Params,
) -> Result<axum::Json<Value>, Problem> {
    params.only(&[])?;
    let (material, uses) = uses(&app, &lot).await?;
    let uses: Vec<UseDto> = uses.iter().map(UseDto::from).collect();
    Ok(axum::Json(json!({
        "lot": lot, "uses": uses, "assume": LOT_ASSUMPTIONS, "older_left_out": material.is_cut(),
    })))
}

/// Where `lot` went. One that was told and has not been melted yet has no uses.
async fn uses(app: &App, lot: &str) -> Result<(Material, Vec<Use>), Problem> {
    let unknown = || {
        let shown: String = lot.chars().take(64).collect();
        Problem::not_found("no-such-lot", format!("No charge, seed or top-up names the lot `{shown}`."))
    };
    if LONGEST_LOT < lot.chars().count() {
        return Err(unknown());
    }
    let material = Material::of(app).await?;
    if !additions(&material.events).iter().any(|addition| addition.lot.as_deref() == Some(lot)) {
        return Err(unknown());
    }
    let uses = uses_of(lot, &material.contents());
    Ok((material, uses))
}
