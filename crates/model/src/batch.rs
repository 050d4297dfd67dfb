//! One charge of couverture, from the start of its rise into the melt range to the next.

use serde::{Deserialize, Serialize};

use crate::{BatchId, CouvertureId, MachineId, Method, Phase, PhaseSpan, Timestamp};

/// What may be done with a batch. Temperature alone never gives `InTemper`: that takes a temper test.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Standing {
    /// A temper test passed and nothing has disturbed the batch since.
    InTemper,
    /// Something happened since the last test, or the test was fair.
    Doubtful,
    /// A temper test failed.
    OffTemper,
    /// No temper test yet.
    Unproven,
}

impl Standing {
    /// The contract's word.
    pub fn as_str(self) -> &'static str {
        match self {
            Standing::InTemper => "in-temper",
            Standing::Doubtful => "doubtful",
            Standing::OffTemper => "off-temper",
            Standing::Unproven => "unproven",
        }
    }
}

/// The figures of a batch. What cannot be computed is `None`.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Measures {
    /// Highest chocolate temperature of the soak, °C.
    pub soak_max_c: Option<f64>,
    /// Length of the phase cooling, minutes.
    pub cooling_minutes: Option<f64>,
    /// Newton time constant of the cooling, minutes.
    pub cooling_tau_min: Option<f64>,
    /// What the time constant was fitted against.
    pub cooling_tau_against: Option<TauAgainst>,
    /// Lowest chocolate temperature from the start of cooling to the start of working, °C.
    pub lowest_c: Option<f64>,
    /// Depth of the dip when seed went in, °C.
    pub seed_dip_c: Option<f64>,
    /// Mean of minutes 10 to 30 of working, °C.
    pub settled_c: Option<f64>,
    /// Length of working, minutes.
    pub working_minutes: Option<f64>,
    /// Mean of the good readings in working, °C.
    pub working_mean_c: Option<f64>,
    /// Standard deviation of the good readings in working, °C.
    pub working_sd_c: Option<f64>,
    /// Theil–Sen slope of block means in working, °C per hour.
    pub drift_c_per_h: Option<f64>,
    /// Area above the temper-loss limit in settling and working, °C·min.
    pub above_loss_c_min: Option<f64>,
    /// Minutes of settling and working for which nothing usable is known.
    pub unknown_minutes: Option<f64>,
}

/// What a cooling time constant was fitted against.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum TauAgainst {
    /// The measured jacket.
    Jacket,
    /// An asymptote that was fitted with it.
    FittedAsymptote,
}

/// One charge of couverture.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Batch {
    /// Machine and start in UTC minutes.
    pub id: BatchId,
    /// The machine that held it.
    pub machine: MachineId,
    /// What was in it.
    pub couverture: CouvertureId,
    /// Of which lot, if told.
    pub lot: Option<String>,
    /// How it was tempered.
    pub method: Method,
    /// How much, if told, kg.
    pub mass_kg: Option<f64>,
    /// Start of the rise into the melt range.
    pub start: Timestamp,
    /// `None` while it goes on.
    pub end: Option<Timestamp>,
    /// What it went through, without gaps, in order.
    pub phases: Vec<PhaseSpan>,
    /// Its figures so far.
    pub measures: Measures,
    /// What may be done with it.
    pub standing: Standing,
    /// Why it stands so, in words.
    pub reasons: Vec<String>,
}

impl Batch {
    /// The first span of `phase`.
    pub fn first(&self, phase: Phase) -> Option<PhaseSpan> {
        self.phases.iter().copied().find(|span| span.phase == phase)
    }

    /// The phase it is in, or ended in.
    pub fn last_phase(&self) -> Option<PhaseSpan> {
        self.phases.last().copied()
    }
}
