//! The engine's state on disk: the part that changes is written whole each time, pieces of the past once each.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use std::sync::Arc;

use engine::{Engine, Piece};
use journal::BlockSeq;
use model::MachineId;
use plant::Plant;
use records::{Records, SavedState, StatePiece};
use tracing::warn;

use crate::ServiceError;

/// Which pieces are on disk already.
#[derive(Debug, Default)]
pub(super) struct Saving {
    on_disk: BTreeMap<MachineId, Range<u32>>,
}

/// The engine as it was saved, and up to which block that was; a new one if nothing fits.
pub(super) fn take_up(
    plant: &Arc<Plant>,
    records: &Records,
) -> Result<(BlockSeq, Engine, Saving), ServiceError> {
    let Some(state) = records.load_state()? else {
        return Ok((BlockSeq::new(0), Engine::new(plant.clone()), Saving::default()));
    };
    let seen = BlockSeq::new(state.block);
    let unknown = |piece: &&StatePiece| plant.machine(&piece.machine).is_none();
    let gone: BTreeSet<MachineId> =
        state.pieces.iter().filter(unknown).map(|piece| piece.machine.clone()).collect();
    let pieces = state.pieces.into_iter().map(|StatePiece { machine, number, bytes }| Piece {
        machine,
        number,
        bytes,
    });
    let (engine, saving) = match Engine::restore(plant.clone(), &state.bytes, pieces) {
        Ok(engine) => {
            let on_disk = engine.pieces().map(|(machine, numbers)| (machine.clone(), numbers)).collect();
            (engine, Saving { on_disk })
        }
        Err(error) => {
            warn!(
                %error,
                "the watch starts anew: batches and findings so far stay in the records, a batch that went on is not continued, \
                 and how long machines usually cool is learned again"
            );
            (Engine::new(plant.clone()), Saving::default())
        }
    };
    records.forget_state_of(&gone)?;
    Ok((seen, engine, saving))
}

impl Saving {
    /// What is to be written now.
    pub(super) fn state(&self, engine: &Engine, seen: BlockSeq) -> Result<SavedState, ServiceError> {
        let mut pieces = Vec::new();
        let mut holds = Vec::new();
        for (machine, numbers) in engine.pieces() {
            let on_disk = self.on_disk.get(machine).map_or(numbers.start, |on_disk| on_disk.end);
            let new = numbers.start.max(on_disk)..numbers.end;
            pieces.extend(engine.pieces_of(machine, new));
            holds.push((machine.clone(), numbers));
        }
        let piece = |Piece { machine, number, bytes }| StatePiece { machine, number, bytes };
        let pieces = pieces.into_iter().map(piece).collect();
        Ok(SavedState { block: seen.get(), bytes: engine.save()?, pieces, holds })
    }

    /// That has been written.
    pub(super) fn is_done(&mut self, engine: &Engine) {
        self.on_disk = engine.pieces().map(|(machine, numbers)| (machine.clone(), numbers)).collect();
    }
}
