//! What came too late for the watch. Readings, and events that bear on phases: phases and measures of the batches they touch are worked out again
//! from the store. What bears on the standing of a batch that has ended: that is judged anew at once.

use std::sync::Arc;

use engine::{rework, standing_of};
use frames::{ReadingHeap, TidyReadings};
use model::{Batch, Channel, Event, EventKind, MachineId, Span, Timestamp};
use plant::Plant;
use records::{BatchQuery, EventQuery, FindingQuery, Life, Mark, Records, Update};
use store::Store;

use crate::ServiceError;

/// A rise to melt is looked for so far before the batch that it began.
const BEFORE: Span = Span::from_hours(24);
/// Batches looked at together: late readings come within days, not within hundreds of batches.
const BATCHES: usize = 200;
/// Events of the batches that are worked out.
const EVENTS: usize = 10_000;
/// Findings of one batch.
const FINDINGS: usize = 10_000;
/// What is told of a batch after it has ended is looked for within so long (a smear is judged within the hour).
const JUDGED_WITHIN: Span = Span::from_hours(2);

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

    /// Judges again the batches of `machine` that had ended by the time of which something was told, from `from` on.
    pub(crate) fn judge(&self, machine: &MachineId, from: Timestamp) -> Result<(), ServiceError> {
        let query = BatchQuery {
            machine: Some(machine.clone()),
            from: Some(from),
            to: Some(from + JUDGED_WITHIN),
            limit: BATCHES,
            ..BatchQuery::default()
        };
        let all = self.records.batches(&query)?;
        let mut batches = Vec::new();
        for ended in all.iter().filter(|batch| batch.end.is_some()) {
            // What people said of its phases stays a word of theirs.
            let own = self.records.own_batch(&ended.id)?.unwrap_or_else(|| ended.clone());
            batches.push(self.judged(own, &all)?);
        }
        self.records.commit(&Update { batches, ..Update::default() })?;
        Ok(())
    }

    /// `batch` with the standing that everything gives that people told and that was found; `all` that went on about then.
    fn judged(&self, batch: Batch, all: &[Batch]) -> Result<Batch, ServiceError> {
        let Some(end) = batch.end else { return Ok(batch) };
        let next = all.iter().map(|other| other.start).filter(|start| batch.start < *start).min();
        let events = self.events(&batch.machine, batch.start, end + JUDGED_WITHIN)?;
        if events.is_empty() {
            return Ok(batch);
        }
        let query =
            FindingQuery { batch: Some(batch.id.clone()), limit: FINDINGS, ..FindingQuery::default() };
        let findings = self.records.findings(&query)?;
        let (standing, reasons) = standing_of(&batch, next, &events, &findings);
        Ok(Batch { standing, reasons, ..batch })
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
        let mut events = self.events(machine, read_from, read_to)?;
        events.extend(self.charge_before(machine, read_from)?);
        let worked_out = rework(plant, settings, &rows, &events);
        let of_a_charge = events.iter().any(|event| matches!(event.kind, EventKind::Charge { .. }));
        let fresh = old.into_iter().filter_map(|batch| {
            let fresh = refreshed(&batch, &worked_out)?;
            Some(if of_a_charge { fresh } else { with_the_charge_of(&batch, fresh) })
        });
        let batches = fresh.map(|batch| self.judged(batch, &worked_out)).collect::<Result<Vec<_>, _>>()?;
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

    /// What was in the machine before anything that is read: the newest charge that was told of.
    fn charge_before(&self, machine: &MachineId, before: Timestamp) -> Result<Option<Event>, ServiceError> {
        let told = self.events(machine, Timestamp::default(), before)?;
        Ok(told
            .into_iter()
            .filter(|event| matches!(event.kind, EventKind::Charge { .. }))
            .max_by_key(|event| event.at))
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

/// `old` with what is known of its charge, the phases and the measures of the batch that covers most of it.
fn refreshed(old: &Batch, worked_out: &[Batch]) -> Option<Batch> {
    let end = old.end?;
    let shared = |new: &&Batch| {
        let until = new.end.map_or(end, |new_end| new_end.min(end));
        (until - new.start.max(old.start)).as_millis()
    };
    let new = worked_out.iter().max_by_key(shared).filter(|new| shared(new) > 0)?;
    let fresh = Batch {
        couverture: new.couverture.clone(),
        lot: new.lot.clone(),
        method: new.method,
        mass_kg: new.mass_kg,
        start: new.start,
        end: new.end,
        phases: new.phases.clone(),
        measures: new.measures.clone(),
        ..old.clone()
    };
    Some(if fresh.end.is_some() { fresh } else { ended(fresh, end) })
}

/// Nobody told of a charge in what is kept: what is written of it stays.
fn with_the_charge_of(old: &Batch, fresh: Batch) -> Batch {
    Batch {
        couverture: old.couverture.clone(),
        lot: old.lot.clone(),
        method: old.method,
        mass_kg: old.mass_kg,
        ..fresh
    }
}

/// What is known of it ends there.
pub(crate) fn ended(mut batch: Batch, at: Timestamp) -> Batch {
    batch.end = Some(at);
    if let Some(phase) = batch.phases.last_mut() {
        phase.to = Some(at);
    }
    batch
}
