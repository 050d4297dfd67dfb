//! The clock of the chocolate has been set back.
//!
//! What was measured by it before has been watched by times that are still to come. The watch goes on from the time that it shows now, with what it
//! knows of the charge: its phase, its batch, its tests. What it looks back for begins anew, and what was open is over.

use model::Timestamp;

use super::{MachineWatch, Setting};
use crate::findings::ProcessFindings;
use crate::findings::around::AroundFindings;
use crate::findings::probe_fault::ProbeFault;
use crate::findings::spikes::Spikes;
use crate::lane::Newest;
use crate::phases::Pace;
use crate::regular::Regular;
use crate::rise::HeldRise;
use crate::sieve::Sieve;

impl MachineWatch {
    /// It is `at` again, although something later has had its turn.
    pub(super) fn turn_back(&mut self, setting: &Setting<'_>, at: Timestamp) {
        self.ledger.close_watched(at);
        self.tracker.turn_back(at);
        self.book.turn_back(at);
        self.sieve = Sieve::new(setting.machine.style);
        self.history.forget_all();
        self.pace = Pace::default();
        self.rise = HeldRise::default();
        self.process = ProcessFindings::default();
        self.around = AroundFindings::default();
        self.probe_fault = ProbeFault::default();
        self.spikes = Spikes::default();
        self.setpoint_told = Regular::default();
        self.newest = Newest::default();
        self.disturbed_at = None;
        self.last_chocolate = None;
    }
}
