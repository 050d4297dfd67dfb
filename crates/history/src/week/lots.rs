//! Lots of couverture that were worked with: since when, on which machines, and how their tests went.

use std::collections::BTreeSet;

use model::{Batch, CouvertureId, MachineId, Timestamp};

use super::{Share, View};

/// A lot of couverture.
#[derive(Debug, Clone, PartialEq)]
pub struct LotRow {
    /// Its number.
    pub lot: String,
    /// Of which couverture.
    pub couverture: CouvertureId,
    /// When the first batch of it began to cool, as far back as is looked: this decides its week.
    pub first: Timestamp,
    /// When that batch began.
    pub began: Timestamp,
    /// Batches in the week.
    pub batches: usize,
    /// On which machines.
    pub machines: Vec<MachineId>,
    /// Passed the first test, of those tested.
    pub first_pass: Share,
    /// Did it first come in this week?
    pub is_new: bool,
}

/// In the order in which they came.
pub(super) fn lots(view: &View<'_>) -> Vec<LotRow> {
    let mut names: Vec<(&str, &CouvertureId)> =
        view.week.iter().filter_map(|batch| Some((batch.lot.as_deref()?, &batch.couverture))).collect();
    names.sort();
    names.dedup();
    let mut rows: Vec<LotRow> =
        names.into_iter().filter_map(|(lot, couverture)| row(view, lot, couverture)).collect();
    rows.sort_by_key(|row| row.first);
    rows
}

fn row(view: &View<'_>, lot: &str, couverture: &CouvertureId) -> Option<LotRow> {
    let of_lot = |batch: &&&Batch| batch.lot.as_deref() == Some(lot) && batch.couverture == *couverture;
    let week: Vec<&Batch> = view.week.iter().filter(of_lot).copied().collect();
    let all = view.before.iter().filter(of_lot).copied().chain(week.iter().copied());
    let earliest = all.min_by_key(|batch| super::anchor(batch))?;
    let (first, began) = (super::anchor(earliest), earliest.start);
    let tested: Vec<bool> = week.iter().filter_map(|batch| view.tests.passed_first(batch)).collect();
    let passed = tested.iter().filter(|passed| **passed).count();
    let machines: BTreeSet<MachineId> = week.iter().map(|batch| batch.machine.clone()).collect();
    Some(LotRow {
        lot: lot.to_owned(),
        couverture: couverture.clone(),
        first,
        began,
        batches: week.len(),
        machines: machines.into_iter().collect(),
        first_pass: Share { n: passed, of: tested.len() },
        is_new: view.from <= first,
    })
}
