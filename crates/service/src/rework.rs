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
        let fresh = old.into_iter().filter_map(|batch| refreshed(batch, &worked_out, of_a_charge));
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

    /// What was in the machine before anything that is read: the newest charge that was told of. Of the couverture another one is until somebody says
    /// otherwise; lot and mass were those of the batch that was melted next.
    fn charge_before(&self, machine: &MachineId, before: Timestamp) -> Result<Option<Event>, ServiceError> {
        let told = self.events(machine, Timestamp::default(), before)?;
        let charges = told.into_iter().filter(|event| matches!(event.kind, EventKind::Charge { .. }));
        let Some(mut charge) = charges.max_by_key(|event| event.at) else { return Ok(None) };
        let (from, to) = (Some(charge.at), Some(before));
        let query =
            BatchQuery { machine: Some(machine.clone()), from, to, limit: BATCHES, ..BatchQuery::default() };
        let melted = self.records.batches(&query)?.iter().any(|batch| charge.at <= batch.start);
        if let EventKind::Charge { lot, mass_kg, .. } = &mut charge.kind
            && melted
        {
            (*lot, *mass_kg) = (None, None);
        }
        Ok(Some(charge))
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

/// `old` with phases and measures of the batch that covers most of it, and with its charge, if any was told `of_a_charge`: else what is written
/// of that stays.
fn refreshed(old: Batch, worked_out: &[Batch], of_a_charge: bool) -> Option<Batch> {
    let end = old.end?;
    let shared = |new: &&Batch| {
        let until = new.end.map_or(end, |new_end| new_end.min(end));
        (until - new.start.max(old.start)).as_millis()
    };
    let new = worked_out.iter().max_by_key(shared).filter(|new| shared(new) > 0)?;
    let charge = if of_a_charge { new } else { &old };
    let fresh = Batch {
        couverture: charge.couverture.clone(),
        lot: charge.lot.clone(),
        method: charge.method,
        mass_kg: charge.mass_kg,
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

#[cfg(test)]
mod tests {
    use model::{BatchId, Measures, Method, Standing};

    use super::*;
    use crate::DataFolder;

    fn hour(hour: i64) -> Timestamp {
        Timestamp::from_millis(1_772_427_600_000) + Span::from_hours(hour)
    }

    fn melted(start: Timestamp) -> Batch {
        let machine: MachineId = "alder".parse().unwrap();
        Batch {
            id: BatchId::new(&machine, start),
            machine,
            couverture: "dark-64".parse().unwrap(),
            lot: None,
            method: Method::Seed,
            mass_kg: None,
            start,
            end: Some(start + Span::from_hours(10)),
            phases: Vec::new(),
            measures: Measures::default(),
            standing: Standing::Unproven,
            reasons: Vec::new(),
        }
    }

    #[test]
    fn a_charge_of_long_ago_says_what_is_in_the_machine_and_not_of_which_lot() {
        let folder = tempfile::tempdir().unwrap();
        let data = DataFolder::new(folder.path().join("data"));
        let (_journal, _) = data.open_journal().unwrap();
        let records = Arc::new(data.open_records().unwrap());
        let reworker = Reworker { records: records.clone(), store: Arc::new(data.open_store().unwrap()) };
        let machine: MachineId = "alder".parse().unwrap();
        let kind = EventKind::Charge {
            couverture: Some("milk-38".parse().unwrap()),
            lot: Some("L2207".to_owned()),
            mass_kg: Some(40.0),
            method: None,
        };
        let charge = Event { machine: machine.clone(), at: hour(0), by: None, kind, raw: "{}".to_owned() };
        records.commit(&Update { events: vec![charge.clone()], ..Update::default() }).unwrap();
        let told = |before| reworker.charge_before(&machine, before).unwrap();
        assert_eq!(told(hour(0)), None);
        assert_eq!(told(hour(70)), Some(charge.clone()), "it waits for its melt over the weekend");
        records.commit(&Update { batches: vec![melted(hour(2))], ..Update::default() }).unwrap();
        let EventKind::Charge { couverture, lot, mass_kg, .. } = told(hour(70)).unwrap().kind else {
            panic!()
        };
        assert_eq!((couverture, lot, mass_kg), (Some("milk-38".parse().unwrap()), None, None));
    }
}
