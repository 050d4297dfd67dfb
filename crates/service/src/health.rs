//! How the service is, put together from what its parts say.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use intake::IntakeStats;
use web::{Health, IntakeState};

/// Enough to see what a sender does wrong.
const REJECTS_TOLD: usize = 10;

/// What the health page is made from.
pub(crate) struct Vitals {
    pub(crate) intake: Arc<IntakeStats>,
    /// Blocks that the mover has not taken yet.
    pub(crate) backlog: Arc<AtomicU64>,
}

impl Vitals {
    pub(crate) fn health(&self) -> Health {
        let counts = self.intake.counts();
        let mut troubles = Vec::new();
        let state = match self.intake.state() {
            intake::IntakeState::Connected => IntakeState::Connected,
            intake::IntakeState::Reconnecting { why } => {
                troubles.push(why);
                IntakeState::Connecting
            }
            intake::IntakeState::Stalled { why } => {
                troubles.push(why);
                IntakeState::Held
            }
            intake::IntakeState::Stopped => IntakeState::Stopped,
        };
        Health {
            intake: state,
            messages: counts.messages,
            readings: counts.readings,
            rejected: counts.rejected,
            journal_backlog: self.backlog.load(Ordering::Relaxed),
            troubles,
            latest_rejects: self.latest_rejects(),
            possible_gaps: self.possible_gaps(),
        }
    }

    fn latest_rejects(&self) -> Vec<String> {
        let rejects = self.intake.rejects();
        let told = |reject: &wire::Reject| format!("{} {}: {}", reject.arrived, reject.topic, reject.reason);
        rejects.iter().rev().take(REJECTS_TOLD).map(told).collect()
    }

    fn possible_gaps(&self) -> Vec<String> {
        let told = |gap: &intake::PossibleGap| format!("{} to {}", gap.from, gap.to);
        self.intake.possible_gaps().iter().map(told).collect()
    }
}
