//! One case, played and watched: what was true beside what the engine made of what it heard.

use std::collections::BTreeMap;
use std::sync::Arc;

use engine::{Analysis, Analyst, MachineAnalysis};
use model::{Arrival, MachineId, Span, Timestamp};
use simulator::scoring::Case;
use simulator::{
    Condition, Excuse, MachineTruth, Truth, hide_unseen, instrument_conditions, plant_conditions,
};
use wire::Decoder;

/// A case that has been played.
pub(crate) struct Played {
    pub(crate) case: Case,
    pub(crate) truth: Truth,
    pub(crate) analysis: Analysis,
    pub(crate) machines: Vec<Watched>,
    /// What was true of the plant as a whole.
    pub(crate) plant_wide: Vec<Condition>,
    pub(crate) seconds: f64,
}

/// What was heard of one machine, and what was true of it: the instruments' own trouble included.
pub(crate) struct Watched {
    pub(crate) id: MachineId,
    pub(crate) arrivals: Vec<Arrival>,
    pub(crate) conditions: Vec<Condition>,
}

impl Played {
    pub(crate) fn found(&self, machine: &MachineId) -> &MachineAnalysis {
        let found = self.analysis.machines.iter().find(|m| m.id == *machine);
        found.expect("an analysis has every machine of its plant")
    }

    pub(crate) fn truth_of(&self, machine: &MachineId) -> &MachineTruth {
        self.truth
            .machines
            .iter()
            .find(|m| m.id == *machine)
            .expect("the truth has every machine of its plant")
    }

    pub(crate) fn heard_from(&self) -> Timestamp {
        self.case.heard_from
    }

    /// Days that one machine was watched.
    pub(crate) fn days(&self) -> f64 {
        self.case.until().since(self.case.heard_from).as_secs_f64() / 86_400.0
    }
}

/// Messages are handed over a stretch at a time.
const STRETCH: Span = Span::from_hours(1);

pub(crate) fn play(case: Case) -> Played {
    let plant = Arc::new(case.plant());
    let mut works = case.works();
    let mut decoder = Decoder::new(&plant);
    let mut heard: BTreeMap<MachineId, Vec<Arrival>> = BTreeMap::new();
    let mut newest = case.heard_from;
    let mut analyst = Analyst::new(plant.clone());
    let mut seconds = 0.0;
    while works.now() < case.until() {
        let until = (works.now() + STRETCH).min(case.until());
        let messages = works.advance_to(until);
        let began = std::time::Instant::now();
        for message in messages.iter().filter(|m| m.arrived >= case.heard_from) {
            newest = newest.max(message.arrived);
            for arrival in decoder.decode(message).arrivals {
                analyst.push(&arrival);
                heard.entry(arrival.machine().clone()).or_default().push(arrival);
            }
        }
        seconds += began.elapsed().as_secs_f64();
    }
    let analysis = analyst.finish().expect("a case fits into memory");
    let truth = works.truth();
    let machines: Vec<Watched> = truth
        .machines
        .iter()
        .map(|machine| {
            let arrivals = heard.remove(&machine.id).unwrap_or_default();
            let mut conditions = machine.conditions.clone();
            let instruments = instrument_conditions(machine, &arrivals, newest);
            hide_unseen(&mut conditions, &instruments);
            leave_out_unheard(&mut conditions, newest);
            conditions.extend(instruments);
            conditions.sort_by_key(|c| c.from);
            Watched { id: machine.id.clone(), arrivals, conditions }
        })
        .collect();
    let all: Vec<&[Condition]> = machines.iter().map(|m| m.conditions.as_slice()).collect();
    let plant_wide = plant_conditions(&all);
    Played { case, truth, analysis, machines, plant_wide, seconds }
}

/// What was met only after the last message is nobody's to find: by then the recording is over.
fn leave_out_unheard(conditions: &mut [Condition], newest: Timestamp) {
    conditions.iter_mut().filter(|c| c.due > newest).for_each(|c| c.excuse(Excuse::AfterTheEnd));
}
