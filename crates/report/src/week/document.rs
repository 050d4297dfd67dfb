//! A review as other programs see it, and as it is signed.

use history::week::{Effect, Group, Review};
use serde::Serialize;
use serde_json::{Value, json};

use super::{Cell, ReviewSheet};

/// A week's review. What is signed is this document's text.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReviewDto {
    /// The form of this document.
    pub schema: &'static str,
    /// The plant's name.
    pub plant: String,
    /// `2026-W48`.
    pub week: String,
    /// Its first moment, and the moment after its last.
    pub from: String,
    /// The moment after its last.
    pub to: String,
    /// Is it over?
    pub over: bool,
    /// One sentence.
    pub headline: String,
    /// What it means.
    pub statement: Vec<String>,
    /// Counts of all batches.
    pub all: Value,
    /// One a machine.
    pub machines: Vec<Value>,
    /// One a couverture.
    pub couvertures: Vec<Value>,
    /// Digest of the batches, tests and findings that all this rests on.
    pub rests_on: String,
    /// Batches of the week, by id.
    pub batches: Vec<String>,
    /// Every table of the review: its columns, and its rows of numbers, words and times.
    pub tables: Vec<Value>,
    /// Control charts with limits and signals.
    pub charts: Vec<Value>,
    /// Actions with before and after.
    pub actions: Vec<Value>,
}

impl ReviewDto {
    /// The document of a review.
    pub fn new(review: &Review, sheet: &ReviewSheet) -> ReviewDto {
        ReviewDto {
            schema: "halfdegree.review/1",
            plant: sheet.plant.clone(),
            week: review.week.to_string(),
            from: review.from.to_string(),
            to: review.to.to_string(),
            over: review.is_over,
            headline: sheet.headline.clone(),
            statement: sheet.lead.clone(),
            all: group(&review.all),
            machines: review.by_machine.iter().map(group).collect(),
            couvertures: review.by_couverture.iter().map(group).collect(),
            rests_on: review.rests_on.clone(),
            batches: review.batches.iter().map(|batch| batch.id.to_string()).collect(),
            tables: tables(sheet),
            charts: charts(review),
            actions: actions(review),
        }
    }
}

/// To four decimals, as in the analysis document.
fn rounded(value: f64) -> f64 {
    (value * 1e4).round() / 1e4
}

fn group(group: &Group) -> Value {
    json!({
        "id": group.id,
        "batches": group.batches,
        "worked": group.tested.of,
        "worked_and_tested": group.tested.n,
        "tested": group.first_pass.of,
        "first_pass": group.first_pass.n,
        "recovered": group.recovered,
        "off_temper": group.off_temper,
        "cooling_minutes_median": group.cooling_minutes.map(|(median, _)| rounded(median)),
        "working_hours": rounded(group.working_hours),
    })
}

fn tables(sheet: &ReviewSheet) -> Vec<Value> {
    let cell = |cell: &Cell| match cell {
        Cell::Text(words) => Value::from(words.as_str()),
        Cell::Batch(id, _) => Value::from(id.as_str()),
        Cell::Number(value, _) => Value::from(rounded(*value)),
        Cell::Moment(at) => Value::from(at.to_string()),
        Cell::Nothing => Value::Null,
    };
    let with_table =
        sheet.sections.iter().filter_map(|section| section.table.as_ref().map(|table| (section, table)));
    with_table
        .map(|(section, table)| {
            let rows: Vec<Vec<Value>> = table.rows.iter().map(|row| row.iter().map(cell).collect()).collect();
            let columns: Vec<&str> = table.columns.iter().map(|(head, _)| *head).collect();
            json!({ "name": section.key, "columns": columns, "rows": rows })
        })
        .collect()
}

fn charts(review: &Review) -> Vec<Value> {
    let chart = |chart: &history::week::Chart| {
        let points: Vec<Value> = chart
            .points
            .iter()
            .map(|point| {
                json!({
                    "batch": point.batch.as_str(),
                    "value": rounded(point.value),
                    "new": point.is_new,
                    "signal": point.signal.map(|rule| match rule {
                        history::week::Rule::Beyond => "beyond-3-sigma",
                        history::week::Rule::Shift => "cusum",
                    }),
                })
            })
            .collect();
        let limits = chart.limits.map(|(centre, low, high)| [rounded(low), rounded(centre), rounded(high)]);
        json!({
            "machine": chart.machine.as_str(),
            "couverture": chart.couverture.as_str(),
            "figure": chart.charted.key(),
            "limits": limits,
            "learned_from": chart.learned_from,
            "points": points,
        })
    };
    review.charts.iter().map(chart).collect()
}

fn actions(review: &Review) -> Vec<Value> {
    let side =
        |side: Option<(f64, usize)>| side.map(|(median, n)| json!({ "median": rounded(median), "n": n }));
    let effect = |effect: &Effect| {
        json!({
            "figure": effect.charted.key(),
            "couverture": effect.couverture.as_str(),
            "before": side(effect.before),
            "after": side(effect.after),
            "p": effect.p.map(rounded),
        })
    };
    review
        .actions
        .iter()
        .map(|row| {
            json!({
                "id": row.action.id,
                "what": row.action.what,
                "who": row.action.who,
                "machine": row.action.machine.as_ref().map(|machine| machine.as_str()),
                "opened": row.action.opened.to_string(),
                "due": row.action.due.map(|at| at.to_string()),
                "done": row.action.done.map(|at| at.to_string()),
                "overdue": row.is_overdue,
                "effects": row.effects.iter().map(effect).collect::<Vec<_>>(),
            })
        })
        .collect()
}
