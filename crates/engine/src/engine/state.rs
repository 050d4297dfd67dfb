//! The engine's state on disk: what changes with every reading as one text of bytes, and beside it pieces of each machine's past, which do
//! not change any more, so that each is written once.

use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::Arc;

use frames::PackedTicks;
use model::{Finding, MachineId, Timestamp};
use plant::Plant;
use serde::{Deserialize, Serialize};

use super::{Engine, Orders};
use crate::machine::MachineWatch;
use crate::plant_watch::PlantWatch;

/// Counted up when the saved state changes its shape; another version is refused and the watch starts from what follows.
const STATE_VERSION: u32 = 17;

/// A piece of a machine's past.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Piece {
    /// Whose.
    pub machine: MachineId,
    /// Counted from the machine's beginning.
    pub number: u32,
    /// The engine's own form.
    pub bytes: Vec<u8>,
}

/// Why a saved state cannot be taken up.
#[derive(Debug, thiserror::Error)]
pub enum StateError {
    /// Written by another version.
    #[error(
        "the saved state is of another version of this program: its format is {found}, and this one reads {STATE_VERSION}"
    )]
    Version {
        /// The version found.
        found: u32,
    },
    /// Not a saved state.
    #[error("the saved state cannot be read")]
    Unreadable(#[from] postcard::Error),
    /// A piece is not there, or is none.
    #[error("piece {number} of `{machine}` is missing from the saved state")]
    Piece {
        /// Whose.
        machine: MachineId,
        /// Which.
        number: u32,
    },
}

#[derive(Serialize)]
struct ToSave<'a> {
    version: u32,
    clock: Timestamp,
    watches: BTreeMap<&'a MachineId, &'a MachineWatch>,
    plant_watch: &'a PlantWatch,
    changed: &'a [Finding],
    orders: &'a Orders,
}

/// The same behind its version.
#[derive(Deserialize)]
struct Saved {
    clock: Timestamp,
    watches: BTreeMap<MachineId, MachineWatch>,
    plant_watch: PlantWatch,
    changed: Vec<Finding>,
    orders: Orders,
}

impl Engine {
    /// Everything that is needed to go on after a restart, besides the [pieces](Engine::pieces).
    ///
    /// # Errors
    /// Only when memory runs out.
    pub fn save(&self) -> Result<Vec<u8>, StateError> {
        let saved = ToSave {
            version: STATE_VERSION,
            clock: self.clock,
            watches: self.watched().map(|(setting, watch)| (&setting.machine.id, watch)).collect(),
            plant_watch: &self.plant_watch,
            changed: &self.changed,
            orders: &self.orders,
        };
        Ok(postcard::to_stdvec(&saved)?)
    }

    /// Which pieces belong to the state as it is, by machine: old ones go, new ones come, none changes.
    pub fn pieces(&self) -> impl Iterator<Item = (&MachineId, Range<u32>)> {
        self.watched().map(|(setting, watch)| (&setting.machine.id, watch.history().numbers()))
    }

    /// Those of a machine's pieces that have these numbers.
    pub fn pieces_of(&self, machine: &MachineId, numbers: Range<u32>) -> Vec<Piece> {
        let Some(&place) = self.places.get(machine) else { return Vec::new() };
        let history = self.watches[place].history();
        let piece = |number| {
            let bytes = history.piece(number)?.to_vec();
            Some(Piece { machine: machine.clone(), number, bytes })
        };
        numbers.filter_map(piece).collect()
    }

    /// Takes up a saved state. Machines that the plant no longer has are left out, new ones start from nothing.
    ///
    /// # Errors
    /// When the state was written by another version, is no state at all, or a piece of it is not there.
    pub fn restore(
        plant: Arc<Plant>,
        state: &[u8],
        pieces: impl IntoIterator<Item = Piece>,
    ) -> Result<Engine, StateError> {
        let (found, state) = postcard::take_from_bytes::<u32>(state)?;
        if found != STATE_VERSION {
            return Err(StateError::Version { found });
        }
        let saved: Saved = postcard::from_bytes(state)?;
        let mut engine = Engine::new(plant);
        engine.clock = saved.clock;
        (engine.plant_watch, engine.changed, engine.orders) =
            (saved.plant_watch, saved.changed, saved.orders);
        let mut found: BTreeMap<(MachineId, u32), PackedTicks> = pieces
            .into_iter()
            .filter_map(|piece| Some(((piece.machine, piece.number), PackedTicks::from_bytes(piece.bytes)?)))
            .collect();
        for (id, mut watch) in saved.watches {
            let Some(&place) = engine.places.get(&id) else { continue };
            let piece = |number| {
                let piece = found.remove(&(id.clone(), number));
                piece.ok_or_else(|| StateError::Piece { machine: id.clone(), number })
            };
            let pieces = watch.history().awaited().map(piece).collect::<Result<_, _>>()?;
            watch.history_mut().take_up(pieces);
            engine.watches[place] = watch;
            engine.stirred.insert(place);
        }
        Ok(engine)
    }
}
