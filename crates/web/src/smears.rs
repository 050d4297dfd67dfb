//! Smears that still cool: one a machine, written down when it is taken, and at hand for every page that counts it down.

use std::collections::BTreeMap;
use std::sync::{Arc, PoisonError, RwLock};

use model::{MachineId, Smear, Timestamp};
use records::Records;
use tracing::warn;

/// The newest smear of each machine.
pub(crate) type ByMachine = BTreeMap<MachineId, Smear>;

/// The smears of the works.
pub(crate) struct Smears(RwLock<Arc<ByMachine>>);

impl Smears {
    /// Those on record. If they cannot be read, none is counted down until the next is taken.
    pub(crate) fn open(records: &Records) -> Smears {
        let known = records.newest_smears().unwrap_or_else(|error| {
            warn!(error = &error as &dyn std::error::Error, "started temper tests cannot be read");
            Vec::new()
        });
        let known = known.into_iter().map(|smear| (smear.machine.clone(), smear)).collect();
        Smears(RwLock::new(Arc::new(known)))
    }

    /// As they are now.
    pub(crate) fn now(&self) -> Arc<ByMachine> {
        self.0.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// One has been taken and is on disk.
    pub(crate) fn note(&self, smear: Smear) {
        let mut held = self.0.write().unwrap_or_else(PoisonError::into_inner);
        Arc::make_mut(&mut held).insert(smear.machine.clone(), smear);
    }

    /// A result was entered: a smear that was taken before is no longer waited for. The watch hears of the result a little later.
    pub(crate) fn judged(&self, machine: &MachineId, at: Timestamp) {
        let mut held = self.0.write().unwrap_or_else(PoisonError::into_inner);
        if held.get(machine).is_some_and(|smear| smear.at <= at) {
            Arc::make_mut(&mut held).remove(machine);
        }
    }
}
