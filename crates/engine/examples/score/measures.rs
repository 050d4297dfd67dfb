//! Measures against those of the truth: by how many per cent they are off.
//!
//! Of temperatures 1 % is a third of a degree. The share is taken of the true value, or of a floor where that is nearly
//! nothing: 0.1 °C of a deviation, 1 °C·min of an area (what a finding needs), a minute of a length.

use model::{Channel, Content, Measures, Phase, Span};
use simulator::TrueBatch;

use crate::play::Watched;

/// One measure, both ways; `None` is "not computed".
pub(crate) struct Compared {
    pub(crate) name: &'static str,
    pub(crate) truth: f64,
    pub(crate) found: Option<f64>,
    /// Share of the truth by which it is off.
    pub(crate) error: f64,
}

pub(crate) const NAMES: [&str; 9] = [
    "soak_max_c",
    "cooling_minutes",
    "cooling_tau_min",
    "lowest_c",
    "settled_c",
    "working_minutes",
    "working_mean_c",
    "working_sd_c",
    "above_loss_c_min",
];

pub(crate) fn compare(truth: &Measures, found: &Measures) -> Vec<Compared> {
    let pairs = [
        (truth.soak_max_c, found.soak_max_c, 1.0),
        (truth.cooling_minutes, found.cooling_minutes, 1.0),
        (truth.cooling_tau_min, found.cooling_tau_min, 1.0),
        (truth.lowest_c, found.lowest_c, 1.0),
        (truth.settled_c, found.settled_c, 1.0),
        (truth.working_minutes, found.working_minutes, 1.0),
        (truth.working_mean_c, found.working_mean_c, 1.0),
        (truth.working_sd_c, found.working_sd_c, 0.1),
        (truth.above_loss_c_min, found.above_loss_c_min, 1.0),
    ];
    let one = |(name, (truth, found, floor)): (&&'static str, (Option<f64>, Option<f64>, f64))| {
        let truth = truth?;
        let error = found.map_or(f64::INFINITY, |f| (f - truth).abs() / truth.abs().max(floor));
        Some(Compared { name, truth, found, error })
    };
    NAMES.iter().zip(pairs).filter_map(one).collect()
}

/// The truth's measures, with those that the contract takes over the readings (mean and deviation of working, the settled
/// level) worked out from the readings of the true phase.
pub(crate) fn true_measures(batch: &TrueBatch, watched: &Watched) -> Measures {
    let mut measures = batch.measures.clone();
    let Some(working) = batch.phases.iter().find(|p| p.phase == Phase::Working) else { return measures };
    let mut readings: Vec<(model::Timestamp, f64)> = watched
        .arrivals
        .iter()
        .filter_map(|arrival| match &arrival.content {
            Content::Reading(r) if r.channel == Channel::Chocolate => Some((r.at, r.value?)),
            Content::Reading(_) | Content::Event(_) => None,
        })
        .filter(|(at, _)| working.from <= *at && working.to.is_none_or(|to| *at < to))
        .collect();
    readings.sort_by_key(|r| r.0);
    readings.dedup_by_key(|r| r.0);
    let values: Vec<f64> = readings.iter().map(|r| r.1).collect();
    if values.len() > 1 {
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
        measures.working_mean_c = Some(mean);
        measures.working_sd_c = Some((squares / (values.len() - 1) as f64).sqrt());
    }
    let (from, to) = (working.from + Span::from_mins(10), working.from + Span::from_mins(30));
    let level: Vec<f64> = readings.iter().filter(|r| from <= r.0 && r.0 < to).map(|r| r.1).collect();
    if measures.settled_c.is_some() && !level.is_empty() {
        measures.settled_c = Some(level.iter().sum::<f64>() / level.len() as f64);
    }
    measures
}
