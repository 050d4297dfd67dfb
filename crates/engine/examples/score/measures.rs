//! Measures against those of the truth: by how many per cent they are off.
//!
//! Of temperatures 1 % is a third of a degree. The share is taken of the true value, or of a floor where that is nearly
//! nothing: 0.1 °C of a deviation, 1 °C·min of an area (what a finding needs), a minute of a length.

use model::Measures;

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
