//! Any batches on one sheet: laid over each other at the start of cooling, their measures side by side.
//!
//! `?batch=…` names a batch, `?machine=…` the last ones of a machine, `?lot=…` those of a lot; any of them, any number.

use std::sync::Arc;

use axum::extract::State;
use axum::response::{Html, IntoResponse, Response};
use history::day::DayRecord;
use model::{Batch, BatchId, Channel};
use records::{BatchQuery, Life};
use report::measure_rows;
use serde::Serialize;

use crate::app::App;
use crate::page_file::Shows;
use crate::problem::Problem;
use crate::query::Params;
use crate::view::{BatchRow, Overlays, Picture, measure_as_read};
use crate::words::tied;

/// More lines than this in one drawing cannot be told apart.
const MOST: usize = 8;

/// So many of a machine or lot, where those are named.
const LAST: usize = 4;

/// Looked through to find the batches of a lot.
const LOOKED_THROUGH: usize = 400;

#[derive(Serialize)]
struct Compare {
    view: CompareView,
}

#[derive(Serialize)]
struct CompareView {
    says: String,
    left_out: usize,
    columns: Vec<Column>,
    rows: Vec<Row>,
    overlays: Vec<Picture>,
    /// What can be chosen: newest batches, machines and lots.
    batches: Vec<(String, String)>,
    machines: Vec<(String, String)>,
    lots: Vec<String>,
}

#[derive(Serialize)]
struct Column {
    label: String,
    row: BatchRow,
    lot: String,
}

#[derive(Serialize)]
struct Row {
    name: String,
    values: Vec<String>,
    help: &'static str,
}

/// What was asked for.
#[derive(Debug, Default, PartialEq, Eq)]
struct Asked {
    batches: Vec<String>,
    machines: Vec<String>,
    lots: Vec<String>,
}

impl Asked {
    fn of(params: &Params) -> Result<Asked, Problem> {
        let mut asked = Asked::default();
        for (name, value) in params.pairs() {
            let list = match name {
                "batch" => &mut asked.batches,
                "machine" => &mut asked.machines,
                "lot" => &mut asked.lots,
                _ => {
                    let sentence = format!(
                        "The parameter `{name}` is not known here; this address takes batch, machine, lot."
                    );
                    return Err(Problem::bad_request("unknown-parameter", sentence));
                }
            };
            if !list.iter().any(|given| given == value) {
                list.push(value.to_owned());
            }
        }
        Ok(asked)
    }
}

pub(crate) async fn page(State(app): State<Arc<App>>, params: Params) -> Result<Response, Problem> {
    let asked = Asked::of(&params)?;
    let mut batches = Vec::new();
    for id in asked.batches.iter().take(2 * MOST) {
        batches.push(app.batch(id).await?);
    }
    for named in &asked.machines {
        let machine = app.machine(named)?.id.clone();
        let query =
            BatchQuery { machine: Some(machine), life: Life::Closed, limit: LAST, ..BatchQuery::default() };
        batches.extend(app.batches(query).await?);
    }
    let newest = app.batches(BatchQuery { limit: LOOKED_THROUGH, ..BatchQuery::default() }).await?;
    for lot in &asked.lots {
        batches.extend(newest.iter().filter(|batch| batch.lot.as_deref() == Some(lot)).take(LAST).cloned());
    }
    let mut seen: Vec<BatchId> = Vec::new();
    batches.retain(|batch| {
        !seen.contains(&batch.id) && {
            seen.push(batch.id.clone());
            true
        }
    });
    let left_out = batches.len().saturating_sub(MOST);
    batches.truncate(MOST);
    batches.sort_by_key(history::week::anchor);
    let records = with_courses(&app, batches).await?;
    let html = show(&app, &records, left_out, &newest)?;
    Ok(Html(html).into_response())
}

async fn with_courses(app: &App, batches: Vec<Batch>) -> Result<Vec<DayRecord>, Problem> {
    app.gather(move |sources| {
        let record = |batch: Batch| {
            let courses = sources.courses(&batch)?;
            Ok(DayRecord { batch, findings: Vec::new(), events: Vec::new(), courses })
        };
        batches.into_iter().map(record).collect()
    })
    .await
}

fn show(app: &App, records: &[DayRecord], left_out: usize, newest: &[Batch]) -> Result<String, Problem> {
    let page = app.page("compare", Shows::Compare)?;
    let scene = app.scene();
    let names = app.names();
    let label = |batch: &Batch| names.batch(batch, scene.local.rules());
    let labels: Vec<String> = records.iter().map(|record| label(&record.batch)).collect();
    let overlays =
        Overlays { plant: &app.state.plant, names: &names, zone: app.state.plant.time_zone.rules() };
    let pictures = [Channel::Chocolate, Channel::Jacket, Channel::Motor]
        .into_iter()
        .filter_map(|channel| overlays.of_batches(records, &labels, channel))
        .collect();
    let mut lots: Vec<String> = newest.iter().filter_map(|batch| batch.lot.clone()).collect();
    lots.sort();
    lots.dedup();
    let says = match records.len() {
        0 => "Choose batches, machines or lots to lay over each other.".to_owned(),
        1 => "One batch; choose more to lay over it.".to_owned(),
        n => format!("{n} batches, laid over each other at the start of cooling."),
    };
    let columns = records.iter().zip(&labels).map(|(record, label)| Column {
        label: label.clone(),
        row: BatchRow::new(scene, &record.batch),
        lot: record.batch.lot.clone().unwrap_or_else(|| "–".to_owned()),
    });
    let view = CompareView {
        says,
        left_out,
        columns: columns.collect(),
        rows: rows(scene, records),
        overlays: pictures,
        batches: newest.iter().take(60).map(|batch| (batch.id.to_string(), label(batch))).collect(),
        machines: app.state.plant.machines.iter().map(|m| (m.id.to_string(), m.name.clone())).collect(),
        lots,
    };
    let frame = app.frame("compare", "");
    app.render_page(&page, &frame, &page.title, Compare { view })
}

/// The measures of every batch, side by side.
fn rows(scene: crate::view::Scene<'_>, records: &[DayRecord]) -> Vec<Row> {
    let all: Vec<_> = records.iter().map(|record| measure_rows(&record.batch.measures, None)).collect();
    let Some(first) = all.first() else { return Vec::new() };
    (0..first.len())
        .map(|place| Row {
            name: first[place].label.to_owned(),
            values: all
                .iter()
                .map(|rows| tied(&measure_as_read(rows[place], scene.degrees).says()))
                .collect(),
            help: first[place].meaning,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn anything_may_be_named_any_number_of_times_but_only_that() {
        let asked = Asked::of(&Params::parse("batch=a&batch=b&batch=a&lot=L1&machine=alder")).unwrap();
        assert_eq!(asked.batches, ["a", "b"]);
        assert_eq!((asked.lots.len(), asked.machines.len()), (1, 1));
        assert!(Asked::of(&Params::parse("colour=red")).is_err());
    }
}
