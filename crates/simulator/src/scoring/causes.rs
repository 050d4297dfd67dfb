//! What a planted cause may lead to besides the conditions that can be computed: a projection that was right when it was
//! made, a step that looks like a drift, a reading that was lost.

use model::FindingKind;

use crate::faults::FaultKind;

/// Kinds of finding that `cause` explains while it lasts and for a while after.
pub fn may_raise(cause: FaultKind) -> &'static [FindingKind] {
    use FindingKind as F;
    match cause {
        FaultKind::Scorch => &[F::Scorch, F::HeaterStuck],
        FaultKind::OverheatedHold | FaultKind::WarmHold | FaultKind::ColdHold => {
            &[F::HoldDrift, F::HeaterStuck]
        }
        FaultKind::HeaterStuck => &[F::HeaterStuck, F::HoldDrift, F::TemperLoss, F::WarmHold],
        FaultKind::HeaterDead => &[F::HoldDrift, F::Undershoot],
        FaultKind::WarmWater | FaultKind::FouledJacket | FaultKind::CoolingWeak | FaultKind::Overfilled => {
            &[F::SlowCooling]
        }
        FaultKind::HoldDrift => &[F::HoldDrift, F::ProbeDrift],
        FaultKind::Silent | FaultKind::LateUpload => &[F::Silent],
        FaultKind::PowerCut => &[
            F::Silent,
            F::SlowCooling,
            F::ColdHold,
            F::Solidifying,
            F::StirrerStopped,
            // It comes back below the melt range and is warmed again.
            F::TemperLoss,
            F::TestDue,
        ],
        FaultKind::ProbeOpen | FaultKind::ProbeMissing => &[F::ProbeFault, F::Silent],
        FaultKind::ProbeStuck => &[F::ProbeStuck],
        FaultKind::Spikes => &[F::Spikes],
        FaultKind::StirrerStopped => &[F::StirrerStopped, F::SlowCooling, F::ProbeStuck],
        FaultKind::SeedMissed => &[F::SeedMissed, F::SlowCooling],
        FaultKind::LateSeed => &[F::SlowCooling],
        FaultKind::LittleSeed => &[F::SeedMissed, F::SlowCooling],
        FaultKind::Undershoot => &[F::Undershoot, F::HoldDrift],
        FaultKind::Hunting => &[F::Hunting, F::HoldDrift],
        FaultKind::Thickening => &[F::Thickening],
        FaultKind::HotRoom => &[F::HotRoom, F::SlowCooling],
        FaultKind::DampRoom => &[F::DampRoom],
        FaultKind::ClockOff => {
            &[F::ClockOff, F::Silent, F::ProbeStuck, F::SlowCooling, F::TestDue, F::LongHold]
        }
        FaultKind::ProbeOut => &[
            F::ColdHold,
            F::Solidifying,
            F::Undershoot,
            F::HoldDrift,
            F::SlowCooling,
            F::ProbeDrift,
            F::HeaterStuck,
            F::TestDue,
            F::LongHold,
        ],
        FaultKind::Fouling => &[F::CoolingFade, F::SlowCooling],
        FaultKind::ProbeAgeing => &[F::ProbeDrift, F::HoldDrift],
    }
}
