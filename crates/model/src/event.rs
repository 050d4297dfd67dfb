//! Events: what people and programs report about a charge.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::{CouvertureId, MachineId, Timestamp};

/// How a charge is brought into temper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Method {
    /// Solid, well-tempered couverture stirred into the melt.
    Seed,
    /// Ready cocoa-butter crystals.
    ButterSeed,
    /// Warmed so gently that part of the crystals never melts.
    PartialMelt,
    /// Cooled on a slab and stirred back.
    Tabling,
    /// Through cooling and rewarming zones without end.
    Continuous,
}

/// Not one of the methods.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is not a method; the methods are seed, butter-seed, partial-melt, tabling and continuous")]
pub struct UnknownMethod(pub String);

impl Method {
    /// Every method, in the order of the contract.
    pub const ALL: [Method; 5] =
        [Method::Seed, Method::ButterSeed, Method::PartialMelt, Method::Tabling, Method::Continuous];

    /// The contract's word.
    pub fn as_str(self) -> &'static str {
        match self {
            Method::Seed => "seed",
            Method::ButterSeed => "butter-seed",
            Method::PartialMelt => "partial-melt",
            Method::Tabling => "tabling",
            Method::Continuous => "continuous",
        }
    }
}

impl fmt::Display for Method {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

impl FromStr for Method {
    type Err = UnknownMethod;

    fn from_str(text: &str) -> Result<Method, UnknownMethod> {
        Method::ALL.into_iter().find(|m| m.as_str() == text).ok_or_else(|| UnknownMethod(text.to_owned()))
    }
}

/// What the person found at one property of the smear.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Grade {
    /// Not as it should be.
    Poor,
    /// Usable with care.
    Fair,
    /// As it should be.
    Good,
}

impl Grade {
    /// The contract's word.
    pub fn as_str(self) -> &'static str {
        match self {
            Grade::Poor => "poor",
            Grade::Fair => "fair",
            Grade::Good => "good",
        }
    }
}

impl FromStr for Grade {
    type Err = ();

    fn from_str(text: &str) -> Result<Grade, ()> {
        [Grade::Poor, Grade::Fair, Grade::Good].into_iter().find(|g| g.as_str() == text).ok_or(())
    }
}

/// The smear, cooled about ten minutes and judged; or the cooling curve of a sample, whose one grade stands for all three.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TemperTest {
    /// Does the surface shine?
    pub gloss: Grade,
    /// Does it draw away from the foil or the blade?
    pub contraction: Grade,
    /// Does it break clean?
    pub snap: Grade,
    /// Minutes until it had set, if noted.
    pub minutes: Option<f64>,
}

impl TemperTest {
    /// The worst of the three grades: good is a passed test, poor a failed one, fair leaves doubt.
    pub fn worst(&self) -> Grade {
        self.gloss.min(self.contraction).min(self.snap)
    }
}

/// What happened, with what belongs to it. Masses in kg, temperatures in °C.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum EventKind {
    /// A new charge was filled in.
    Charge {
        /// Of which couverture.
        couverture: Option<CouvertureId>,
        /// Of which lot.
        lot: Option<String>,
        /// How much.
        mass_kg: Option<f64>,
        /// To be tempered how.
        method: Option<Method>,
    },
    /// Seed was added.
    Seed {
        /// How much.
        mass_kg: Option<f64>,
        /// How warm it was.
        temperature: Option<f64>,
        /// Of which lot.
        lot: Option<String>,
    },
    /// More couverture was added while working.
    TopUp {
        /// How much.
        mass_kg: Option<f64>,
        /// How warm it was.
        temperature: Option<f64>,
        /// Of which lot.
        lot: Option<String>,
    },
    /// A smear was judged.
    TemperTest(TemperTest),
    /// A hand thermometer's value beside the probe.
    Reference {
        /// What it showed.
        temperature: f64,
    },
    /// Words.
    Note {
        /// As written.
        text: String,
    },
    /// The charge is finished.
    End,
}

impl EventKind {
    /// The contract's word.
    pub fn as_str(&self) -> &'static str {
        match self {
            EventKind::Charge { .. } => "charge",
            EventKind::Seed { .. } => "seed",
            EventKind::TopUp { .. } => "top-up",
            EventKind::TemperTest(_) => "temper-test",
            EventKind::Reference { .. } => "reference",
            EventKind::Note { .. } => "note",
            EventKind::End => "end",
        }
    }
}

/// One report about one machine.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Event {
    /// Which machine.
    pub machine: MachineId,
    /// When it happened; its arrival where the sender says nothing.
    pub at: Timestamp,
    /// Who reported it.
    pub by: Option<String>,
    /// What happened.
    pub kind: EventKind,
    /// The report as it came (JSON), so that fields we do not know are kept.
    pub raw: String,
}
