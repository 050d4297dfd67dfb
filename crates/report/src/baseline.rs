//! A baseline as programs read it. Figures carry their unit in their name; one that too few batches had is `null`.

use model::{Baseline, Usual};
use serde::Serialize;

/// What is usual for a machine with a couverture.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[expect(missing_docs, reason = "`model::Baseline` says what each is; the names carry the units")]
pub struct BaselineDto {
    pub machine: String,
    pub couverture: String,
    /// `learning`, `learned` or `frozen`.
    pub state: &'static str,
    pub batches: usize,
    pub needed: usize,
    pub since: Option<String>,
    pub by: Option<String>,
    pub used_cooling_minutes: Option<f64>,
    pub cooling_minutes: Option<UsualDto>,
    pub cooling_minutes_per_kg: Option<UsualDto>,
    pub cooling_tau_min: Option<UsualDto>,
    pub settled_c: Option<UsualDto>,
    pub hold_offset_c: Option<UsualDto>,
    pub seed_dip_c: Option<UsualDto>,
    pub working_sd_c: Option<UsualDto>,
    pub mass_kg: Option<UsualDto>,
}

/// A figure over several batches.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct UsualDto {
    /// Half of the batches lie below.
    pub median: f64,
    /// Standard deviation, from the median distance to the median.
    pub spread: f64,
    /// Batches that had this figure.
    pub batches: usize,
}

impl From<&Usual> for UsualDto {
    fn from(usual: &Usual) -> UsualDto {
        UsualDto { median: rounded(usual.median), spread: rounded(usual.spread), batches: usual.batches }
    }
}

impl From<&Baseline> for BaselineDto {
    fn from(baseline: &Baseline) -> BaselineDto {
        let figure = |usual: &Option<Usual>| usual.as_ref().map(UsualDto::from);
        BaselineDto {
            machine: baseline.machine.to_string(),
            couverture: baseline.couverture.to_string(),
            state: baseline.state.as_str(),
            batches: baseline.batches,
            needed: baseline.needed,
            since: baseline.since.map(|since| since.to_string()),
            by: baseline.by.clone(),
            used_cooling_minutes: baseline.used_cooling_minutes.map(rounded),
            cooling_minutes: figure(&baseline.cooling_minutes),
            cooling_minutes_per_kg: figure(&baseline.cooling_minutes_per_kg),
            cooling_tau_min: figure(&baseline.cooling_tau_min),
            settled_c: figure(&baseline.settled_c),
            hold_offset_c: figure(&baseline.hold_offset_c),
            seed_dip_c: figure(&baseline.seed_dip_c),
            working_sd_c: figure(&baseline.working_sd_c),
            mass_kg: figure(&baseline.mass_kg),
        }
    }
}

/// A thousandth is finer than any of these is known.
fn rounded(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}
