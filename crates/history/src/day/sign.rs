//! What speaks for or against a cause: one figure, finding or report of one machine.

use model::{BatchId, FindingKind, MachineId, Timestamp};

use super::{Deviation, Figure};

/// One thing that was seen, as far as it bears on a cause.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sign {
    /// A figure stands out.
    Off(Deviation),
    /// A figure is as usual, where the cause would have moved it.
    AsUsual(Deviation),
    /// Something was found.
    Found(FindingKind),
    /// Something was found over earlier batches, and stood while this one ran.
    Stood(FindingKind),
    /// No dip was seen where seed should have gone in.
    NoDip,
    /// The jacket moved with the chocolate.
    JacketFollowed(Deviation),
    /// The jacket did not move although the probe says that the chocolate did.
    JacketStayed(Deviation),
    /// A hand thermometer showed something else, °C above the probe.
    HandDiffers(f64),
    /// A hand thermometer agreed within its own error, °C above the probe.
    HandAgrees(f64),
    /// A temper test failed.
    TestFailed,
    /// A temper test passed.
    TestPassed,
    /// An earlier batch of the day was in trouble on this machine already.
    Followed,
    /// All that reported was lost for a while and came later.
    CameLater,
    /// So many of so many machines show the same.
    Several {
        /// That show it.
        machines: usize,
        /// Of those that could.
        of: usize,
        /// The figure in which it shows, if it is one.
        figure: Option<Figure>,
    },
    /// Couverture went in shortly before the hold was out.
    TopUp {
        /// How much, as far as it was told.
        mass_kg: Option<f64>,
        /// How warm it was.
        temperature: Option<f64>,
        /// Is it a good part of the charge, or may it have been?
        is_large: bool,
    },
    /// It began during or after a silence of so many machines at once.
    AfterGap {
        /// That were silent together.
        machines: usize,
    },
    /// Batches of a lot that none of their machines held before failed, and others passed.
    NewLot {
        /// Machines on which it failed.
        failed: usize,
        /// Machines that hold it.
        of: usize,
        /// Machines without it that passed.
        passed: usize,
    },
    /// All that failed were worked by the same person, all that passed by others.
    OnePerson {
        /// Batches that failed.
        failed: usize,
        /// Batches that passed.
        passed: usize,
    },
    /// Only this machine of so many shows it.
    Alone {
        /// Of those that could.
        of: usize,
    },
    /// Machines with another couverture are as usual.
    OthersAsUsual {
        /// How many.
        machines: usize,
    },
}

/// A sign with its place, its time and its weight.
#[derive(Debug, Clone, PartialEq)]
pub struct Clue {
    /// On which machine; `None` if it speaks of several.
    pub machine: Option<MachineId>,
    /// In which batch.
    pub batch: Option<BatchId>,
    /// When it began to show, as far as can be told.
    pub since: Option<Timestamp>,
    /// What was seen.
    pub sign: Sign,
    /// How much it weighs, always above zero.
    pub points: f64,
}

/// What would have helped to tell, and is not there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Missing {
    /// No hand thermometer was held beside the probe.
    Reference,
    /// The mass of the charge was not told.
    Mass,
    /// The mass of the seed was not told.
    SeedMass,
    /// The lot was not told.
    Lot,
    /// No channel tells of the room.
    Room,
    /// No channel tells of the jacket or water.
    Jacket,
    /// No channel tells of the motor.
    Motor,
    /// No channel tells of the stirrer.
    Stirrer,
    /// No temper test was reported.
    Test,
    /// Nothing is known of cabinet and moulds.
    Cabinet,
    /// Too few earlier good batches.
    Past,
}
