//! How the service is, put together from what its parts say.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use intake::IntakeStats;
use web::{Health, IntakeState};

/// What the health page is made from.
pub(crate) struct Vitals {
    pub(crate) intake: Arc<IntakeStats>,
    /// Blocks that the mover has not taken yet.
    pub(crate) backlog: Arc<AtomicU64>,
    pub(crate) embedded: bool,
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
        if self.embedded {
            tracing::trace!("the embedded broker's queue does not survive a restart");
        }
        Health {
            intake: state,
            messages: counts.messages,
            readings: counts.readings,
            rejected: counts.rejected,
            journal_backlog: self.backlog.load(Ordering::Relaxed),
            troubles,
        }
    }
}
