//! Made-up works for judging a watch: any number of them, each from a name and a seed, none like the demo.
//!
//! A case is one site over one or more days: sizes, speeds, instruments, people and the moment from which the watch may
//! listen are all drawn. Half of the watching is of ordinary days; the rest has one fault a machine, now and then two.
//! The same name and seed give the same case, so that each mistake can be played again alone.

mod causes;
mod plan;
mod site;
mod strikes;

pub use crate::scoring::causes::may_raise;
use model::{Span, Timestamp};
use plant::Plant;

use crate::faults::FaultKind;
use crate::works::{Settings, Works};

/// Seeds from which cases are drawn while the watch is being tuned.
pub const TUNING: std::ops::Range<u64> = 0..1_000_000;
/// Seeds that nobody looks at until the watch is done.
pub const HELD_OUT: std::ops::Range<u64> = 1_000_000..2_000_000;

/// What a case is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Scenario {
    /// Days on which nothing is wrong.
    Ordinary,
    /// A day with one fault.
    Fault(FaultKind),
    /// A day with two faults, drawn.
    Two,
    /// A day on which one cause strikes several machines.
    Common,
}

impl Scenario {
    /// Every scenario, in a fixed order.
    pub fn all() -> Vec<Scenario> {
        let mut all = vec![Scenario::Ordinary, Scenario::Two, Scenario::Common];
        all.extend(FaultKind::ALL.iter().map(|kind| Scenario::Fault(*kind)));
        all
    }

    /// Its name.
    pub fn as_str(self) -> &'static str {
        match self {
            Scenario::Ordinary => "ordinary",
            Scenario::Two => "two-faults",
            Scenario::Common => "common-cause",
            Scenario::Fault(kind) => kind.as_str(),
        }
    }

    /// The scenario of a name.
    pub fn named(name: &str) -> Option<Scenario> {
        Scenario::all().into_iter().find(|s| s.as_str() == name)
    }

    /// The scenario of the `nth` seed of a run: three days with faults, in turn, for one case of ordinary days.
    pub fn of_turn(nth: u64) -> Scenario {
        let (round, place) = (nth / 4, nth % 4);
        if place == 3 {
            return Scenario::Ordinary;
        }
        let faults = &Scenario::all()[1..];
        faults[(3 * round + place) as usize % faults.len()]
    }
}

/// A site, its days, and from when on they are watched.
#[derive(Debug, Clone)]
pub struct Case {
    /// What it is about.
    pub scenario: Scenario,
    /// Its seed.
    pub seed: u64,
    /// The plant file.
    pub file: String,
    /// Seed, start, faults and fittings.
    pub settings: Settings,
    /// Its length.
    pub lasts: Span,
    /// What arrived before is not heard: histories begin in the middle.
    pub heard_from: Timestamp,
}

impl Case {
    /// The case of `scenario` and `seed`.
    pub fn new(scenario: Scenario, seed: u64) -> Case {
        plan::draw(scenario, seed)
    }

    /// The plant that its file describes.
    pub fn plant(&self) -> Plant {
        plant::parse_plant(&self.file).expect("a test reads the files of many seeds")
    }

    /// The works at its beginning.
    pub fn works(&self) -> Works {
        Works::new(&self.plant(), &self.settings)
    }

    /// Its last moment.
    pub fn until(&self) -> Timestamp {
        self.settings.start + self.lasts
    }
}

#[cfg(test)]
mod tests;
