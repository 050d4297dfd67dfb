//! Baselines: what is usual for a machine, and what people order about it. `GET` and `POST /api/v1/baselines`, and the buttons of the machine
//! page.
//!
//! An order is written into the records and answered when it is on disk; the watch takes it from there within a second.

use std::sync::Arc;

use axum::body::Bytes;
use axum::extract::rejection::BytesRejection;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};
use model::{Baseline, BaselineDeed, BaselineOrder, BaselineState, CouvertureId, MachineId, Usual};
use records::By;
use report::BaselineDto;
use serde::Serialize;
use serde_json::{Value, json};

use crate::access::{Right, admit};
use crate::app::App;
use crate::problem::Problem;
use crate::query::Params;
use crate::view::{Moment, Scene};
use crate::written;

/// `GET /api/v1/baselines`
pub(crate) async fn list(State(app): State<Arc<App>>, params: Params) -> Result<axum::Json<Value>, Problem> {
    params.only(&["machine"])?;
    let machine = params.text("machine").map(|text| app.machine(text)).transpose()?;
    let board = app.state.board.borrow().clone();
    let wanted = |baseline: &&Baseline| machine.is_none_or(|machine| machine.id == baseline.machine);
    let baselines: Vec<_> = board.baselines.iter().filter(wanted).map(BaselineDto::from).collect();
    Ok(axum::Json(json!({ "baselines": baselines })))
}

/// `POST /api/v1/baselines`
pub(crate) async fn order(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let (by, body) = admit(&app, Right::OrderBaselines, &headers, body, "application/json")?;
    let value: Value =
        serde_json::from_slice(&body).map_err(|fault| refused(format!("The body is not JSON: {fault}.")))?;
    let field = |name: &str| value.get(name).and_then(Value::as_str);
    let machine = field("machine").ok_or_else(|| missing("machine", "the id of a machine"))?;
    let order = take(&app, by, &app.machine(machine)?.id.clone(), field).await?;
    let answer = json!({
        "machine": order.machine.as_str(), "couverture": order.couverture.as_str(), "order": order.deed.as_str(),
        "at": order.at.to_string(), "durable": true,
    });
    Ok((StatusCode::CREATED, axum::Json(answer)).into_response())
}

/// The buttons of the machine page.
pub(crate) async fn form(
    State(app): State<Arc<App>>,
    Path(id): Path<String>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let machine = app.machine(&id)?.id.clone();
    let (by, body) = admit(&app, Right::OrderBaselines, &headers, body, "application/x-www-form-urlencoded")?;
    let form = Params::parse(&String::from_utf8_lossy(&body));
    take(&app, by, &machine, |name| form.text(name)).await?;
    Ok(Redirect::to(&format!("/machines/{machine}#baselines-title")).into_response())
}

/// Reads an order and answers when it is on disk.
async fn take<'a>(
    app: &App,
    by: By,
    machine: &MachineId,
    field: impl Fn(&str) -> Option<&'a str>,
) -> Result<BaselineOrder, Problem> {
    let couverture = field("couverture").ok_or_else(|| missing("couverture", "the id of a couverture"))?;
    let known = couverture.parse::<CouvertureId>().ok();
    let known = known.filter(|id| app.state.plant.couverture(id).is_some());
    let couverture = known.ok_or_else(|| {
        let shown: String = couverture.chars().take(64).collect();
        refused(format!("There is no couverture `{shown}` in the plant file."))
    })?;
    let deed = field("order").and_then(|text| text.parse::<BaselineDeed>().ok());
    let deed = deed.ok_or_else(|| missing("order", "freeze, learn or reset"))?;
    let name = written::name_or_typed(&by, field("by"))?;
    let order = BaselineOrder { machine: machine.clone(), couverture, deed, by: name, at: by.at };
    app.write_records(move |records| records.order_baseline(&by, &order)).await
}

fn refused(sentence: String) -> Problem {
    written::refused("bad-order", sentence)
}

fn missing(name: &str, should_be: &str) -> Problem {
    written::missing("bad-order", name, should_be)
}

/// A baseline as the machine page shows it.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct BaselineView {
    couverture: String,
    couverture_id: String,
    state: &'static str,
    says: String,
    since: Option<Moment>,
    by: Option<String>,
    figures: Vec<FigureView>,
    frozen: bool,
}

/// A figure of it.
#[derive(Debug, Clone, Serialize)]
struct FigureView {
    name: &'static str,
    value: String,
    batches: usize,
}

impl BaselineView {
    /// Those of one machine.
    pub(crate) fn all(scene: Scene<'_>, baselines: &[Baseline], machine: &MachineId) -> Vec<BaselineView> {
        let of_this = baselines.iter().filter(|baseline| baseline.machine == *machine);
        of_this.map(|baseline| BaselineView::new(scene, baseline)).collect()
    }

    fn new(scene: Scene<'_>, baseline: &Baseline) -> BaselineView {
        let named =
            scene.plant.couverture(&baseline.couverture).and_then(|couverture| couverture.name.clone());
        BaselineView {
            couverture: named.unwrap_or_else(|| baseline.couverture.to_string()),
            couverture_id: baseline.couverture.to_string(),
            state: match baseline.state {
                BaselineState::Learning => "learning",
                BaselineState::Learned => "learned",
                BaselineState::Frozen => "frozen",
            },
            says: says(baseline),
            since: baseline.since.map(|since| scene.moment(since)),
            by: baseline.by.clone(),
            figures: figures(baseline),
            frozen: baseline.state == BaselineState::Frozen,
        }
    }
}

/// What it rests on, and what is used.
fn says(baseline: &Baseline) -> String {
    let rests = match baseline.batches {
        0 => "No good batch yet".to_owned(),
        1 => "One good batch".to_owned(),
        more => format!("{more} good batches"),
    };
    let needs = if baseline.batches < baseline.needed {
        format!(", {} are needed", baseline.needed)
    } else {
        String::new()
    };
    let used = match (baseline.used_cooling_minutes, &baseline.cooling_minutes) {
        (None, _) => "nothing says yet how long it cools".to_owned(),
        (Some(minutes), None) => format!("until then the plant file's {minutes:.0} min of cooling are used"),
        (Some(minutes), Some(_)) => format!("{minutes:.0} min of cooling are usual"),
    };
    format!("{rests}{needs}; {used}.")
}

fn figures(baseline: &Baseline) -> Vec<FigureView> {
    let figure = |name, usual: &Option<Usual>, unit: &str, places: usize| {
        usual.map(|usual| FigureView {
            name,
            value: format!("{:.places$} ± {:.places$}\u{a0}{unit}", usual.median, usual.spread),
            batches: usual.batches,
        })
    };
    [
        figure("Length of cooling", &baseline.cooling_minutes, "min", 1),
        figure("Length of cooling for each kg", &baseline.cooling_minutes_per_kg, "min/kg", 2),
        figure("Time constant of cooling", &baseline.cooling_tau_min, "min", 1),
        figure("Settled hold", &baseline.settled_c, "°C", 2),
        figure("Settled hold less the set-point", &baseline.hold_offset_c, "°C", 2),
        figure("Dip of the seed", &baseline.seed_dip_c, "°C", 1),
        figure("Scatter of the hold", &baseline.working_sd_c, "°C", 2),
        figure("Mass", &baseline.mass_kg, "kg", 1),
    ]
    .into_iter()
    .flatten()
    .collect()
}
