//! What a live watch knows at this moment: one lane a machine.

use serde::{Deserialize, Serialize};

use crate::{Baseline, Batch, Channel, Event, Finding, MachineId, Phase, Span, Timestamp};

/// The newest value of a channel.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Latest {
    /// When it was measured.
    pub at: Timestamp,
    /// In the channel's unit; `None` if the newest reading is `missing`.
    pub value: Option<f64>,
}

/// When a machine will be ready, as far as can be told.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Forecast {
    /// When the working range should be reached.
    pub at: Timestamp,
    /// It may be earlier or later by this much (about nine times in ten).
    pub give_or_take: Span,
}

/// When somebody should judge the next smear.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct TestDue {
    /// From then on it is overdue.
    pub at: Timestamp,
    /// Why then, within a sentence: `a top-up since the last temper test`.
    pub why: String,
}

/// One machine as it stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Lane {
    /// Which machine.
    pub machine: MachineId,
    /// How far the engine has worked through this machine's readings.
    pub seen_to: Timestamp,
    /// Newest value a channel, in the order of [`Channel::ALL`].
    pub latest: [Option<Latest>; Channel::ALL.len()],
    /// Slope of the chocolate over the last minutes, °C/min.
    pub slope_c_per_min: Option<f64>,
    /// Where the chocolate was ten minutes ago, °C.
    pub ten_minutes_ago_c: Option<f64>,
    /// The phase it is in.
    pub phase: Phase,
    /// Since when.
    pub phase_since: Timestamp,
    /// The batch that is in it.
    pub batch: Option<Batch>,
    /// When it will be ready.
    pub forecast: Option<Forecast>,
    /// What is open, the most urgent first.
    pub open: Vec<Finding>,
    /// Newest temper test of this batch.
    pub last_test: Option<Event>,
    /// When the next one is due; `None` before the charge is ready by its temperature, and when it is idle.
    pub test_due: Option<TestDue>,
}

impl Lane {
    /// The newest value of `channel`.
    pub fn latest(&self, channel: Channel) -> Option<Latest> {
        self.latest[channel.index()]
    }
}

/// The whole works as it stands.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Board {
    /// Newest arrival that went into it.
    pub at: Timestamp,
    /// One a machine, in the order of the plant file.
    pub lanes: Vec<Lane>,
    /// Open findings of the plant.
    pub plant_open: Vec<Finding>,
    /// What is usual, by machine in the order of the plant file, and couverture.
    pub baselines: Vec<Baseline>,
}
