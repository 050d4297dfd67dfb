//! Readings from elsewhere into a data folder that no service is running on: a logger's file, a typed table.
//!
//! What is newer than everything the watch of this folder has seen goes through it as if it had come live. What is older is worked
//! through by an engine of its own, because findings of the watch are never back-dated: its batches and findings are added where no batch
//! stands yet. A batch that stands keeps what people said of it: it is worked out again with what has been added, and drawn out if an
//! earlier file had cut it short. Either way a reading that is there already is not written again, so that a file imported twice is the
//! same as once.

use std::collections::BTreeMap;
use std::sync::Arc;

use engine::Engine;
use journal::{BlockSeq, Journal};
use model::{Arrival, Batch, BatchId, Channel, Content, Finding, MachineId, Reading, Span, Timestamp};
use plant::Plant;
use records::{BatchQuery, Records, Update};
use store::Store;
use tokio::sync::watch;

use crate::rework::{Reworker, ended};
use crate::watch::Watch;
use crate::{DataFolder, ServiceError};

/// Arrivals put into a block at once, as for a past that is filled in.
const BLOCK: usize = 20_000;
/// Two values are the same if the store would keep them as the same.
const KEPT_TO: f64 = 0.001;
/// Batches of one machine in the span of one file.
const BATCHES: usize = 10_000;

/// What came of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Imported {
    /// Readings that were not there.
    pub written: usize,
    /// Readings that were there with another value, which counts no more.
    pub replaced: usize,
    /// Readings that were there already.
    pub known: usize,
    /// What they became, where they are older than something in the folder; what is newer goes through the watch.
    pub past: Option<PastAdded>,
}

/// What was added to a past.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct PastAdded {
    /// Batches that were not there.
    pub batches: usize,
    /// Findings that were not there.
    pub findings: usize,
    /// Batches that stood there, and were worked out again.
    pub reworked: usize,
    /// Batches that go on, and were left as they are.
    pub left: usize,
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
    let NotThereYet { arrivals: new, replaced } = not_there_yet(&store, machine, &last_of_each)?;
    let mut imported = Imported {
        written: new.len() - replaced,
        replaced,
        known: last_of_each.len() - new.len(),
        past: None,
    };
    let (Some(first), Some(last)) = (new.first(), new.last()) else { return Ok(imported) };
    let (first, last) = (first.arrived, last.arrived);

    let mut watch = catch_up(data, plant, &records)?;
    let newest = watch.last_arrival().max(store.newest_moment()?);
    records.note_import(watch.last_arrival())?;
    append(&mut journal, &new)?;
    if newest.is_none_or(|newest| newest < first) {
        catch_up(data, plant, &records)?;
    } else {
        let all: Vec<Arrival> =
            last_of_each.iter().map(|(key, value)| arrival(machine, *key, *value)).collect();
        imported.past = Some(add_past(plant, machine, &all, &records)?);
        watch.pass_over(journal.newest());
        watch.save()?;
    }
    store.move_blocks(journal.newest(), |_| Ok(()))?;
    if imported.past.as_ref().is_some_and(|past| 0 < past.reworked) {
        Reworker { records, store }.rework_between(plant, machine, first, last)?;
    }
    Ok(imported)
}

fn arrival(machine: &MachineId, (at, channel): (Timestamp, Channel), value: f64) -> Arrival {
    let content = Content::Reading(Reading { machine: machine.clone(), channel, at, value: Some(value) });
    Arrival { arrived: at, retained: false, content }
}

/// What is to be written, in the order of time.
#[derive(Default)]
struct NotThereYet {
    arrivals: Vec<Arrival>,
    /// So many of them take the place of another value.
    replaced: usize,
}

fn not_there_yet(
    store: &Store,
    machine: &MachineId,
    readings: &BTreeMap<(Timestamp, Channel), f64>,
) -> Result<NotThereYet, ServiceError> {
    let (Some(((from, _), _)), Some(((to, _), _))) = (readings.first_key_value(), readings.last_key_value())
    else {
        return Ok(NotThereYet::default());
    };
    let mut there = BTreeMap::new();
    for (channel, series) in store.read_channels(machine, &Channel::ALL, *from, *to + Span::from_millis(1))? {
        there.extend(series.into_iter().filter_map(|(at, value)| Some(((at, channel), value?))));
    }
    let mut new = NotThereYet::default();
    for (key, value) in readings {
        match there.get(key) {
            Some(kept) if f64::abs(kept - value) < KEPT_TO => continue,
            Some(_) => new.replaced += 1,
            None => {}
        }
        new.arrivals.push(arrival(machine, *key, *value));
    }
    Ok(new)
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
) -> Result<PastAdded, ServiceError> {
    let mut engine = Engine::new(plant.clone());
    arrivals.iter().for_each(|arrival| engine.apply(arrival));
    engine.finish();
    let (Some(first), Some(last)) = (arrivals.first(), arrivals.last()) else {
        return Ok(PastAdded::default());
    };
    let (first, last) = (first.arrived, last.arrived);
    let open = engine.open_batches();
    let changes = engine.take_changes();
    let batches = changes.ended.into_iter().chain(open.into_iter().map(|batch| ended(batch, last)));
    let standing = records.batches(&BatchQuery {
        machine: Some(machine.clone()),
        from: Some(first),
        to: Some(last),
        limit: BATCHES,
        ..BatchQuery::default()
    })?;
    let mut update = Update::default();
    let mut added = PastAdded {
        reworked: standing.iter().filter(|batch| batch.end.is_some()).count(),
        left: standing.iter().filter(|batch| batch.end.is_none()).count(),
        ..PastAdded::default()
    };
    // Findings up to this moment were raised, or not, when the batch that stands was watched.
    let mut watched_until: BTreeMap<BatchId, Timestamp> = BTreeMap::new();
    for batch in batches {
        let mut touched = standing.iter().filter(|other| overlap(&batch, other));
        let drawn_out_from = match (touched.next(), touched.next()) {
            (None, _) => {
                added.batches += 1;
                update.batches.push(batch);
                continue;
            }
            (Some(cut), None) if cut.id == batch.id && cut.end.is_some() && cut.end < batch.end => {
                update.batches.push(Batch { end: batch.end, ..cut.clone() });
                cut.end
            }
            (Some(_), _) => None,
        };
        watched_until.insert(batch.id, drawn_out_from.unwrap_or(Timestamp::from_millis(i64::MAX)));
    }
    let was_watched = |finding: &Finding| {
        let until = finding.batch.as_ref().and_then(|batch| watched_until.get(batch));
        until.is_some_and(|until| finding.raised_at <= *until)
    };
    let new = changes.findings.into_iter().filter(|finding| !was_watched(finding));
    update.findings = new.map(|finding| Finding { to: finding.to.or(Some(last)), ..finding }).collect();
    added.findings = update.findings.len();
    records.commit(&update)?;
    Ok(added)
}

fn overlap(a: &Batch, b: &Batch) -> bool {
    let end = |batch: &Batch| batch.end.unwrap_or(Timestamp::from_millis(i64::MAX));
    a.start < end(b) && b.start < end(a)
}

#[cfg(test)]
mod tests {
    use model::Standing;

    use super::*;

    const PLANT: &str = "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n\
         [mqtt]\nurl = \"embedded\"\n[[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n\
         [[machine]]\nid = \"alder\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\n";

    struct Site {
        _folder: tempfile::TempDir,
        data: DataFolder,
        plant: Arc<Plant>,
        alder: MachineId,
    }

    impl Site {
        /// The folder has seen a reading long after the night of these tests, so that the night is its past.
        fn new() -> Site {
            let folder = tempfile::tempdir().unwrap();
            let data = DataFolder::new(folder.path().join("data"));
            let plant = Arc::new(plant::parse_plant(PLANT).unwrap());
            let site = Site { _folder: folder, data, plant, alder: "alder".parse().unwrap() };
            site.import(&[(at(400 * 24 * 60), 21.0)]);
            site
        }

        fn import(&self, readings: &[(Timestamp, f64)]) -> Imported {
            let reading = |(at, value): &(Timestamp, f64)| Reading {
                machine: self.alder.clone(),
                channel: Channel::Chocolate,
                at: *at,
                value: Some(*value),
            };
            let readings: Vec<Reading> = readings.iter().map(reading).collect();
            import(&self.data, &self.plant, &self.alder, &readings).unwrap()
        }

        fn records(&self) -> Records {
            self.data.open_records().unwrap()
        }

        fn batch_of_the_night(&self) -> Batch {
            let query = BatchQuery { to: Some(at(24 * 60)), ..BatchQuery::default() };
            let mut found = self.records().batches(&query).unwrap();
            assert_eq!(found.len(), 1, "{found:?}");
            found.remove(0)
        }
    }

    /// So many minutes after 2026-03-02T00:00:00Z.
    fn at(minutes: i64) -> Timestamp {
        "2026-03-02T00:00:00Z".parse::<Timestamp>().unwrap() + Span::from_secs(60 * minutes)
    }

    /// Melted, soaked, cooled and held, a reading in ten seconds: from minute 60 on it rises, and until the last one it works at `hold`.
    fn night(hold: f64, last: i64) -> Vec<(Timestamp, f64)> {
        let corners = [(0.0, 24.0), (60.0, 24.0), (120.0, 46.5), (180.0, 46.5), (255.0, 31.5), (265.0, hold)];
        let value = |minute: f64| {
            let next = corners.iter().position(|(corner, _)| minute < *corner);
            next.map_or(hold, |next| {
                let ((from, low), (to, high)) = (corners[next - 1], corners[next]);
                low + (high - low) * (minute - from) / (to - from)
            })
        };
        let steps = 0..last * 6;
        steps.map(|step| (at(0) + Span::from_secs(10 * step), value(step as f64 / 6.0))).collect()
    }

    #[test]
    fn a_longer_file_draws_a_batch_out_and_takes_nothing_from_it() {
        let site = Site::new();
        site.import(&night(31.5, 400));
        let short = site.batch_of_the_night();
        assert_eq!(short.end, Some(night(31.5, 400).last().unwrap().0));
        let told = Batch {
            lot: Some("L2207".to_owned()),
            standing: Standing::InTemper,
            reasons: Vec::new(),
            ..short.clone()
        };
        site.records().commit(&Update { batches: vec![told], ..Update::default() }).unwrap();
        site.import(&night(31.6, 500));
        let long = site.batch_of_the_night();
        assert_eq!(long.id, short.id);
        assert_eq!((long.lot.as_deref(), long.standing), (Some("L2207"), Standing::InTemper));
        assert_eq!(long.end, Some(night(31.6, 500).last().unwrap().0));
        assert_eq!(long.phases.last().unwrap().to, long.end);
        assert!(short.measures.working_minutes.unwrap() + 99.0 < long.measures.working_minutes.unwrap());
    }

    #[test]
    fn a_batch_that_stands_is_worked_out_again_however_many_came_after_it() {
        let site = Site::new();
        site.import(&night(31.5, 400));
        let first = site.batch_of_the_night();
        let later = |day: i64| {
            let start = at(day * 24 * 60);
            let id = BatchId::new(&site.alder, start);
            Batch { id, start, end: Some(start + Span::from_hours(8)), ..first.clone() }
        };
        let batches = (1..=300).map(later).collect();
        site.records().commit(&Update { batches, ..Update::default() }).unwrap();
        site.import(&night(31.8, 400));
        let again = site.batch_of_the_night();
        let mean = |batch: &Batch| batch.measures.working_mean_c.unwrap();
        assert!(mean(&first) + 0.2 < mean(&again), "{} {}", mean(&first), mean(&again));
    }
}
