//! Findings by kind, and how many of them a person had to answer.

use std::collections::{BTreeMap, BTreeSet};

use alarms::rationale;
use jiff::civil::Date;
use model::{Finding, FindingKind, MachineId, Priority, Span, Timestamp};

use super::View;
use crate::stands::was_open;

/// One kind of finding in the week.
#[derive(Debug, Clone, PartialEq)]
pub struct KindRow {
    /// Which.
    pub kind: FindingKind,
    /// How often it was raised in the week.
    pub week: usize,
    /// And in the week before.
    pub before: usize,
    /// On which machines it was open in the week, in the order of their ids.
    pub machines: Vec<MachineId>,
    /// How long it stood within the week, all added up.
    pub lasted: Span,
    /// Still open at the end of the week, or as far as is known.
    pub open: usize,
    /// Raised in earlier weeks and open in this one.
    pub from_before: usize,
}

/// How many alarms people had.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct AlarmLoad {
    /// Alarms: findings that somebody had to answer, without repeats of one cause.
    pub raised: usize,
    /// For each day, on the plant's clock, on which a machine was worked.
    pub per_machine_day: Option<f64>,
    /// Of them: at once, soon, when there is time.
    pub by_priority: [usize; 3],
}

fn raised_between<'f>(
    view: &'f View<'_>,
    from: Timestamp,
    to: Timestamp,
) -> impl Iterator<Item = &'f Finding> {
    view.findings.iter().filter(move |finding| {
        from <= finding.raised_at && finding.raised_at < to && finding.superseded_by.is_none()
    })
}

/// `end` is that of the week, or how far anything is known.
pub(super) fn kinds(view: &View<'_>, end: Timestamp) -> Vec<KindRow> {
    let length = view.to - view.from;
    let mut rows: Vec<KindRow> = Vec::new();
    for kind in FindingKind::ALL {
        let raised = raised_between(view, view.from, view.to).filter(|finding| finding.kind == *kind).count();
        let of_kind: Vec<&Finding> = view
            .findings
            .iter()
            .filter(|finding| finding.kind == *kind && finding.superseded_by.is_none())
            .filter(|finding| finding.raised_at < view.to && was_open(finding, view.from, view.to))
            .collect();
        let before =
            raised_between(view, view.from - length, view.from).filter(|finding| finding.kind == *kind);
        let before = before.count();
        if of_kind.is_empty() && before == 0 {
            continue;
        }
        let machines: BTreeSet<MachineId> =
            of_kind.iter().filter_map(|finding| finding.machine.clone()).collect();
        let lasted = of_kind
            .iter()
            .map(|finding| finding.to.unwrap_or(end).min(end).since(finding.from.max(view.from)))
            .fold(Span::ZERO, |sum, span| sum + span);
        rows.push(KindRow {
            kind: *kind,
            week: raised,
            before,
            machines: machines.into_iter().collect(),
            lasted,
            open: of_kind.iter().filter(|finding| finding.to.is_none_or(|over| end < over)).count(),
            from_before: of_kind.iter().filter(|finding| finding.raised_at < view.from).count(),
        });
    }
    rows.sort_by_key(|row| std::cmp::Reverse((row.week + row.from_before, row.before)));
    rows
}

pub(super) fn load(view: &View<'_>) -> AlarmLoad {
    let raised: Vec<&Finding> = raised_between(view, view.from, view.to)
        .filter(|finding| rationale(finding.kind).is_alarm())
        .collect();
    let days: usize = days_worked(view).values().map(BTreeSet::len).sum();
    let priority = |wanted: Priority| raised.iter().filter(|finding| finding.priority == wanted).count();
    AlarmLoad {
        raised: raised.len(),
        per_machine_day: (0 < days).then(|| raised.len() as f64 / days as f64),
        by_priority: [Priority::High, Priority::Medium, Priority::Low].map(priority),
    }
}

/// The days, on the plant's clock, on which each machine was worked.
pub(super) fn days_worked<'v>(view: &View<'v>) -> BTreeMap<&'v MachineId, BTreeSet<Date>> {
    let zone = view.plant.time_zone.rules();
    let mut days: BTreeMap<&MachineId, BTreeSet<Date>> = BTreeMap::new();
    for batch in view.week {
        let day = zone.to_datetime(super::anchor(batch).to_jiff()).date();
        days.entry(&batch.machine).or_default().insert(day);
    }
    days
}
