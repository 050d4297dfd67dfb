//! The whole works: every machine of a plant, its messages in the order of their arrival, and the truth about them.
//!
//! The same plant, seed and faults give the same stream, however it is cut into pieces.

use model::{Channel, MachineId, Span, Timestamp};
use plant::Plant;
use wire::Message;

use crate::calendar::Calendar;
use crate::faults::{Fault, FaultBook, Stage};
use crate::rig::{Begin, Origin, Rig, first_mark};
use crate::spec::{Instruments, Manner, Shift, Spec};
use crate::truth::{Truth, machine_truth};

/// What one machine should have otherwise than its style usually has.
#[derive(Debug, Clone, Default)]
pub struct Fitting {
    /// Seconds from one sample to the next.
    pub sample_s: Option<f64>,
    /// Seconds from one sample of the slow channels to the next.
    pub slow_sample_s: Option<f64>,
    /// All of the instruments.
    pub instruments: Option<Instruments>,
    /// Which of its channels it reports.
    pub channels: Option<Vec<Channel>>,
    /// When it is worked.
    pub shift: Option<Shift>,
    /// How it is worked.
    pub manner: Manner,
    /// Minutes of cooling that it is built for, where that is not what its plant file calls usual.
    pub built_for_minutes: Option<f64>,
    /// How it stands at the beginning; hot and molten if nothing is said.
    pub begin: Option<Begin>,
}

/// What to play.
#[derive(Debug, Clone)]
pub struct Settings {
    /// Seed of chance.
    pub seed: u64,
    /// The first moment.
    pub start: Timestamp,
    /// What goes wrong.
    pub faults: Vec<Fault>,
    /// Machines that differ from the usual.
    pub fittings: Vec<(MachineId, Fitting)>,
    /// For days that are not the plant's own: a moment that counts as midnight, every day a working day.
    pub midnight: Option<Timestamp>,
}

impl Settings {
    /// An ordinary works from `start` on.
    pub fn new(seed: u64, start: Timestamp) -> Settings {
        Settings { seed, start, faults: Vec::new(), fittings: Vec::new(), midnight: None }
    }
}

/// A machine as it really stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Standing {
    /// Which machine.
    pub machine: MachineId,
    /// Where people are with it.
    pub stage: Stage,
    /// Its noiseless temperature, °C.
    pub celsius: f64,
    /// Share of the fat in form V.
    pub crystals: f64,
}

/// The invented works.
#[derive(Debug, Clone)]
pub struct Works {
    rigs: Vec<Rig>,
    seed: u64,
    start: Timestamp,
    now: Timestamp,
}

impl Works {
    /// All machines of `plant` at the start of `settings`.
    pub fn new(plant: &Plant, settings: &Settings) -> Works {
        let calendar = match settings.midnight {
            Some(midnight) => Calendar::Shifted { midnight },
            None => Calendar::Zone(plant.time_zone.clone()),
        };
        let rig = |(place, machine): (usize, &plant::Machine)| {
            let fitting = settings.fittings.iter().find(|f| f.0 == machine.id).map(|f| &f.1);
            let mut built = machine.clone();
            built.cooling_minutes = fitting.and_then(|f| f.built_for_minutes).or(built.cooling_minutes);
            let mut spec = Spec::from_plant(plant, &built, place);
            let begin = fitting.and_then(|f| f.begin).unwrap_or(Begin::Soak);
            spec.told_cooling_minutes = machine.cooling_minutes;
            if let Some(fitting) = fitting {
                fit(&mut spec, fitting);
            }
            let faults = FaultBook::new(&machine.id, &settings.faults);
            let (seed, start) = (settings.seed, settings.start);
            let origin = Origin { root: &plant.mqtt.root, calendar: &calendar, seed, place, start, begin };
            let mut rig = Rig::new(spec, &origin, faults);
            if let Some(mark) = first_mark(rig.stage()) {
                rig.recorder.mark(settings.start, mark);
            }
            rig
        };
        let rigs = plant.machines.iter().enumerate().map(rig).collect();
        Works { rigs, seed: settings.seed, start: settings.start, now: settings.start }
    }

    /// Something more is to go wrong: the same past with another future.
    pub fn add_fault(&mut self, fault: &Fault) {
        let here = |rig: &&mut Rig| fault.machine.as_ref().is_none_or(|id| id == rig.id());
        self.rigs.iter_mut().filter(here).for_each(|rig| rig.faults.add(fault.clone()));
    }

    /// How far it has come.
    pub fn now(&self) -> Timestamp {
        self.now
    }

    /// Plays on to `until`: what has arrived meanwhile, in order.
    pub fn advance_to(&mut self, until: Timestamp) -> Vec<Message> {
        let mut arrived = Vec::new();
        for rig in &mut self.rigs {
            rig.advance(until, &mut arrived);
        }
        self.now = self.now.max(until);
        // Stable: what arrived in the same millisecond stays in the order of machines and of sending.
        arrived.sort_by_key(|message| message.arrived);
        arrived
    }

    /// The messages up to `until`, a stretch at a time.
    pub fn messages(&mut self, until: Timestamp) -> impl Iterator<Item = Message> + '_ {
        std::iter::from_fn(move || {
            (self.now < until).then(|| {
                let next = (self.now + STRETCH).min(until);
                self.advance_to(next)
            })
        })
        .flatten()
    }

    /// Where every machine really is.
    pub fn standing(&self) -> Vec<Standing> {
        let one = |rig: &Rig| Standing {
            machine: rig.id().clone(),
            stage: rig.stage(),
            celsius: rig.true_celsius(),
            crystals: rig.true_crystals(),
        };
        self.rigs.iter().map(one).collect()
    }

    /// Keeps no truth from now on. A works that runs live for months would gather it without end.
    #[must_use]
    pub fn without_truth(mut self) -> Works {
        for rig in &mut self.rigs {
            rig.recorder.stop();
        }
        self
    }

    /// What really happened so far.
    pub fn truth(&self) -> Truth {
        let machines = self.rigs.iter().map(machine_truth).collect();
        Truth { seed: self.seed, from: self.start, to: self.now, machines }
    }
}

/// One stretch of [`Works::messages`]: short enough to hold, long enough to sort seldom.
const STRETCH: Span = Span::from_mins(30);

fn fit(spec: &mut Spec, fitting: &Fitting) {
    if let Some(instruments) = &fitting.instruments {
        spec.instruments = instruments.clone();
    }
    if let Some(seconds) = fitting.sample_s {
        spec.instruments.sample_s = seconds;
    }
    if let Some(seconds) = fitting.slow_sample_s {
        spec.instruments.slow_sample_s = seconds;
    }
    if let Some(channels) = &fitting.channels {
        spec.instruments.channels = channels.clone();
    }
    spec.manner = fitting.manner;
    if let Some(shift) = fitting.shift {
        spec.shift = shift;
    }
}

#[cfg(test)]
mod tests;
