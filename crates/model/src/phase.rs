//! What a charge is going through.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::Timestamp;

/// What a charge is going through, in the order of the usual day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Phase {
    /// No charge, or one that has been left to set.
    Idle,
    /// Rising towards the melt range.
    Melting,
    /// In the melt range.
    Soak,
    /// Falling from the soak to the working range.
    Cooling,
    /// Near the working range, not yet steady.
    Settling,
    /// Ready to be worked with, as far as temperature can say.
    Working,
    /// Brought back up on purpose from below the working range.
    Rewarming,
}

impl Phase {
    /// Every phase, in the order of the usual day.
    pub const ALL: [Phase; 7] = [
        Phase::Idle,
        Phase::Melting,
        Phase::Soak,
        Phase::Cooling,
        Phase::Settling,
        Phase::Working,
        Phase::Rewarming,
    ];

    /// The contract's word.
    pub fn as_str(self) -> &'static str {
        match self {
            Phase::Idle => "idle",
            Phase::Melting => "melting",
            Phase::Soak => "soak",
            Phase::Cooling => "cooling",
            Phase::Settling => "settling",
            Phase::Working => "working",
            Phase::Rewarming => "rewarming",
        }
    }
}

impl fmt::Display for Phase {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

impl FromStr for Phase {
    type Err = ();

    fn from_str(text: &str) -> Result<Phase, ()> {
        Phase::ALL.into_iter().find(|p| p.as_str() == text).ok_or(())
    }
}

/// How much speaks for a phase.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
pub enum Confidence {
    /// It fits, but something that it should rest on was not seen: sparse readings, a gap, a history that begins in the middle.
    Low,
    /// The temperature fits.
    #[default]
    Medium,
    /// The temperature fits and another channel or an event says so too.
    High,
}

impl Confidence {
    /// Its word in documents.
    pub fn as_str(self) -> &'static str {
        match self {
            Confidence::Low => "low",
            Confidence::Medium => "medium",
            Confidence::High => "high",
        }
    }
}

impl FromStr for Confidence {
    type Err = ();

    fn from_str(text: &str) -> Result<Confidence, ()> {
        [Confidence::Low, Confidence::Medium, Confidence::High]
            .into_iter()
            .find(|c| c.as_str() == text)
            .ok_or(())
    }
}

/// A phase and when it was. A change is dated where it happened, not where it was noticed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PhaseSpan {
    /// Which phase.
    pub phase: Phase,
    /// Its first moment.
    pub from: Timestamp,
    /// The moment after its last; `None` while it goes on.
    pub to: Option<Timestamp>,
    /// How much speaks for it.
    #[serde(default)]
    pub confidence: Confidence,
}
