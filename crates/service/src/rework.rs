//! Readings that came too late for the watch: phases and measures of the batches they touch are worked out again from the store.

use std::sync::Arc;

use engine::rework;
use frames::{ReadingHeap, TidyReadings};
use model::{Batch, Channel, Event, MachineId, Span, Timestamp};
use plant::Plant;
use records::{BatchQuery, EventQuery, Life, Mark, Records, Update};
use store::Store;

use crate::ServiceError;

/// A rise to melt is looked for so far before the batch that it began.
const BEFORE: Span = Span::from_hours(24);
/// Batches looked at together: late readings come within days, not within hundreds of batches.
const BATCHES: usize = 200;
/// Events of the batches that are worked out.
const EVENTS: usize = 10_000;

/// Works batches out again.
pub(crate) struct Reworker {
    pub(crate) records: Arc<Records>,
    pub(crate) store: Arc<Store>,
}

impl Reworker {
    /// Works out again every ended batch of `machine` that goes on at or after `from`. Their findings stay as they are, and a batch keeps
    /// its id even if its start moves by a minute.
    pub(crate) fn rework(
        &self,
        plant: &Plant,
        machine: &MachineId,
        from: Timestamp,
    ) -> Result<(), ServiceError> {
        let query = BatchQuery {
            machine: Some(machine.clone()),
            from: Some(from),
            life: Life::Closed,
            limit: BATCHES,
            ..BatchQuery::default()
        };
        self.work_out(plant, machine, self.records.batches(&query)?)
    }

    /// Works out again every ended batch of `machine` that went on between `from` and `to`, some after the other.
    pub(crate) fn rework_between(
        &self,
        plant: &Plant,
        machine: &MachineId,
        from: Timestamp,
        to: Timestamp,
    ) -> Result<(), ServiceError> {
        let mut behind = None;
        loop {
            let query = BatchQuery {
                machine: Some(machine.clone()),
                from: Some(from),
                to: Some(to),
                life: Life::Closed,
                behind,
                limit: BATCHES,
            };
            let some = self.records.batches(&query)?;
            let Some(oldest) = some.last() else { return Ok(()) };
            behind = Some(Mark { at: oldest.start, id: oldest.id.to_string() });
            self.work_out(plant, machine, some)?;
        }
    }

    fn work_out(&self, plant: &Plant, machine: &MachineId, old: Vec<Batch>) -> Result<(), ServiceError> {
        let Some(settings) = plant.machine(machine) else { return Ok(()) };
        let (Some(first), Some(last)) =
            (old.iter().map(|batch| batch.start).min(), old.iter().filter_map(|batch| batch.end).max())
        else {
            return Ok(());
        };
        let (read_from, read_to) = (first - BEFORE, last + Span::from_hours(1));
        let rows = self.store.read_rows(machine, &Channel::ALL, read_from, read_to)?;
        let events = self.events(machine, read_from, read_to)?;
        let worked_out = rework(plant, settings, &rows, &events);
        let batches = old.into_iter().filter_map(|batch| refreshed(batch, &worked_out)).collect();
        self.records.commit(&Update { batches, ..Update::default() })?;
        Ok(())
    }

    /// All channels of a machine, as the engine takes them.
    pub(crate) fn readings(
        &self,
        machine: &MachineId,
        from: Timestamp,
        to: Timestamp,
    ) -> Result<TidyReadings, ServiceError> {
        let mut heap = ReadingHeap::default();
        for (channel, series) in self.store.read_channels(machine, &Channel::ALL, from, to)? {
            for (at, value) in series {
                heap.push(channel, at, value);
            }
        }
        Ok(heap.tidy()?)
    }

    pub(crate) fn events(
        &self,
        machine: &MachineId,
        from: Timestamp,
        to: Timestamp,
    ) -> Result<Vec<Event>, ServiceError> {
        let (machine, from, to) = (Some(machine.clone()), Some(from), Some(to));
        Ok(self.records.events(&EventQuery { machine, from, to, limit: EVENTS })?)
    }
}

/// `old` with the phases and measures of the batch that covers most of it.
fn refreshed(old: Batch, worked_out: &[Batch]) -> Option<Batch> {
    let end = old.end?;
    let shared = |new: &&Batch| {
        let until = new.end.map_or(end, |new_end| new_end.min(end));
        (until - new.start.max(old.start)).as_millis()
    };
    let new = worked_out.iter().max_by_key(shared).filter(|new| shared(new) > 0)?;
    let fresh = Batch {
        start: new.start,
        end: new.end,
        phases: new.phases.clone(),
        measures: new.measures.clone(),
        ..old
    };
    Some(if fresh.end.is_some() { fresh } else { ended(fresh, end) })
}

/// What is known of it ends there.
pub(crate) fn ended(mut batch: Batch, at: Timestamp) -> Batch {
    batch.end = Some(at);
    if let Some(phase) = batch.phases.last_mut() {
        phase.to = Some(at);
    }
    batch
}
