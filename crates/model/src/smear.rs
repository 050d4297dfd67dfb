//! A smear that somebody has taken for a temper test and that still cools.

use serde::{Deserialize, Serialize};

use crate::{MachineId, Timestamp};

/// A temper test that has been started.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Smear {
    /// Of which machine.
    pub machine: MachineId,
    /// By whom, if they said.
    pub by: Option<String>,
    /// When it was taken.
    pub at: Timestamp,
}
