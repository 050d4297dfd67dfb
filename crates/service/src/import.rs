//! Readings from elsewhere into a data folder that no service is running on: a logger's file, a typed table.
//!
//! What is newer than everything the watch of this folder has seen goes through it as if it had come live. What is older is worked
//! through by an engine of its own, because findings of the watch are never back-dated: its batches and findings are added where no batch
//! stands yet, and batches that stand are worked out again with what has been added. Either way a reading that is there already is not
//! written again, so that a file imported twice is the same as once.

use std::collections::BTreeMap;
use std::sync::Arc;

use engine::Engine;
use journal::{BlockSeq, Journal};
use model::{Arrival, Batch, BatchId, Channel, Content, Finding, MachineId, Reading, Span, Timestamp};
use plant::Plant;
use records::{BatchQuery, Records, Update};
use store::Store;
use tokio::sync::watch;

use crate::rework::Reworker;
use crate::watch::Watch;
use crate::{DataFolder, ServiceError};

/// Arrivals put into a block at once, as for a past that is filled in.
const BLOCK: usize = 20_000;
/// Two values are the same if the store would keep them as the same.
const KEPT_TO: f64 = 0.001;
/// Batches of one machine in the span of one file.
const BATCHES: usize = 10_000;

/// What came of it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Imported {
    /// Readings that were not there, or had another value.
    pub written: usize,
    /// Readings that were there already.
    pub known: usize,
    /// Batches added to the records; what goes through the watch is counted when a service shows it.
    pub batches: usize,
    /// Findings added.
    pub findings: usize,
    /// Batches that stood there already, and were worked out again.
    pub reworked: usize,
}

/// Puts the readings of one machine into the folder.
///
/// # Errors
/// When a service is running on the folder, or it cannot be written.
pub fn import(
    data: &DataFolder,
    plant: &Arc<Plant>,
    machine: &MachineId,
    readings: &[Reading],
) -> Result<Imported, ServiceError> {
    let (mut journal, _) = data.open_journal()?;
    let store = Arc::new(data.open_store()?);
    let records = Arc::new(data.open_records()?);
    let last_of_each: BTreeMap<(Timestamp, Channel), f64> =
        readings.iter().filter_map(|reading| Some(((reading.at, reading.channel), reading.value?))).collect();
    let new = not_there_yet(&store, machine, &last_of_each)?;
    let mut imported =
        Imported { written: new.len(), known: last_of_each.len() - new.len(), ..Imported::default() };
    let Some(first) = new.first().map(|arrival| arrival.arrived) else { return Ok(imported) };

    let mut watch = catch_up(data, plant, &records)?;
    let newest = watch.last_arrival().max(store.newest_moment()?);
    append(&mut journal, &new)?;
    if newest.is_none_or(|newest| newest < first) {
        catch_up(data, plant, &records)?;
    } else {
        let all: Vec<Arrival> =
            last_of_each.iter().map(|(key, value)| arrival(machine, *key, *value)).collect();
        add_past(plant, machine, &all, &records, &mut imported)?;
        watch.pass_over(journal.newest());
        watch.save()?;
    }
    store.move_blocks(journal.newest(), |_| Ok(()))?;
    if 0 < imported.reworked {
        Reworker { records, store }.rework(plant, machine, first)?;
    }
    Ok(imported)
}

fn arrival(machine: &MachineId, (at, channel): (Timestamp, Channel), value: f64) -> Arrival {
    let content = Content::Reading(Reading { machine: machine.clone(), channel, at, value: Some(value) });
    Arrival { arrived: at, retained: false, content }
}

fn not_there_yet(
    store: &Store,
    machine: &MachineId,
    readings: &BTreeMap<(Timestamp, Channel), f64>,
) -> Result<Vec<Arrival>, ServiceError> {
    let (Some(((from, _), _)), Some(((to, _), _))) = (readings.first_key_value(), readings.last_key_value())
    else {
        return Ok(Vec::new());
    };
    let mut there = BTreeMap::new();
    for (channel, series) in store.read_channels(machine, &Channel::ALL, *from, *to + Span::from_millis(1))? {
        there.extend(series.into_iter().filter_map(|(at, value)| Some(((at, channel), value?))));
    }
    let is_new = |key: &(Timestamp, Channel), value: f64| {
        there.get(key).is_none_or(|kept: &f64| KEPT_TO <= (kept - value).abs())
    };
    let new = readings.iter().filter(|(key, value)| is_new(key, **value));
    Ok(new.map(|(key, value)| arrival(machine, *key, *value)).collect())
}

/// Has the watch work through what is in the journal, and saves it.
fn catch_up(data: &DataFolder, plant: &Arc<Plant>, records: &Arc<Records>) -> Result<Watch, ServiceError> {
    let (saved, _) = watch::channel(BlockSeq::new(0));
    let reader = data.open_journal_reader()?;
    let mut watch = Watch::resume(plant.clone(), records.clone(), &reader, saved, Arc::default())?;
    watch.save()?;
    Ok(watch)
}

fn append(journal: &mut Journal, arrivals: &[Arrival]) -> Result<(), ServiceError> {
    for block in arrivals.chunks(BLOCK) {
        let _durable = journal.append(block)?;
    }
    Ok(())
}

/// Works through the past by an engine of its own.
fn add_past(
    plant: &Arc<Plant>,
    machine: &MachineId,
    arrivals: &[Arrival],
    records: &Records,
    imported: &mut Imported,
) -> Result<(), ServiceError> {
    let mut engine = Engine::new(plant.clone());
    arrivals.iter().for_each(|arrival| engine.apply(arrival));
    engine.finish();
    let last = arrivals.last().map(|arrival| arrival.arrived).unwrap_or_default();
    let open = engine.open_batches();
    let changes = engine.take_changes();
    let batches: Vec<Batch> =
        changes.ended.into_iter().chain(open.into_iter().map(|batch| ended(batch, last))).collect();
    let standing = records.batches(&BatchQuery {
        machine: Some(machine.clone()),
        from: batches.iter().map(|batch| batch.start).min(),
        to: Some(last),
        limit: BATCHES,
        ..BatchQuery::default()
    })?;
    let is_free = |batch: &Batch| standing.iter().all(|other| other.id == batch.id || !overlap(batch, other));
    let (free, taken): (Vec<Batch>, Vec<Batch>) = batches.into_iter().partition(is_free);
    let taken: Vec<BatchId> = taken.into_iter().map(|batch| batch.id).collect();
    let findings: Vec<Finding> = changes
        .findings
        .into_iter()
        .filter(|finding| finding.batch.as_ref().is_none_or(|batch| !taken.contains(batch)))
        .map(|finding| Finding { to: finding.to.or(Some(last)), ..finding })
        .collect();
    (imported.batches, imported.findings, imported.reworked) = (free.len(), findings.len(), taken.len());
    records.commit(&Update { batches: free, findings, ..Update::default() })?;
    Ok(())
}

/// What is known of it ends where the file ends.
fn ended(mut batch: Batch, last: Timestamp) -> Batch {
    batch.end = Some(last);
    if let Some(phase) = batch.phases.last_mut() {
        phase.to = Some(last);
    }
    batch
}

fn overlap(a: &Batch, b: &Batch) -> bool {
    let end = |batch: &Batch| batch.end.unwrap_or(Timestamp::from_millis(i64::MAX));
    a.start < end(b) && b.start < end(a)
}
