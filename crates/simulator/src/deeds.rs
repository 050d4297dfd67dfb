//! What people see, what they do, and what they tell.

use model::{Grade, Timestamp};
use serde_json::{Map, Value};

use crate::faults::Stage;
use crate::trouble::SeedTrouble;

/// What a person at the machine can see.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Seen {
    pub(crate) now: Timestamp,
    /// The machine's own display, °C.
    pub(crate) shown_c: f64,
    /// What is in it, kg.
    pub(crate) kg: f64,
    /// Of that, lumps.
    pub(crate) lumps_kg: f64,
    /// Share of the fat that is form V: what a smear would show.
    pub(crate) stable: f64,
    /// Share of the fat that is solid in a lower form: sets dull and soft.
    pub(crate) unstable: f64,
    /// How thick it flows.
    pub(crate) thickness: f64,
    pub(crate) seed_trouble: SeedTrouble,
    /// How much fuller than usual the machine gets.
    pub(crate) filling: f64,
}

/// What a person does to the machine.
#[derive(Debug, Clone)]
pub(crate) enum Deed {
    /// Sets the controller.
    SetPoint(f64),
    /// Switches the stirrer.
    Stir(bool),
    /// Throws in tempered pieces.
    Pieces { kg: f64, celsius: f64 },
    /// Lays in a charge of solids.
    Charge { kg: f64, celsius: f64 },
    /// Pours in warm untempered chocolate.
    Pour { kg: f64, celsius: f64 },
    /// Stirs in cocoa-butter crystals.
    ButterCrystals { kg: f64, celsius: f64 },
    /// Takes chocolate out to work with.
    Draw { kg: f64 },
    /// Fishes the lumps out.
    Lumps,
    /// Spreads a share of the charge on the marble.
    ToTable { share: f64 },
    /// Scrapes it back.
    FromTable,
    /// Warms the chocolate directly.
    Burst { watts: f64, seconds: f64 },
    /// Puts a fresh bowl of solid pieces on the bench.
    FreshBowl { kg: f64, celsius: f64 },
    /// Takes the lid off for so long.
    LidOff { minutes: f64 },
    /// Begins or stops to note temperatures: a bowl without a probe of its own.
    Attend(bool),
    /// Comes to a new part of the day.
    Enter(Stage),
    /// Something that the truth has to remember.
    Mark(Mark),
    /// Tells the system, now or a little later, or forgets to.
    Tell(Report),
}

/// Turning points that a curve alone does not tell apart.
#[derive(Debug, Clone, PartialEq)]
pub enum Mark {
    /// Heat on, to melt.
    Heat,
    /// Set down from the melt: the charge is to cool.
    Lower,
    /// Set up again from a low point.
    Rewarm,
    /// A charge of solids was laid in.
    Charge {
        /// Its mass, kg.
        kg: f64,
        /// Everything in the machine afterwards, kg.
        total_kg: f64,
        /// Of which lot.
        lot: String,
    },
    /// Seed went in.
    Seed {
        /// How much, kg.
        kg: f64,
    },
    /// More couverture went in while working.
    TopUp {
        /// How much, kg.
        kg: f64,
    },
    /// Lumps were taken out.
    Lumps,
    /// A smear was taken; share of the fat in form V.
    Test {
        /// Share of the fat in form V.
        stable: f64,
    },
    /// A bowl was finished and emptied, or the machine switched off.
    Off,
}

/// An event for the system.
#[derive(Debug, Clone)]
pub(crate) struct Report {
    /// The contract's word.
    pub(crate) event: &'static str,
    /// When it happened, as the person says; `None` leaves it to the arrival.
    pub(crate) at: Option<Timestamp>,
    /// When it is sent.
    pub(crate) sent: Timestamp,
    pub(crate) by: &'static str,
    pub(crate) fields: Vec<(&'static str, Value)>,
}

impl Report {
    /// Of a temper test, the worst grade.
    pub(crate) fn worst_grade(&self) -> Option<Grade> {
        let grades = self.fields.iter().filter(|(name, _)| matches!(*name, "gloss" | "contraction" | "snap"));
        grades.filter_map(|(_, value)| value.as_str()?.parse().ok()).min()
    }

    pub(crate) fn to_json(&self) -> String {
        let mut object = Map::new();
        object.insert("event".to_owned(), Value::from(self.event));
        if let Some(at) = self.at {
            object.insert("at".to_owned(), Value::from(at.to_string()));
        }
        object.insert("by".to_owned(), Value::from(self.by));
        for (name, value) in &self.fields {
            object.insert((*name).to_owned(), value.clone());
        }
        Value::Object(object).to_string()
    }
}

/// A number as people write it down: two digits behind the point.
pub(crate) fn written(value: f64) -> Value {
    Value::from((value * 100.0).round() / 100.0)
}
