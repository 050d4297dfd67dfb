//! What people said of phases is worked into the batches that they spoke of: figures over the corrected phases, from the store's readings.

use engine::correct;
use model::{Batch, MachineId, Span, Timestamp};
use plant::Plant;
use records::Due;

use crate::ServiceError;
use crate::rework::Reworker;

/// Readings before a batch: a jacket or set-point that holds was told before it.
const BEFORE: Span = Span::from_hours(1);

impl Reworker {
    /// Works in what is due. A machine that the plant no longer has keeps its batches as they are.
    pub(crate) fn correct_due(&self, plant: &Plant, due: Due, now: Timestamp) -> Result<(), ServiceError> {
        let machines: Vec<&MachineId> = plant.machines.iter().map(|machine| &machine.id).collect();
        for own in self.records.corrections_due(due, &machines)? {
            self.correct(plant, &own, now)?;
        }
        Ok(())
    }

    fn correct(&self, plant: &Plant, own: &Batch, now: Timestamp) -> Result<(), ServiceError> {
        let Some(machine) = plant.machine(&own.machine) else { return Ok(()) };
        let corrections = self.records.phase_corrections(&own.id)?;
        let (from, to) = (own.start - BEFORE, own.end.unwrap_or(now));
        let readings = self.readings(&own.machine, from, to)?;
        let events = self.events(&own.machine, own.start, to)?;
        let corrected = correct(plant, machine, own, &readings, &events, &corrections);
        self.records.keep_corrected(own, &corrected, corrections.len())?;
        Ok(())
    }
}
