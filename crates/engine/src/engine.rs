//! The watch over the whole works: one arrival at a time, in the order in which they came.
//!
//! **Invariant:** what it says depends on the arrivals alone and on their order, never on how they are cut into calls, on the wall clock
//! or on a restart in between ([`Engine::save`], [`Engine::restore`]).

use std::collections::BTreeMap;
use std::sync::Arc;

use model::{Arrival, Baseline, BaselineOrder, Batch, Board, Finding, MachineId, Timestamp};
use plant::Plant;
use serde::{Deserialize, Serialize};

use crate::machine::{MachineWatch, Setting};
use crate::plant_watch::PlantWatch;
use crate::round::Round;

/// Counted up when the saved state changes its shape; another version is refused and the watch starts from what follows.
const STATE_VERSION: u32 = 6;

/// Phases, batches and findings of every machine of a plant.
#[derive(Debug, Clone)]
pub struct Engine {
    plant: Arc<Plant>,
    watches: BTreeMap<MachineId, MachineWatch>,
    clock: Timestamp,
    plant_watch: PlantWatch,
    changed: Vec<Finding>,
    orders: Orders,
    /// Each machine's place in the plant file.
    places: BTreeMap<MachineId, usize>,
    round: Round,
}

/// What people ordered.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
struct Orders {
    /// Their time has not come.
    waiting: Vec<BaselineOrder>,
    /// The newest that is known.
    newest: Option<Timestamp>,
}

/// What has changed since somebody last asked.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Changes {
    /// Batches that have ended, in the order in which they did.
    pub ended: Vec<Batch>,
    /// Findings of machines and of the plant that were raised, grew worse or ended, in that order; each as it stands after that change.
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
    plant_watch: PlantWatch,
    changed: Vec<Finding>,
    orders: Orders,
}

impl Engine {
    /// A watch that has seen nothing.
    pub fn new(plant: Arc<Plant>) -> Engine {
        let watches = plant
            .machines
            .iter()
            .map(|machine| (machine.id.clone(), MachineWatch::new(&Setting { plant: &plant, machine })))
            .collect();
        let places = plant.machines.iter().enumerate().map(|(place, machine)| (machine.id.clone(), place));
        Engine {
            places: places.collect(),
            round: Round::new(),
            plant,
            watches,
            clock: Timestamp::default(),
            plant_watch: PlantWatch::default(),
            changed: Vec::new(),
            orders: Orders::default(),
        }
    }

    /// Takes the next arrival. One of a machine that the plant does not know only moves the clock.
    pub fn apply(&mut self, arrival: &Arrival) {
        self.advance_clock(arrival.arrived);
        let Some(&place) = self.places.get(arrival.machine()) else { return };
        self.round.touch(place);
        let machine = &self.plant.machines[place];
        if let Some(watch) = self.watches.get_mut(&machine.id) {
            watch.apply(&Setting { plant: &self.plant, machine }, arrival);
            let changed = watch.ledger.take_changed();
            self.note(changed);
        }
    }

    /// What machines found goes to those who ask for changes, and to the watch over all of them.
    fn note(&mut self, changed: Vec<Finding>) {
        for finding in changed {
            let of_the_plant = self.plant_watch.take(&finding);
            self.changed.push(finding);
            self.changed.extend(of_the_plant);
        }
    }

    /// Arrival time has moved on to `clock`, whether or not anything came. Earlier than before counts as now.
    pub fn advance_clock(&mut self, clock: Timestamp) {
        if clock <= self.clock {
            return;
        }
        self.clock = clock;
        self.obey();
        let plant = self.plant.clone();
        for place in self.round.begin(clock, plant.machines.len()) {
            let machine = &plant.machines[place];
            if let Some(watch) = self.watches.get_mut(&machine.id) {
                watch.advance_clock(&Setting { plant: &plant, machine }, clock);
                self.round.note_due(watch.silent_at(clock));
                let changed = watch.ledger.take_changed();
                self.note(changed);
            }
        }
    }

    /// Takes a person's order about a baseline. It is done before the first arrival that is not older than it.
    pub fn order(&mut self, order: BaselineOrder) {
        self.orders.newest = self.orders.newest.max(Some(order.at));
        self.orders.waiting.push(order);
        self.orders.waiting.sort_by_key(|order| order.at);
        self.obey();
    }

    /// The time of the newest order that it knows, done or not: after a restart those behind it have to be given again.
    pub fn newest_order(&self) -> Option<Timestamp> {
        self.orders.newest
    }

    fn obey(&mut self) {
        let clock = self.clock;
        let due = self.orders.waiting.partition_point(|order| order.at <= clock);
        for order in self.orders.waiting.drain(..due).collect::<Vec<_>>() {
            if let Some(watch) = self.watches.get_mut(&order.machine) {
                watch.order(&order);
                let changed = watch.ledger.take_changed();
                self.note(changed);
            }
        }
    }

    /// How far arrival time has come; `None` before the first arrival.
    pub fn clock(&self) -> Option<Timestamp> {
        (self.clock != Timestamp::default()).then_some(self.clock)
    }

    /// The stream is over: what waits for its turn goes through.
    pub fn finish(&mut self) {
        let plant = self.plant.clone();
        for machine in &plant.machines {
            if let Some(watch) = self.watches.get_mut(&machine.id) {
                watch.finish(&Setting { plant: &plant, machine });
                let changed = watch.ledger.take_changed();
                self.note(changed);
            }
        }
    }

    /// The works as it stands, with what people have reported up to now.
    pub fn board(&self) -> Board {
        let lanes = self
            .plant
            .machines
            .iter()
            .filter_map(|machine| {
                let setting = Setting { plant: &self.plant, machine };
                let watch = self.watches.get(&machine.id)?;
                Some(watch.foreseen(&setting, self.clock).as_ref().unwrap_or(watch).lane(&setting))
            })
            .collect();
        Board { at: self.clock, lanes, plant_open: self.plant_watch.open(), baselines: self.baselines() }
    }

    /// What is usual, by machine in the order of the plant file, and couverture.
    pub fn baselines(&self) -> Vec<Baseline> {
        let shown = |machine: &plant::Machine| Some(self.watches.get(&machine.id)?.baselines.shown(machine));
        self.plant.machines.iter().filter_map(shown).flatten().collect()
    }

    /// The batches that go on, with their figures so far. One whose end has been reported is among them, ended, until that has had its
    /// turn among the readings: then it stands in [`Changes::ended`].
    pub fn open_batches(&self) -> Vec<Batch> {
        let mut batches = Vec::new();
        for machine in &self.plant.machines {
            let setting = Setting { plant: &self.plant, machine };
            let Some(watch) = self.watches.get(&machine.id) else { continue };
            match watch.foreseen(&setting, self.clock) {
                Some(mut foreseen) => {
                    let already = watch.ended_so_far();
                    batches.extend(foreseen.take_ended().into_iter().skip(already));
                    batches.extend(foreseen.open_batch(&setting));
                }
                None => batches.extend(watch.open_batch(&setting)),
            }
        }
        batches
    }

    /// What has changed since the last call.
    pub fn take_changes(&mut self) -> Changes {
        let mut changes = Changes { findings: std::mem::take(&mut self.changed), ..Changes::default() };
        for (id, watch) in &mut self.watches {
            changes.ended.append(&mut watch.take_ended());
            changes.late.extend(watch.take_late_from().map(|from| (id.clone(), from)));
        }
        changes
    }

    /// Everything that is needed to go on after a restart.
    ///
    /// # Errors
    /// Only when memory runs out.
    pub fn save(&self) -> Result<Vec<u8>, StateError> {
        let saved = Saved {
            version: STATE_VERSION,
            clock: self.clock,
            watches: self.watches.clone(),
            plant_watch: self.plant_watch.clone(),
            changed: self.changed.clone(),
            orders: self.orders.clone(),
        };
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
        (engine.plant_watch, engine.changed, engine.orders) =
            (saved.plant_watch, saved.changed, saved.orders);
        for (id, watch) in saved.watches {
            if let Some(slot) = engine.watches.get_mut(&id) {
                *slot = watch;
            }
        }
        Ok(engine)
    }
}
