//! Something wrong or worth knowing, with a beginning, evidence and advice.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::{BatchId, FindingId, MachineId, Timestamp};

macro_rules! kinds {
    ($($(#[$doc:meta])* $variant:ident = $word:literal, $title:literal;)*) => {
        /// What a finding is about. The contract (section 6) gives each its definition.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        pub enum FindingKind { $($(#[$doc])* $variant,)* }

        impl FindingKind {
            /// Every kind, in the order of the contract.
            pub const ALL: &[FindingKind] = &[$(FindingKind::$variant,)*];

            /// The contract's word.
            pub fn as_str(self) -> &'static str {
                match self { $(FindingKind::$variant => $word,)* }
            }

            /// What people call it, in the trade's words: on pages, charts and in messages.
            pub fn title(self) -> &'static str {
                match self { $(FindingKind::$variant => $title,)* }
            }
        }
    };
}

kinds! {
    /// Chocolate above the scorch limit.
    Scorch = "scorch", "Too hot: it may burn";
    /// Seed crystals melted out while settling or working.
    TemperLoss = "temper-loss", "Seed crystals at risk";
    /// Working, but above the range.
    WarmHold = "warm-hold", "Held too warm";
    /// Working, but below the range.
    ColdHold = "cold-hold", "Held too cold";
    /// Cooling takes much longer than usual.
    SlowCooling = "slow-cooling", "Cooling slowly";
    /// Below the lowest point wanted on the way down.
    Undershoot = "undershoot", "Cooled too far";
    /// Working range reached without seed.
    SeedMissed = "seed-missed", "No sign of seed";
    /// A slow one-way move of the hold.
    HoldDrift = "hold-drift", "The hold is drifting";
    /// Swings about the hold.
    Hunting = "hunting", "Swinging about the hold";
    /// The stirrer's motor works harder at the same temperature.
    Thickening = "thickening", "Thickening";
    /// Working for long without a passed test.
    LongHold = "long-hold", "Held for long without a passed test";
    /// The charge is setting in the machine.
    Solidifying = "solidifying", "Setting in the machine";
    /// No stirring where there should be.
    StirrerStopped = "stirrer-stopped", "The stirrer stands still";
    /// Heat that nobody asked for.
    HeaterStuck = "heater-stuck", "Heat that nobody asked for";
    /// The probe repeats one value.
    ProbeStuck = "probe-stuck", "The probe repeats one value";
    /// The probe gives nothing usable.
    ProbeFault = "probe-fault", "The probe gives nothing usable";
    /// Lone jumps of the probe.
    Spikes = "spikes", "Lone jumps of the probe";
    /// Nothing arrives.
    Silent = "silent", "No readings arrive";
    /// The sender's clock is wrong.
    ClockOff = "clock-off", "A sender's clock is wrong";
    /// The room is too warm.
    HotRoom = "hot-room", "The room is too warm";
    /// The room is too damp.
    DampRoom = "damp-room", "The room is too damp";
    /// A temper test should be made.
    TestDue = "test-due", "A temper test is due";
    /// The probe has drifted, or does not show what a hand thermometer shows.
    ProbeDrift = "probe-drift", "The probe does not read as it should";
    /// The machine cools less well than it did.
    CoolingFade = "cooling-fade", "The machine cools less well than it did";
    /// The same trouble on several machines at once.
    CommonCause = "common-cause", "The same trouble on several machines";
}

impl FindingKind {
    /// Does a finding of this kind outlive the batch that it was raised in? It tells of the machine, and stands until somebody mends that.
    pub fn outlives_batch(self) -> bool {
        match self {
            FindingKind::ProbeDrift | FindingKind::CoolingFade => true,
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
            | FindingKind::StirrerStopped
            | FindingKind::HeaterStuck
            | FindingKind::ProbeStuck
            | FindingKind::ProbeFault
            | FindingKind::Spikes
            | FindingKind::Silent
            | FindingKind::ClockOff
            | FindingKind::HotRoom
            | FindingKind::DampRoom
            | FindingKind::TestDue
            | FindingKind::CommonCause => false,
        }
    }

    /// Does a finding of this kind make the course of a batch unfit to be called usual? Prompts, rooms and clocks do not.
    pub fn spoils_course(self) -> bool {
        match self {
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
            | FindingKind::Solidifying
            | FindingKind::StirrerStopped
            | FindingKind::HeaterStuck
            | FindingKind::ProbeStuck
            | FindingKind::ProbeFault
            | FindingKind::ProbeDrift
            | FindingKind::CoolingFade
            | FindingKind::CommonCause => true,
            FindingKind::LongHold
            | FindingKind::Spikes
            | FindingKind::Silent
            | FindingKind::ClockOff
            | FindingKind::HotRoom
            | FindingKind::DampRoom
            | FindingKind::TestDue => false,
        }
    }
}

impl fmt::Display for FindingKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

impl FromStr for FindingKind {
    type Err = ();

    fn from_str(text: &str) -> Result<FindingKind, ()> {
        FindingKind::ALL.iter().copied().find(|k| k.as_str() == text).ok_or(())
    }
}

/// How soon a person is needed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Priority {
    /// When there is time.
    Low,
    /// Soon.
    Medium,
    /// Now.
    High,
}

impl Priority {
    /// Every priority, the least urgent first.
    pub const ALL: [Priority; 3] = [Priority::Low, Priority::Medium, Priority::High];

    /// The contract's word.
    pub fn as_str(self) -> &'static str {
        match self {
            Priority::Low => "low",
            Priority::Medium => "medium",
            Priority::High => "high",
        }
    }
}

impl FromStr for Priority {
    type Err = ();

    fn from_str(text: &str) -> Result<Priority, ()> {
        Priority::ALL.into_iter().find(|p| p.as_str() == text).ok_or(())
    }
}

/// One of the numbers or facts that convinced the detector.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Evidence {
    /// What it is, with its unit at the end of the name (`highest_c`, `area_c_min`).
    pub name: String,
    /// How much, which, or when.
    pub value: EvidenceValue,
}

/// The value of a piece of evidence.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum EvidenceValue {
    /// A number in the unit that the name carries.
    Number(f64),
    /// A word or sentence.
    Text(String),
    /// A moment.
    Time(Timestamp),
}

/// Something wrong or worth knowing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// Its id.
    pub id: FindingId,
    /// The machine; `None` for a finding of the plant.
    pub machine: Option<MachineId>,
    /// The batch that was in the machine.
    pub batch: Option<BatchId>,
    /// What it is about.
    pub kind: FindingKind,
    /// How soon a person is needed.
    pub priority: Priority,
    /// When the trouble began.
    pub from: Timestamp,
    /// When it was over; `None` while it is open.
    pub to: Option<Timestamp>,
    /// When a live watch raised it (event time).
    pub raised_at: Timestamp,
    /// What is the matter, in one sentence.
    pub says: String,
    /// What convinced the detector.
    pub evidence: Vec<Evidence>,
    /// What to do, in one sentence that is safe to follow.
    pub advice: String,
    /// The worse finding that took this one over.
    pub superseded_by: Option<FindingId>,
}

impl Finding {
    /// Is it still going on?
    pub fn is_open(&self) -> bool {
        self.to.is_none()
    }
}
