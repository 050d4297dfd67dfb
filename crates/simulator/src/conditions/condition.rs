//! A stretch past a limit, and what it may be used for.

use model::{FindingKind, Timestamp};

use super::Excuse;

/// How much a condition says about a watch that found it, or did not.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Weight {
    /// A watch should find it.
    Sure,
    /// Neither a miss nor a false finding, and why.
    Borderline(Excuse),
}

/// A stretch in which something was past a limit.
#[derive(Debug, Clone, PartialEq)]
pub struct Condition {
    /// Which limit.
    pub kind: FindingKind,
    /// First moment past it.
    pub from: Timestamp,
    /// First moment back.
    pub to: Timestamp,
    /// When the definition was met.
    pub due: Timestamp,
    /// When it was met by so much that the probe can tell.
    pub latest: Timestamp,
    /// How far past it at most, in the unit of the definition; for `temper-loss` the area above it, °C·min.
    pub worst: f64,
    /// What it may be used for.
    pub weight: Weight,
}

impl Condition {
    /// A sure one, met at `due`.
    pub(crate) fn new(
        kind: FindingKind,
        (from, to): (Timestamp, Timestamp),
        due: Timestamp,
        worst: f64,
    ) -> Condition {
        Condition { kind, from, to, due, latest: due, worst, weight: Weight::Sure }
    }

    /// The same, excused if there is an excuse.
    pub(crate) fn unless(mut self, why: Option<Excuse>) -> Condition {
        why.into_iter().for_each(|why| self.excuse(why));
        self
    }

    /// Should a watch find it?
    pub fn is_sure(&self) -> bool {
        self.weight == Weight::Sure
    }

    /// Why it is not asked for.
    pub fn excused(&self) -> Option<Excuse> {
        match self.weight {
            Weight::Sure => None,
            Weight::Borderline(why) => Some(why),
        }
    }

    /// It is not asked for; the first reason stays.
    pub fn excuse(&mut self, why: Excuse) {
        if self.is_sure() {
            self.weight = Weight::Borderline(why);
        }
    }

    pub(crate) fn overlaps(&self, other: &Condition) -> bool {
        self.kind == other.kind && self.from < other.to && other.from < self.to
    }
}
