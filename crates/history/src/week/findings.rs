//! Findings by kind, and how many of them a person had to answer.

use std::collections::BTreeSet;

use jiff::civil::Date;
use model::{Batch, Finding, FindingKind, MachineId, Priority, Span, Timestamp};

use super::View;

/// A finding that stands longer than this is stale (ISA-18.2, from memory).
const STANDING: Span = Span::from_hours(24);

/// The same on the same machine again within this chatters.
const CHATTERS_WITHIN: Span = Span::from_mins(30);

/// More than ten in ten minutes is a flood (ISA-18.2, from memory).
const FLOOD: (usize, Span) = (10, Span::from_mins(10));

/// One kind of finding in the week.
#[derive(Debug, Clone, PartialEq)]
pub struct KindRow {
    /// Which.
    pub kind: FindingKind,
    /// How often in the week.
    pub week: usize,
    /// And in the week before.
    pub before: usize,
    /// On which machines, in the order of their ids.
    pub machines: Vec<MachineId>,
    /// How long it stood, all added up.
    pub lasted: Span,
    /// Still open at the end.
    pub open: usize,
}

/// How many alarms people had.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct AlarmLoad {
    /// Findings that asked for somebody, without prompts and repeats of one cause.
    pub raised: usize,
    /// For each day, on the plant's clock, on which a machine was worked.
    pub per_machine_day: Option<f64>,
    /// Of them: at once, soon, when there is time.
    pub by_priority: [usize; 3],
    /// The same on the same machine within half an hour.
    pub chattering: usize,
    /// Longer than a day.
    pub standing: usize,
    /// Times with more than ten in ten minutes.
    pub floods: usize,
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

pub(super) fn kinds(view: &View<'_>, seen_to: Timestamp) -> Vec<KindRow> {
    let length = view.to - view.from;
    let mut rows: Vec<KindRow> = Vec::new();
    for kind in FindingKind::ALL {
        let of_kind: Vec<&Finding> =
            raised_between(view, view.from, view.to).filter(|finding| finding.kind == *kind).collect();
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
            .map(|finding| finding.to.unwrap_or(seen_to).since(finding.from))
            .fold(Span::ZERO, |sum, span| sum + span);
        rows.push(KindRow {
            kind: *kind,
            week: of_kind.len(),
            before,
            machines: machines.into_iter().collect(),
            lasted,
            open: of_kind.iter().filter(|finding| finding.is_open()).count(),
        });
    }
    rows.sort_by_key(|row| std::cmp::Reverse((row.week, row.before)));
    rows
}

pub(super) fn load(view: &View<'_>, seen_to: Timestamp) -> AlarmLoad {
    let mut raised: Vec<&Finding> =
        raised_between(view, view.from, view.to).filter(|finding| !is_prompt(finding.kind)).collect();
    raised.sort_by_key(|finding| finding.raised_at);
    let zone = view.plant.time_zone.rules();
    let day = |batch: &Batch| zone.to_datetime(super::anchor(batch).to_jiff()).date();
    let days: BTreeSet<(&MachineId, Date)> =
        view.week.iter().map(|batch| (&batch.machine, day(batch))).collect();
    let priority = |wanted: Priority| raised.iter().filter(|finding| finding.priority == wanted).count();
    AlarmLoad {
        raised: raised.len(),
        per_machine_day: (!days.is_empty()).then(|| raised.len() as f64 / days.len() as f64),
        by_priority: [Priority::High, Priority::Medium, Priority::Low].map(priority),
        chattering: raised
            .iter()
            .enumerate()
            .filter(|(place, finding)| repeats(finding, &raised[..*place]))
            .count(),
        standing: raised
            .iter()
            .filter(|finding| STANDING < finding.to.unwrap_or(seen_to).since(finding.from))
            .count(),
        floods: floods(&raised),
    }
}

/// A prompt reminds of a test; it tells of no trouble.
fn is_prompt(kind: FindingKind) -> bool {
    matches!(kind, FindingKind::TestDue | FindingKind::LongHold)
}

fn repeats(finding: &Finding, earlier: &[&Finding]) -> bool {
    earlier.iter().rev().any(|other| {
        other.machine == finding.machine
            && other.kind == finding.kind
            && finding.raised_at.since(other.raised_at) <= CHATTERS_WITHIN
    })
}

fn floods(raised: &[&Finding]) -> usize {
    let (most, within) = FLOOD;
    let mut floods = 0;
    let mut free_from = Timestamp::from_millis(i64::MIN);
    for window in raised.windows(most + 1) {
        let (first, last) = (window[0].raised_at, window[most].raised_at);
        if last.since(first) <= within && free_from <= first {
            floods += 1;
            free_from = last;
        }
    }
    floods
}
