//! The watch over the whole works: one arrival at a time, in the order in which they came.
//!
//! **Invariant:** what it says depends on the arrivals alone and on their order, never on how they are cut into calls, on the wall clock
//! or on a restart in between ([`Engine::save`], [`Engine::restore`]), nor on whether readings that lie still come one by one or by the
//! column ([`Engine::apply_rows`]).

mod rows;
mod state;

use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;

use model::{Arrival, Baseline, BaselineOrder, Batch, Board, Finding, Lane, MachineId, Timestamp};
use plant::Plant;
use serde::{Deserialize, Serialize};

use crate::machine::{MachineWatch, Seen, Setting};
use crate::plant_watch::PlantWatch;
use crate::round::Round;

pub use self::state::{Piece, StateError};

/// Phases, batches and findings of every machine of a plant.
#[derive(Debug, Clone)]
pub struct Engine {
    plant: Arc<Plant>,
    /// One a machine, in the order of the plant file.
    watches: Vec<MachineWatch>,
    clock: Timestamp,
    plant_watch: PlantWatch,
    changed: Vec<Finding>,
    orders: Orders,
    /// Each machine's place in the plant file.
    places: HashMap<MachineId, usize>,
    round: Round,
    /// Places of machines that may have something for [`Engine::take_changes`].
    stirred: BTreeSet<usize>,
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
    /// Machines of which readings, or events that bear on phases, came too late to be watched, with the oldest of their times: phases and
    /// measures from there on have to be worked out again.
    pub late: Vec<(MachineId, Timestamp)>,
    /// Machines of which people told what bears on the standing of a batch that has ended: those that were not over by then have to be
    /// judged again ([`crate::standing_of`]).
    pub told: Vec<(MachineId, Timestamp)>,
}

impl Engine {
    /// A watch that has seen nothing.
    pub fn new(plant: Arc<Plant>) -> Engine {
        let watch = |machine| MachineWatch::new(&Setting { plant: &plant, machine });
        let watches = plant.machines.iter().map(watch).collect();
        let places = plant.machines.iter().enumerate().map(|(place, machine)| (machine.id.clone(), place));
        Engine {
            places: places.collect(),
            round: Round::new(),
            stirred: BTreeSet::new(),
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
        self.watches[place].apply(&Setting { plant: &self.plant, machine }, arrival);
        self.note(place);
    }

    /// What machines found goes to those who ask for changes, and to the watch over all of them.
    fn note(&mut self, place: usize) {
        let watch = &mut self.watches[place];
        if watch.is_stirred() {
            self.stirred.insert(place);
        }
        for finding in watch.ledger.take_changed() {
            self.tell(finding);
        }
    }

    fn tell(&mut self, finding: Finding) {
        let of_the_plant = self.plant_watch.take(&finding);
        self.changed.push(finding);
        self.changed.extend(of_the_plant);
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
            let (machine, watch) = (&plant.machines[place], &mut self.watches[place]);
            watch.advance_clock(&Setting { plant: &plant, machine }, clock);
            self.round.note_due(watch.silent_at(clock));
            self.note(place);
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
            if let Some(&place) = self.places.get(&order.machine) {
                self.watches[place].order(&order);
                self.note(place);
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
        for (place, machine) in plant.machines.iter().enumerate() {
            self.watches[place].finish(&Setting { plant: &plant, machine });
            self.note(place);
        }
    }

    /// The works as it stands, with what people have reported up to now.
    pub fn board(&self) -> Board {
        let lane =
            |(setting, seen): (Setting<'_>, Seen<'_>)| seen.watch().lane(&setting, seen.open_batch(&setting));
        self.board_of(self.seen().map(lane).collect())
    }

    pub(crate) fn board_of(&self, lanes: Vec<Lane>) -> Board {
        Board { at: self.clock, lanes, plant_open: self.plant_watch.open(), baselines: self.baselines() }
    }

    /// What is usual, by machine in the order of the plant file, and couverture.
    pub fn baselines(&self) -> Vec<Baseline> {
        self.watched().flat_map(|(setting, watch)| watch.baselines.shown(setting.machine)).collect()
    }

    /// The batches that go on, with their figures so far. One whose end has been reported is among them, ended, until that has had its
    /// turn among the readings: then it stands in [`Changes::ended`].
    pub fn open_batches(&self) -> Vec<Batch> {
        let batches = |(setting, seen): (Setting<'_>, Seen<'_>)| {
            seen.ended().into_iter().chain(seen.open_batch(&setting))
        };
        self.seen().flat_map(batches).collect()
    }

    /// When the batch that goes on in a machine began.
    pub fn open_since(&self, machine: &MachineId) -> Option<Timestamp> {
        self.watches[*self.places.get(machine)?].outline().map(|batch| batch.start)
    }

    /// How many there are.
    pub(crate) fn machines(&self) -> usize {
        self.watches.len()
    }

    fn watched(&self) -> impl Iterator<Item = (Setting<'_>, &MachineWatch)> {
        let setting = |machine| Setting { plant: &self.plant, machine };
        self.plant.machines.iter().map(setting).zip(&self.watches)
    }

    /// Every machine with what people have reported of it up to now.
    pub(crate) fn seen(&self) -> impl Iterator<Item = (Setting<'_>, Seen<'_>)> {
        self.watched().map(|(setting, watch)| {
            let seen = Seen::new(watch, &setting, self.clock);
            (setting, seen)
        })
    }

    /// What has changed since the last call.
    pub fn take_changes(&mut self) -> Changes {
        let mut changes = Changes { findings: std::mem::take(&mut self.changed), ..Changes::default() };
        for place in std::mem::take(&mut self.stirred) {
            let (machine, watch) = (&self.plant.machines[place], &mut self.watches[place]);
            changes.ended.append(&mut watch.take_ended());
            changes.late.extend(watch.take_worked_out_from().map(|from| (machine.id.clone(), from)));
            changes.told.extend(watch.take_judged_from().map(|from| (machine.id.clone(), from)));
        }
        changes
    }
}
