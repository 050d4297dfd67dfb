//! What a person says of a phase where the program is wrong. Both are kept: the program's own, and what was said.

use serde::{Deserialize, Serialize};

use crate::{BatchId, Phase, Timestamp};

/// From `from` to `to` a batch was in `phase`, whatever the temperature looked like.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PhaseCorrection {
    /// Of which batch.
    pub batch: BatchId,
    /// What it really was.
    pub phase: Phase,
    /// The first moment of it.
    pub from: Timestamp,
    /// The moment after its last; `None` for the rest of the batch.
    pub to: Option<Timestamp>,
    /// Who says so.
    pub by: String,
    /// When it was said. A later one overrides an earlier one.
    pub at: Timestamp,
    /// Why.
    pub reason: String,
}
