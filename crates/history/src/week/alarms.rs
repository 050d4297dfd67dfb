//! The life of alarms in the week: how many a machine had for each day on which it was worked, how long they stood, who answered.

use alarms::{AlarmWeek, MachineAlarms};
use model::{Acknowledgement, SetAside, Timestamp};

use super::View;
use super::findings::days_worked;

/// The week's alarms.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct AlarmReview {
    /// All together.
    pub week: AlarmWeek,
    /// One a machine that had any, in the order of the plant file; the plant's own last.
    pub rows: Vec<AlarmRow>,
}

/// A machine's alarms.
#[derive(Debug, Clone, PartialEq)]
pub struct AlarmRow {
    /// The figures.
    pub figures: MachineAlarms,
    /// Raised for each day on which it was worked.
    pub per_day: Option<f64>,
}

pub(super) fn alarms(
    view: &View<'_>,
    seen: &[Acknowledgement],
    asides: &[SetAside],
    seen_to: Timestamp,
) -> AlarmReview {
    let week = ::alarms::week(view.findings, seen, asides, view.from, view.to, seen_to);
    let days = days_worked(view);
    let mut rows: Vec<AlarmRow> = week
        .machines
        .iter()
        .map(|figures| {
            let worked = figures.machine.as_ref().and_then(|machine| days.get(machine));
            let per_day = worked.map(|days| figures.raised as f64 / days.len() as f64);
            AlarmRow { figures: figures.clone(), per_day }
        })
        .collect();
    let place = |row: &AlarmRow| {
        let machine = row.figures.machine.as_ref()?;
        view.plant.machines.iter().position(|known| known.id == *machine)
    };
    rows.sort_by_key(|row| place(row).unwrap_or(usize::MAX));
    AlarmReview { week, rows }
}
