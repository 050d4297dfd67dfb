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

/// A phase and when it was. A change is dated where it happened, not where it was noticed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PhaseSpan {
    /// Which phase.
    pub phase: Phase,
    /// Its first moment.
    pub from: Timestamp,
    /// The moment after its last; `None` while it goes on.
    pub to: Option<Timestamp>,
}
