//! Readings that lie still, taken by machine and not by moment.
//!
//! Machines do not know of one another, but for two things: arrival time moves on for all of them with each arrival, and what they found is told
//! in the order of the arrivals that led to it, which is also how the watch over the whole works takes it. So each machine goes through all of
//! its rows, and what it found is put in order afterwards.

use std::collections::BTreeMap;

use frames::Rows;
use model::{Arrival, Content, Finding, MachineId, Reading, Span, Timestamp};

use super::Engine;
use crate::machine::{Found, MachineWatch, Setting};
use crate::round::Round;

/// What happens at a moment, in its order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Stage {
    /// Arrival time moves on.
    Clock,
    /// Readings come.
    Arrival,
}

/// A finding and its place among those of all machines: the arrival that led to it, what happened then, and the machine.
struct Placed {
    arrived: Timestamp,
    stage: Stage,
    place: usize,
    finding: Finding,
}

impl Engine {
    /// Takes readings of some machines, each as if it had arrived at the moment at which it was measured; of those of one moment first those of
    /// the machine that stands first in the plant file, each in the order of its channels.
    pub fn apply_rows(&mut self, rows: &BTreeMap<MachineId, Rows>) {
        let moments = rows.values().filter(|rows| !rows.is_empty());
        let span = moments.map(|rows| (rows.at(0), rows.at(rows.len() - 1)));
        let Some((first, last)) = span.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1))) else { return };
        if first <= self.clock || !self.orders.waiting.is_empty() {
            return self.apply_each(rows);
        }
        let plant = self.plant.clone();
        let mut placed = Vec::new();
        for (place, machine) in plant.machines.iter().enumerate() {
            let of_machine = rows.get(&machine.id);
            let mut going = Going { engine: self, rows, last, place, heard: None, placed: &mut placed };
            going.through(&Setting { plant: &plant, machine }, of_machine);
            if self.watches[place].is_stirred() {
                self.stirred.insert(place);
            }
        }
        self.clock = last;
        self.round = Round::new();
        placed.sort_by_key(|found| (found.arrived, found.stage, found.place));
        for Placed { finding, .. } in placed {
            self.tell(finding);
        }
    }

    /// The same, reading by reading.
    fn apply_each(&mut self, rows: &BTreeMap<MachineId, Rows>) {
        let place = |machine: &MachineId| self.places.get(machine).copied().unwrap_or(usize::MAX);
        let each = rows.iter().flat_map(|(machine, rows)| {
            let place = place(machine);
            (0..rows.len()).map(move |row| (rows.at(row), place, machine, row))
        });
        let mut each: Vec<_> = each.collect();
        each.sort_unstable();
        for (at, _, machine, row) in each {
            for (channel, value) in rows[machine].readings(row) {
                let content = Content::Reading(Reading { machine: machine.clone(), channel, at, value });
                self.apply(&Arrival { arrived: at, retained: false, content });
            }
        }
    }
}

/// One machine on its way through its rows.
struct Going<'a> {
    engine: &'a mut Engine,
    /// Of all machines.
    rows: &'a BTreeMap<MachineId, Rows>,
    /// The last moment of any of them.
    last: Timestamp,
    place: usize,
    /// When this machine was last heard of, in these rows.
    heard: Option<Timestamp>,
    placed: &'a mut Vec<Placed>,
}

impl Going<'_> {
    fn through(&mut self, setting: &Setting<'_>, rows: Option<&Rows>) {
        let mut row = 0;
        while let Some(rows) = rows.filter(|rows| row < rows.len()) {
            // Between two arrivals of its own it matters only that time has moved on, not how often.
            self.move_on(setting, rows.at(row));
            let mut found = Vec::new();
            let taken = self.watch().take_stretch(setting, rows, row..rows.len(), &mut found);
            for Found { arrived, finding } in found {
                self.placed.push(Placed { arrived, stage: Stage::Arrival, place: self.place, finding });
            }
            if taken == 0 {
                self.take_one(setting, rows, row);
            }
            row += taken.max(1);
            self.heard = Some(rows.at(row - 1));
        }
        if self.heard.is_none_or(|heard| heard < self.last) {
            self.move_on(setting, self.last);
        }
    }

    fn take_one(&mut self, setting: &Setting<'_>, rows: &Rows, row: usize) {
        let at = rows.at(row);
        for (channel, value) in rows.readings(row) {
            self.watch().apply_at_once(setting, (at, channel, value));
        }
        self.hand_on(at, Stage::Arrival);
    }

    /// Arrival time has come to `clock`.
    fn move_on(&mut self, setting: &Setting<'_>, clock: Timestamp) {
        let heard = self.heard.unwrap_or(self.engine.clock);
        self.watch().look_at_clock(clock);
        if self.watch().ledger.has_changed() {
            self.hand_on(self.next_arrival(heard).unwrap_or(clock), Stage::Clock);
        }
        let due = self.watch().silent_from();
        self.watch().advance_clock(setting, clock);
        if self.watch().ledger.has_changed() {
            let instant = Span::from_millis(1);
            let before = due.map_or(heard, |due| heard.max(due - instant));
            self.hand_on(self.next_arrival(before).unwrap_or(clock), Stage::Clock);
        }
    }

    /// The first arrival of any machine behind `before`.
    fn next_arrival(&self, before: Timestamp) -> Option<Timestamp> {
        let next = |rows: &Rows| {
            let row = rows.first_from(before + Span::from_millis(1), 0);
            (row < rows.len()).then(|| rows.at(row))
        };
        self.rows.values().filter_map(next).min()
    }

    fn watch(&mut self) -> &mut MachineWatch {
        &mut self.engine.watches[self.place]
    }

    fn hand_on(&mut self, arrived: Timestamp, stage: Stage) {
        let place = self.place;
        let changed = self.watch().ledger.take_changed();
        self.placed.extend(changed.into_iter().map(|finding| Placed { arrived, stage, place, finding }));
    }
}
