//! Mistakes in the order of how much they would hurt.

use model::FindingKind;
use simulator::scoring::Case;

/// Something that the engine got wrong.
#[derive(Debug, Clone)]
pub(crate) struct Mistake {
    pub(crate) badness: f64,
    pub(crate) says: String,
    pub(crate) scenario: &'static str,
    pub(crate) seed: u64,
}

impl Mistake {
    pub(crate) fn new(case: &Case, badness: f64, says: String) -> Mistake {
        Mistake { badness, says, scenario: case.scenario.as_str(), seed: case.seed }
    }
}

/// What a miss or a false finding of `kind` weighs: by the priority that the contract gives it.
pub(crate) fn weight(kind: FindingKind) -> f64 {
    match kind {
        FindingKind::Scorch
        | FindingKind::TemperLoss
        | FindingKind::Solidifying
        | FindingKind::StirrerStopped
        | FindingKind::HeaterStuck
        | FindingKind::ProbeFault
        | FindingKind::CommonCause => 30.0,
        FindingKind::WarmHold
        | FindingKind::ColdHold
        | FindingKind::SlowCooling
        | FindingKind::Undershoot
        | FindingKind::SeedMissed
        | FindingKind::HoldDrift
        | FindingKind::Thickening
        | FindingKind::ProbeStuck
        | FindingKind::Silent
        | FindingKind::ProbeDrift
        | FindingKind::CoolingFade => 15.0,
        FindingKind::Hunting
        | FindingKind::LongHold
        | FindingKind::Spikes
        | FindingKind::ClockOff
        | FindingKind::HotRoom
        | FindingKind::DampRoom
        | FindingKind::TestDue => 8.0,
    }
}
