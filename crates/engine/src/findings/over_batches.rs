//! The detectors that look over batches: they are asked when a batch closes, and `probe-drift` also when somebody compares the probe with a
//! hand thermometer. What they say is dated when the watch knew that the batch had closed.

use model::{Batch, CouvertureId, FindingKind, Timestamp};
use serde::{Deserialize, Serialize};

use maths::statistics::{MAD_TO_SIGMA, median};

use super::Told;
use super::cooling_fade::CoolingFade;
use super::probe_drift::ProbeDrift;

/// A batch that has closed.
pub(crate) struct Seen<'a> {
    pub(crate) batch: &'a Batch,
    /// What was found in it.
    pub(crate) found: &'a [FindingKind],
    /// Its settled hold less the set-point of those minutes, if that stood still.
    pub(crate) hold_offset_c: Option<f64>,
    /// When the watch knew that it had closed.
    pub(crate) known: Timestamp,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct OverBatches {
    probe_drift: ProbeDrift,
    cooling_fade: CoolingFade,
}

impl OverBatches {
    pub(crate) fn step(&mut self, seen: &Seen<'_>, told: &mut Told) {
        told.note(FindingKind::ProbeDrift, self.probe_drift.closed(seen));
        told.note(FindingKind::CoolingFade, self.cooling_fade.closed(seen));
    }

    /// The probe showed so much more than a hand thermometer beside it.
    pub(crate) fn compared(&mut self, offset_c: f64, at: Timestamp, known: Timestamp, told: &mut Told) {
        told.note(FindingKind::ProbeDrift, self.probe_drift.compared(offset_c, at, known));
    }

    /// A person says that the machine is another one now: what is known is forgotten.
    pub(crate) fn reset(&mut self, couverture: &CouvertureId, at: Timestamp, told: &mut Told) {
        told.note(FindingKind::ProbeDrift, self.probe_drift.reset(at));
        told.note(FindingKind::CoolingFade, self.cooling_fade.reset(couverture, at));
    }
}

/// The deviation of a series by its steps from one value to the next, which a slow drift hardly moves: their median as a deviation (Hampel
/// 1974), over √2. `None` of fewer than two values.
pub(super) fn step_to_step(values: &[f64]) -> Option<f64> {
    let steps: Vec<f64> = values.windows(2).map(|pair| (pair[1] - pair[0]).abs()).collect();
    Some(MAD_TO_SIGMA * median(&steps)? / 2.0_f64.sqrt())
}

/// Did heater, stirrer or probe fail? Such a batch is no witness of what the machine is like.
pub(super) fn machine_failed(kind: FindingKind) -> bool {
    match kind {
        FindingKind::HeaterStuck
        | FindingKind::StirrerStopped
        | FindingKind::ProbeStuck
        | FindingKind::ProbeFault => true,
        FindingKind::Scorch
        | FindingKind::TemperLoss
        | FindingKind::WarmHold
        | FindingKind::ColdHold
        | FindingKind::SlowCooling
        | FindingKind::Undershoot
        | FindingKind::SeedMissed
        | FindingKind::HoldDrift
        | FindingKind::Hunting
        | FindingKind::Thickening
        | FindingKind::LongHold
        | FindingKind::Solidifying
        | FindingKind::Spikes
        | FindingKind::Silent
        | FindingKind::ClockOff
        | FindingKind::HotRoom
        | FindingKind::DampRoom
        | FindingKind::TestDue
        | FindingKind::ProbeDrift
        | FindingKind::CoolingFade
        | FindingKind::CommonCause => false,
    }
}

#[cfg(test)]
pub(super) mod testing {
    //! Noise for simulations: the same at every run.

    /// A linear congruential generator (Knuth's MMIX constants, from memory).
    pub(crate) struct Noise(u64);

    impl Noise {
        pub(crate) fn new(seed: u64) -> Noise {
            Noise(seed)
        }

        fn even(&mut self) -> f64 {
            self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (self.0 >> 11) as f64 / (1_u64 << 53) as f64
        }

        /// Near enough to a standard normal value: twelve even ones summed.
        pub(crate) fn normal(&mut self) -> f64 {
            (0..12).map(|_| self.even()).sum::<f64>() - 6.0
        }
    }
}
