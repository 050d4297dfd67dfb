//! What is usual for a machine with a couverture, learned from its own good batches, and what people order about it.

use serde::{Deserialize, Serialize};

use crate::{CouvertureId, MachineId, Timestamp};

/// How far a baseline is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum BaselineState {
    /// Too few good batches so far.
    Learning,
    /// Enough of them; each further one counts.
    Learned,
    /// As a person left it: further batches change nothing.
    Frozen,
}

impl BaselineState {
    /// The word that programs read.
    pub fn as_str(self) -> &'static str {
        match self {
            BaselineState::Learning => "learning",
            BaselineState::Learned => "learned",
            BaselineState::Frozen => "frozen",
        }
    }
}

/// A figure over several batches.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Usual {
    /// Half of the batches lie below.
    pub median: f64,
    /// Standard deviation, from the median distance to the median.
    pub spread: f64,
    /// Batches that had this figure.
    pub batches: usize,
}

/// What is usual for a machine with a couverture. A figure that too few batches had is `None`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Baseline {
    /// Which machine.
    pub machine: MachineId,
    /// With what in it.
    pub couverture: CouvertureId,
    /// How far it is.
    pub state: BaselineState,
    /// Good batches in it.
    pub batches: usize,
    /// So many are needed before a figure counts.
    pub needed: usize,
    /// When its state last changed.
    pub since: Option<Timestamp>,
    /// Who froze, reset or released it last.
    pub by: Option<String>,
    /// What is used for the length of cooling now, minutes: learned, or the plant file's. For a charge of known mass it is scaled.
    pub used_cooling_minutes: Option<f64>,
    /// Length of cooling, minutes.
    pub cooling_minutes: Option<Usual>,
    /// The same for each kg, where masses were told.
    pub cooling_minutes_per_kg: Option<Usual>,
    /// Newton time constant of cooling, minutes.
    pub cooling_tau_min: Option<Usual>,
    /// Settled hold, °C.
    pub settled_c: Option<Usual>,
    /// Settled hold less the set-point, °C.
    pub hold_offset_c: Option<Usual>,
    /// Depth of the seed's dip, °C.
    pub seed_dip_c: Option<Usual>,
    /// Standard deviation in working, °C.
    pub working_sd_c: Option<Usual>,
    /// Mass, where it was told, kg.
    pub mass_kg: Option<Usual>,
}

/// What a person can do about a baseline.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum BaselineDeed {
    /// Further batches change nothing.
    Freeze,
    /// Go on learning from where it stands.
    Learn,
    /// Forget everything and learn anew: the machine was cleaned, repaired or changed.
    Reset,
}

impl BaselineDeed {
    /// Every deed.
    pub const ALL: [BaselineDeed; 3] = [BaselineDeed::Freeze, BaselineDeed::Learn, BaselineDeed::Reset];

    /// The word that programs write.
    pub fn as_str(self) -> &'static str {
        match self {
            BaselineDeed::Freeze => "freeze",
            BaselineDeed::Learn => "learn",
            BaselineDeed::Reset => "reset",
        }
    }
}

impl std::str::FromStr for BaselineDeed {
    type Err = ();

    fn from_str(text: &str) -> Result<BaselineDeed, ()> {
        BaselineDeed::ALL.into_iter().find(|deed| deed.as_str() == text).ok_or(())
    }
}

/// A person's order about a baseline.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct BaselineOrder {
    /// Of which machine.
    pub machine: MachineId,
    /// With what in it.
    pub couverture: CouvertureId,
    /// What to do.
    pub deed: BaselineDeed,
    /// Who said so.
    pub by: Option<String>,
    /// When: arrivals from then on find it done.
    pub at: Timestamp,
}
