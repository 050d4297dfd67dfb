//! Batches counted: by machine, by couverture, all together.
//!
//! A batch is a row, a group a group-by. First-pass is the share of tested batches whose first test was good or fair
//! (good and fair pass, a scale of ours); a batch without a test counts as neither.

use polars::prelude::{Column, DataFrame, IntoLazy, col, len};

use super::{FEWEST_FOR_A_SHARE, Outcome, View};
use crate::HistoryError;

/// So many of so many.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Share {
    /// That have it.
    pub n: usize,
    /// Of all.
    pub of: usize,
}

impl Share {
    /// In per cent; `None` where there are too few for one.
    pub fn percent(self) -> Option<f64> {
        (FEWEST_FOR_A_SHARE <= self.of).then(|| 100.0 * self.n as f64 / self.of as f64)
    }

    /// Where the true share may lie, in per cent: Wilson's interval for 95 % (Wilson 1927). `None` where there are too few.
    pub fn interval(self) -> Option<(f64, f64)> {
        const Z: f64 = 1.959_964;
        self.percent()?;
        let (n, p) = (self.of as f64, self.n as f64 / self.of as f64);
        let middle = (p + Z * Z / (2.0 * n)) / (1.0 + Z * Z / n);
        let reach = Z * (p * (1.0 - p) / n + Z * Z / (4.0 * n * n)).sqrt() / (1.0 + Z * Z / n);
        Some((100.0 * (middle - reach).max(0.0), 100.0 * (middle + reach).min(1.0)))
    }
}

/// Batches that have something in common.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Group {
    /// The machine's or couverture's id; empty for all.
    pub id: String,
    /// How many batches.
    pub batches: usize,
    /// Of those that were worked with, how many have a temper test.
    pub tested: Share,
    /// Of those with a test, how many passed the first one.
    pub first_pass: Share,
    /// Failed a test and passed the last one.
    pub recovered: usize,
    /// Their last test failed.
    pub off_temper: usize,
    /// Median length of cooling, min, and of how many batches.
    pub cooling_minutes: Option<(f64, usize)>,
    /// Hours of working.
    pub working_hours: f64,
}

/// All three groupings.
pub(super) struct Groups {
    pub(super) all: Group,
    pub(super) by_machine: Vec<Group>,
    pub(super) by_couverture: Vec<Group>,
}

pub(super) fn groups(view: &View<'_>) -> Result<Groups, HistoryError> {
    let table = table_of(view)?;
    let all = summary(&table.clone().lazy().select(sums()).collect()?, None)?.pop().unwrap_or_default();
    let by = |key: &'static str| {
        let grouped = table.clone().lazy().group_by([col(key)]).agg(sums()).collect()?;
        summary(&grouped, Some(key))
    };
    let (machines, couvertures) = (by("machine")?, by("couverture")?);
    let in_order = |groups: Vec<Group>, ids: Vec<&str>| -> Vec<Group> {
        let mut groups = groups;
        groups.sort_by_key(|group| ids.iter().position(|id| *id == group.id).unwrap_or(usize::MAX));
        groups
    };
    let plant = view.plant;
    Ok(Groups {
        all: if view.week.is_empty() { Group::default() } else { all },
        by_machine: in_order(machines, plant.machines.iter().map(|machine| machine.id.as_str()).collect()),
        by_couverture: in_order(
            couvertures,
            plant.couvertures.iter().map(|couverture| couverture.id.as_str()).collect(),
        ),
    })
}

/// One row a batch.
fn table_of(view: &View<'_>) -> Result<DataFrame, HistoryError> {
    let batches = view.week;
    let counted = |is: &dyn Fn(&model::Batch) -> bool| -> Vec<i64> {
        batches.iter().map(|batch| i64::from(is(batch))).collect()
    };
    let worked = |batch: &model::Batch| batch.first(model::Phase::Working).is_some();
    let tested = |batch: &model::Batch| view.tests.outcome(batch) != Outcome::Untested;
    let passed_first = |batch: &model::Batch| view.tests.passed_first(batch) == Some(true);
    let recovered = |batch: &model::Batch| matches!(view.tests.outcome(batch), Outcome::Recovered { .. });
    let off = |batch: &model::Batch| batch.standing == model::Standing::OffTemper;
    let columns = vec![
        Column::new("machine".into(), batches.iter().map(|batch| batch.machine.as_str()).collect::<Vec<_>>()),
        Column::new(
            "couverture".into(),
            batches.iter().map(|batch| batch.couverture.as_str()).collect::<Vec<_>>(),
        ),
        Column::new("worked".into(), counted(&worked)),
        Column::new("tested".into(), counted(&tested)),
        Column::new("worked_and_tested".into(), counted(&|batch| worked(batch) && tested(batch))),
        Column::new("first_pass".into(), counted(&passed_first)),
        Column::new("recovered".into(), counted(&recovered)),
        Column::new("off".into(), counted(&off)),
        Column::new(
            "cooling".into(),
            batches.iter().map(|batch| batch.measures.cooling_minutes).collect::<Vec<Option<f64>>>(),
        ),
        Column::new(
            "working".into(),
            batches.iter().map(|batch| batch.measures.working_minutes).collect::<Vec<Option<f64>>>(),
        ),
    ];
    Ok(DataFrame::new(batches.len(), columns)?)
}

const SUMS: [&str; 6] = ["worked", "tested", "worked_and_tested", "first_pass", "recovered", "off"];

fn sums() -> Vec<polars::prelude::Expr> {
    let mut sums: Vec<_> = SUMS.iter().map(|name| col(*name).sum()).collect();
    sums.push(len().cast(polars::prelude::DataType::Int64).alias("batches"));
    sums.push(col("cooling").median().alias("cooling"));
    sums.push(col("cooling").count().cast(polars::prelude::DataType::Int64).alias("coolings"));
    sums.push(col("working").sum().alias("working"));
    sums
}

fn summary(frame: &DataFrame, key: Option<&str>) -> Result<Vec<Group>, HistoryError> {
    let whole = |name: &str| Ok::<_, HistoryError>(frame.column(name)?.i64()?.clone());
    let number = |name: &str| Ok::<_, HistoryError>(frame.column(name)?.f64()?.clone());
    let ids = match key {
        Some(key) => frame.column(key)?.str()?.iter().map(|id| id.unwrap_or_default().to_owned()).collect(),
        None => vec![String::new(); frame.height()],
    };
    let [worked, tested, both, first, recovered, off] = SUMS.map(whole);
    let (worked, tested, both, first) = (worked?, tested?, both?, first?);
    let (recovered, off, batches, coolings) = (recovered?, off?, whole("batches")?, whole("coolings")?);
    let (cooling, working) = (number("cooling")?, number("working")?);
    let count = |column: &polars::prelude::Int64Chunked, row: usize| {
        usize::try_from(column.get(row).unwrap_or(0)).unwrap_or(0)
    };
    let group = |(row, id): (usize, String)| Group {
        id,
        batches: count(&batches, row),
        tested: Share { n: count(&both, row), of: count(&worked, row) },
        first_pass: Share { n: count(&first, row), of: count(&tested, row) },
        recovered: count(&recovered, row),
        off_temper: count(&off, row),
        cooling_minutes: cooling.get(row).map(|minutes| (minutes, count(&coolings, row))),
        working_hours: working.get(row).unwrap_or(0.0) / 60.0,
    };
    Ok(ids.into_iter().enumerate().map(group).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn few_make_no_share_and_many_make_one_with_an_interval() {
        assert_eq!(Share { n: 4, of: 4 }.percent(), None);
        // Wilson's interval for 8 of 10 at 95 %, worked by hand from his formula: 49.0 to 94.3 %.
        let (low, high) = Share { n: 8, of: 10 }.interval().unwrap();
        assert!((low - 49.0).abs() < 0.1 && (high - 94.3).abs() < 0.1, "{low} {high}");
    }
}
