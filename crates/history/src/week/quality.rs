//! What the week's data can carry: coverage, unknown time, clocks, and the rooms.

use model::{Batch, FindingKind, MachineId, Phase};

use super::{Share, View};

/// What a room was like, worked out by whoever has the readings.
#[derive(Debug, Clone, PartialEq)]
pub struct RoomWeek {
    /// By which machine the thermometer hangs.
    pub machine: MachineId,
    /// Hours that are known.
    pub known_h: f64,
    /// Hours over 22 °C.
    pub warm_h: f64,
    /// Hours over 60 %RH; `None` without a humidity channel.
    pub damp_h: Option<f64>,
    /// Highest temperature, °C.
    pub highest_c: Option<f64>,
    /// Highest dew point, °C.
    pub highest_dew_point_c: Option<f64>,
}

/// What the data can carry.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Quality {
    /// Hours of settling and working.
    pub held_h: f64,
    /// Of them, hours of which nothing usable is known.
    pub unknown_h: f64,
    /// Batches whose beginning was not seen.
    pub begun_unseen: usize,
    /// Batches still going on.
    pub open: usize,
    /// Cooling time constants that were fitted against a measured jacket.
    pub tau_by_jacket: Share,
    /// Clocks found wrong.
    pub clocks: usize,
    /// Times in which a machine was silent.
    pub silences: usize,
    /// Faults of probes: open, stuck, spikes, drift.
    pub probe_faults: usize,
    /// Batches without a mass.
    pub without_mass: usize,
    /// Batches without a lot.
    pub without_lot: usize,
}

/// Minutes of settling and working: what a batch's unknown minutes are a part of. `None` before working.
pub(super) fn held_minutes(batch: &Batch) -> Option<f64> {
    let settling = batch.phases.iter().filter(|span| span.phase == Phase::Settling);
    let settled: f64 = settling.filter_map(|span| Some(span.to?.since(span.from).as_mins_f64())).sum();
    batch.measures.working_minutes.map(|working| settled + working)
}

pub(super) fn quality(view: &View<'_>) -> Quality {
    let count = |kinds: &[FindingKind]| {
        view.findings
            .iter()
            .filter(|f| view.from <= f.raised_at && f.raised_at < view.to && kinds.contains(&f.kind))
            .count()
    };
    let week = view.week;
    let of = |is: &dyn Fn(&model::Batch) -> bool| week.iter().filter(|batch| is(batch)).count();
    let minutes = |figure: fn(&model::Measures) -> Option<f64>| -> f64 {
        week.iter().filter_map(|batch| figure(&batch.measures)).sum()
    };
    let first = |batch: &model::Batch| batch.phases.first().map(|span| span.phase);
    Quality {
        held_h: week.iter().filter_map(|batch| held_minutes(batch)).sum::<f64>() / 60.0,
        unknown_h: minutes(|measures| measures.unknown_minutes) / 60.0,
        begun_unseen: of(&|batch| first(batch).is_some_and(|phase| phase != Phase::Melting)),
        open: of(&|batch| batch.end.is_none()),
        tau_by_jacket: Share {
            n: of(&|batch| batch.measures.cooling_tau_against == Some(model::TauAgainst::Jacket)),
            of: of(&|batch| batch.measures.cooling_tau_min.is_some()),
        },
        clocks: count(&[FindingKind::ClockOff]),
        silences: count(&[FindingKind::Silent]),
        probe_faults: count(&[
            FindingKind::ProbeFault,
            FindingKind::ProbeStuck,
            FindingKind::Spikes,
            FindingKind::ProbeDrift,
        ]),
        without_mass: of(&|batch| batch.mass_kg.is_none()),
        without_lot: of(&|batch| batch.lot.is_none()),
    }
}
