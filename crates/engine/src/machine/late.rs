//! What came too late to be watched, and what has to be done again because of it.

use model::{Event, EventKind, Span, Timestamp};
use serde::{Deserialize, Serialize};

use super::MachineWatch;
use crate::standing::JUDGED_AFTER;

/// The oldest times of what came after its turn.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Late {
    /// From there on phases and measures have to be worked out again from the store.
    worked_out: Option<Timestamp>,
    /// From there on the standing of batches that have ended has to be judged again.
    judged: Option<Timestamp>,
}

impl Late {
    pub(super) fn work_out_from(&mut self, at: Timestamp) {
        self.worked_out = Some(self.worked_out.map_or(at, |late| late.min(at)));
    }

    fn judge_from(&mut self, at: Timestamp) {
        self.judged = Some(self.judged.map_or(at, |late| late.min(at)));
    }

    pub(super) fn is_any(&self) -> bool {
        self.worked_out.is_some() || self.judged.is_some()
    }
}

impl MachineWatch {
    /// Somebody tells what may have happened some while ago. The watch goes on with it; what was worked out since then was so without it.
    pub(super) fn told(&mut self, event: &Event) {
        let bears_on_phases = match event.kind {
            EventKind::Charge { .. } | EventKind::Seed { .. } | EventKind::End => true,
            EventKind::TopUp { .. }
            | EventKind::TemperTest(_)
            | EventKind::Reference { .. }
            | EventKind::Note { .. } => false,
        };
        if bears_on_phases && self.sorter.is_past(event.at) {
            self.late.work_out_from(event.at);
        }
    }

    /// A test or a top-up may be of a batch that has ended.
    pub(super) fn told_of_ended(&mut self, event: &Event) {
        let judged_after = match event.kind {
            EventKind::TemperTest(_) => JUDGED_AFTER,
            EventKind::TopUp { .. } => Span::ZERO,
            EventKind::Charge { .. }
            | EventKind::Seed { .. }
            | EventKind::Reference { .. }
            | EventKind::Note { .. }
            | EventKind::End => return,
        };
        if self.book.ended_after(event.at - judged_after) && !self.book.is_open_at(event.at) {
            self.late.judge_from(event.at - judged_after);
        }
    }

    /// From when on phases and measures have to be worked out again, since the last call.
    pub(crate) fn take_worked_out_from(&mut self) -> Option<Timestamp> {
        self.late.worked_out.take()
    }

    /// From when on ended batches have to be judged again, since the last call.
    pub(crate) fn take_judged_from(&mut self) -> Option<Timestamp> {
        self.late.judged.take()
    }
}
