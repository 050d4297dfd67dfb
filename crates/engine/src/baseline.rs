//! What is usual for a machine: medians of its own good batches of the same couverture.
//!
//! Until enough are there, the plant file's `cooling_minutes`, as it stands: nobody says for which mass it holds. A charge of known mass is
//! compared with charges of known mass, since in one vessel the time constant is in proportion to the mass (domain brief 4.2).

use std::collections::BTreeMap;

use model::{Batch, CouvertureId, Phase};
use plant::Machine;
use serde::{Deserialize, Serialize};

/// So many good batches make a usual one.
const ENOUGH: usize = 3;
/// The newest good batches that are remembered.
const REMEMBERED: usize = 20;

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Baseline {
    coolings: BTreeMap<CouvertureId, Vec<Cooling>>,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Cooling {
    minutes: f64,
    mass_kg: Option<f64>,
}

impl Baseline {
    /// Remembers a batch that reached working without trouble.
    pub(crate) fn learn(&mut self, batch: &Batch) {
        let whole = batch.first(Phase::Soak).is_some() && batch.first(Phase::Working).is_some();
        if let Some(minutes) = batch.measures.cooling_minutes.filter(|_| whole) {
            let coolings = self.coolings.entry(batch.couverture.clone()).or_default();
            if coolings.len() == REMEMBERED {
                coolings.remove(0);
            }
            coolings.push(Cooling { minutes, mass_kg: batch.mass_kg });
        }
    }

    /// Usual length of the cooling of such a charge, minutes.
    pub(crate) fn cooling_minutes(
        &self,
        machine: &Machine,
        couverture: &CouvertureId,
        mass_kg: Option<f64>,
    ) -> Option<f64> {
        let coolings = self.coolings.get(couverture).map_or(&[][..], Vec::as_slice);
        let per_kg: Vec<f64> = coolings.iter().filter_map(|c| Some(c.minutes / c.mass_kg?)).collect();
        if let Some(mass) = mass_kg.filter(|_| per_kg.len() >= ENOUGH) {
            return maths::statistics::median(&per_kg).map(|minutes| minutes * mass);
        }
        if coolings.len() >= ENOUGH {
            let minutes: Vec<f64> = coolings.iter().map(|c| c.minutes).collect();
            return maths::statistics::median(&minutes);
        }
        machine.cooling_minutes
    }
}
