//! The watch over the whole works: one arrival at a time, in the order in which they came.
//!
//! **Invariant:** what it says depends on the arrivals alone and on their order, never on how they are cut into calls, on the wall clock
//! or on a restart in between ([`Engine::save`], [`Engine::restore`]).

use std::collections::BTreeMap;
use std::sync::Arc;

use model::{Arrival, Batch, Board, Finding, MachineId, Timestamp};
use plant::Plant;
use serde::{Deserialize, Serialize};

use crate::machine::{MachineWatch, Setting};

/// Counted up when the saved state changes its shape; another version is refused and the watch starts from what follows.
const STATE_VERSION: u32 = 1;

/// Phases, batches and findings of every machine of a plant.
#[derive(Debug, Clone)]
pub struct Engine {
    plant: Arc<Plant>,
    watches: BTreeMap<MachineId, MachineWatch>,
    clock: Timestamp,
}

/// What has changed since somebody last asked.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Changes {
    /// Batches that have ended, in the order in which they did.
    pub ended: Vec<Batch>,
    /// Findings that were raised, grew worse or ended; each as it stands after that change.
    pub findings: Vec<Finding>,
    /// Machines of which readings came too late to be watched, with the oldest of their times: phases and measures from there on
    /// have to be worked out again.
    pub late: Vec<(MachineId, Timestamp)>,
}

/// Why a saved state cannot be taken up.
#[derive(Debug, thiserror::Error)]
pub enum StateError {
    /// Written by another version.
    #[error("the saved state has version {found}; this program reads version {STATE_VERSION}")]
    Version {
        /// The version found.
        found: u32,
    },
    /// Not a saved state.
    #[error("the saved state cannot be read")]
    Unreadable(#[from] postcard::Error),
}

#[derive(Serialize, Deserialize)]
struct Saved {
    version: u32,
    clock: Timestamp,
    watches: BTreeMap<MachineId, MachineWatch>,
}

impl Engine {
    /// A watch that has seen nothing.
    pub fn new(plant: Arc<Plant>) -> Engine {
        let watches = plant
            .machines
            .iter()
            .map(|machine| (machine.id.clone(), MachineWatch::new(&Setting { plant: &plant, machine })))
            .collect();
        Engine { plant, watches, clock: Timestamp::default() }
    }

    /// Takes the next arrival. One of a machine that the plant does not know only moves the clock.
    pub fn apply(&mut self, arrival: &Arrival) {
        self.advance_clock(arrival.arrived);
        let Some(machine) = self.plant.machine(arrival.machine()) else { return };
        if let Some(watch) = self.watches.get_mut(&machine.id) {
            watch.apply(&Setting { plant: &self.plant, machine }, arrival);
        }
    }

    /// Arrival time has moved on to `clock`, whether or not anything came. Earlier than before counts as now.
    pub fn advance_clock(&mut self, clock: Timestamp) {
        if clock <= self.clock {
            return;
        }
        self.clock = clock;
        let plant = &self.plant;
        for machine in &plant.machines {
            if let Some(watch) = self.watches.get_mut(&machine.id) {
                watch.advance_clock(&Setting { plant, machine }, clock);
            }
        }
    }

    /// How far arrival time has come; `None` before the first arrival.
    pub fn clock(&self) -> Option<Timestamp> {
        (self.clock != Timestamp::default()).then_some(self.clock)
    }

    /// The stream is over: what waits for its turn goes through.
    pub fn finish(&mut self) {
        for machine in &self.plant.machines {
            if let Some(watch) = self.watches.get_mut(&machine.id) {
                watch.finish(&Setting { plant: &self.plant, machine });
            }
        }
    }

    /// The works as it stands.
    pub fn board(&self) -> Board {
        let lanes = self
            .plant
            .machines
            .iter()
            .filter_map(|machine| {
                Some(self.watches.get(&machine.id)?.lane(&Setting { plant: &self.plant, machine }))
            })
            .collect();
        Board { at: self.clock, lanes, plant_open: Vec::new() }
    }

    /// The batches that go on, with their figures so far.
    pub fn open_batches(&self) -> Vec<Batch> {
        let open = |machine| self.watches.get(&machine)?.open_batch(&self.setting(&machine)?);
        self.plant.machines.iter().filter_map(|machine| open(machine.id.clone())).collect()
    }

    fn setting(&self, id: &MachineId) -> Option<Setting<'_>> {
        Some(Setting { plant: &self.plant, machine: self.plant.machine(id)? })
    }

    /// What has changed since the last call.
    pub fn take_changes(&mut self) -> Changes {
        let mut changes = Changes::default();
        for (id, watch) in &mut self.watches {
            changes.ended.append(&mut watch.take_ended());
            changes.findings.append(&mut watch.ledger.take_changed());
            changes.late.extend(watch.take_late_from().map(|from| (id.clone(), from)));
        }
        changes
    }

    /// Everything that is needed to go on after a restart.
    ///
    /// # Errors
    /// Only when memory runs out.
    pub fn save(&self) -> Result<Vec<u8>, StateError> {
        let saved = Saved { version: STATE_VERSION, clock: self.clock, watches: self.watches.clone() };
        Ok(postcard::to_stdvec(&saved)?)
    }

    /// Takes up a saved state. Machines that the plant no longer has are left out, new ones start from nothing.
    ///
    /// # Errors
    /// When the state was written by another version or is no state at all.
    pub fn restore(plant: Arc<Plant>, state: &[u8]) -> Result<Engine, StateError> {
        let (found, _) = postcard::take_from_bytes::<u32>(state)?;
        if found != STATE_VERSION {
            return Err(StateError::Version { found });
        }
        let saved: Saved = postcard::from_bytes(state)?;
        let mut engine = Engine::new(plant);
        engine.clock = saved.clock;
        for (id, watch) in saved.watches {
            if let Some(slot) = engine.watches.get_mut(&id) {
                *slot = watch;
            }
        }
        Ok(engine)
    }
}
