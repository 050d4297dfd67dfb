//! How steadily each machine holds, and whether its working range is wide enough for it.
//!
//! One value a batch (the mean of its hold) over the weeks before and this one: values of one batch follow each other
//! and are not independent. Below fifty values a capability is told with its interval or not at all.

use maths::control::{Capability, capability};
use maths::statistics::Moments;
use model::{Band, Batch, CouvertureId, MachineId};

use super::View;
use super::quality::held_minutes;

/// Of this share of intervals the true value lies inside.
pub(super) const COVERAGE: f64 = 0.95;

/// Capability looks back over so many batches at most: the machine as it is, not as it was last year.
const LOOKS_BACK: usize = 60;

/// Fewer batches make no capability worth its ink: the interval would span from bad to excellent.
const FEWEST: usize = 5;

/// The holds of one machine and couverture.
#[derive(Debug, Clone, PartialEq)]
pub struct Hold {
    /// Which machine.
    pub machine: MachineId,
    /// Which couverture.
    pub couverture: CouvertureId,
    /// Where it should be, °C.
    pub working: Option<Band>,
    /// Batches of the week with a hold.
    pub batches: usize,
    /// Mean of their means, °C.
    pub mean_c: Option<f64>,
    /// Deviation between their means, °C; `None` with one.
    pub between_c: Option<f64>,
    /// Median of their deviations within, °C.
    pub within_c: Option<f64>,
    /// Median of their slopes, °C/h.
    pub drift_c_per_h: Option<f64>,
    /// Of the time in settling and working, how much is unknown, per cent.
    pub unknown_percent: Option<f64>,
    /// Capability of the batch means, this week and before; `None` where there are too few or all are equal.
    pub capability: Option<Capability>,
    /// Batches that a capability could be worked out from.
    pub capability_n: usize,
}

pub(super) fn holds(view: &View<'_>) -> Vec<Hold> {
    view.pairs().into_iter().map(|(machine, couverture)| hold(view, machine, couverture)).collect()
}

fn hold(view: &View<'_>, machine: MachineId, couverture: CouvertureId) -> Hold {
    let mine = |batch: &&&Batch| batch.machine == machine && batch.couverture == couverture;
    let week: Vec<&Batch> = view.week.iter().filter(mine).copied().collect();
    let of = |figure: fn(&Batch) -> Option<f64>| -> Vec<f64> {
        week.iter().filter_map(|batch| figure(batch)).filter(|value| value.is_finite()).collect()
    };
    let means = of(|batch| batch.measures.working_mean_c);
    let moments = Moments::of(&means);
    let held: f64 = of(held_minutes).iter().sum();
    let unknown: f64 = of(|batch| batch.measures.unknown_minutes).iter().sum();
    let limits = view.plant.machine(&machine).map(|found| view.plant.limits(found, &couverture));
    let working = limits.map(|limits| limits.working);
    let earlier = view.before.iter().filter(mine).filter_map(|batch| batch.measures.working_mean_c);
    let mut all: Vec<f64> = earlier.chain(means.iter().copied()).filter(|value| value.is_finite()).collect();
    let all = all.split_off(all.len().saturating_sub(LOOKS_BACK));
    let band = working.filter(|_| FEWEST <= all.len());
    let capability = band.and_then(|band| capability(&all, (band.low(), band.high()), COVERAGE).ok());
    Hold {
        machine,
        couverture,
        working,
        batches: means.len(),
        mean_c: moments.mean(),
        between_c: moments.standard_deviation(),
        within_c: maths::statistics::median(&of(|batch| batch.measures.working_sd_c)),
        drift_c_per_h: maths::statistics::median(&of(|batch| batch.measures.drift_c_per_h)),
        unknown_percent: (0.0 < held).then(|| 100.0 * unknown / held),
        capability,
        capability_n: all.len(),
    }
}
