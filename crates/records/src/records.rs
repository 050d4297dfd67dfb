//! The file, open: one writer at a time, any number of readers.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use model::MachineId;
use rusqlite::{Connection, OptionalExtension, Row, Transaction, TransactionBehavior};

use crate::error::ChangeError;
use crate::schema::{open_to_read, open_to_write};
use crate::update::{Encoded, state_pieces};
use crate::{RecordsError, SavedState, Update};

/// Read connections kept for the next reader: about as many as there are requests at one time. More are opened when
/// needed, and closed again.
const READERS_KEPT: usize = 8;

/// The records of a plant, shared by reference between threads.
#[derive(Debug)]
pub struct Records {
    path: PathBuf,
    readers: Mutex<Vec<Connection>>,
    /// Closed behind the readers: the last connection moves what is left in the write-ahead log into the file, and a reader cannot.
    writer: Mutex<Connection>,
}

impl Records {
    /// Opens the records at `path`; makes them if they are not there.
    ///
    /// # Errors
    /// If the file cannot be used, or was written by a later version.
    pub fn open(path: impl AsRef<Path>) -> Result<Records, RecordsError> {
        let path = path.as_ref().to_owned();
        let writer = Mutex::new(open_to_write(&path)?);
        Ok(Records { path, writer, readers: Mutex::default() })
    }

    /// Writes everything in `update`, or nothing. On disk when it returns.
    ///
    /// # Errors
    /// If the file cannot be written; then nothing has changed.
    pub fn commit(&self, update: &Update) -> Result<(), RecordsError> {
        let encoded = Encoded::new(update)?;
        self.change(|transaction| encoded.put(transaction))
    }

    /// One transaction: all of `change`, or nothing.
    pub(crate) fn change<T>(
        &self,
        change: impl FnOnce(&Transaction<'_>) -> Result<T, ChangeError>,
    ) -> Result<T, RecordsError> {
        let mut writer = lock(&self.writer);
        let changed = || {
            let transaction = writer.transaction_with_behavior(TransactionBehavior::Immediate)?;
            let done = change(&transaction)?;
            transaction.commit()?;
            Ok(done)
        };
        changed().map_err(|error| match error {
            ChangeError::Sqlite(source) => RecordsError::from_sqlite("write", &self.path, source),
            ChangeError::Records(error) => error,
        })
    }

    /// The engine's state that was written last.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn load_state(&self) -> Result<Option<SavedState>, RecordsError> {
        self.with_reader(|reader| {
            let state = |row: &Row<'_>| {
                Ok(SavedState {
                    block: u64::try_from(row.get::<_, i64>(0)?).unwrap_or(0),
                    bytes: row.get(1)?,
                    ..SavedState::default()
                })
            };
            let snapshot = reader.unchecked_transaction()?;
            let Some(mut state) =
                snapshot.query_row("SELECT block, bytes FROM state", [], state).optional()?
            else {
                return Ok(None);
            };
            state.pieces = state_pieces(&snapshot)?;
            Ok(Some(state))
        })
    }

    /// Throws away what is kept of these machines' state: nobody watches them any more.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn forget_state_of(&self, machines: &BTreeSet<MachineId>) -> Result<(), RecordsError> {
        self.change(|transaction| {
            for machine in machines {
                transaction.execute("DELETE FROM state_pieces WHERE machine = ?1", [machine.as_str()])?;
            }
            Ok(())
        })
    }

    pub(crate) fn path(&self) -> &Path {
        &self.path
    }

    pub(crate) fn with_reader<T>(
        &self,
        read: impl FnOnce(&Connection) -> rusqlite::Result<T>,
    ) -> Result<T, RecordsError> {
        let kept = lock(&self.readers).pop();
        let reader = kept.map_or_else(|| open_to_read(&self.path), Ok)?;
        let result = read(&reader).map_err(|source| RecordsError::from_sqlite("read", &self.path, source))?;
        let mut readers = lock(&self.readers);
        if readers.len() < READERS_KEPT {
            readers.push(reader);
        }
        Ok(result)
    }
}

/// A thread that panicked while it held a connection left no transaction open: SQLite rolled it back.
fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests {
    use model::{
        Batch, BatchId, Event, EventKind, Finding, FindingId, FindingKind, MachineId, Measures, Method,
        Phase, PhaseSpan, Priority, Standing, Timestamp,
    };
    use tempfile::{TempDir, tempdir};

    use super::*;
    use crate::{BatchQuery, EventQuery, FindingQuery, Life, Mark};

    fn open() -> (TempDir, Records) {
        let folder = tempdir().unwrap();
        let records = Records::open(folder.path().join(crate::FILE_NAME)).unwrap();
        (folder, records)
    }

    fn machine(id: &str) -> MachineId {
        id.parse().unwrap()
    }

    /// So many minutes after 2026-03-01T06:00:00Z.
    fn at(minutes: i64) -> Timestamp {
        Timestamp::from_millis(1_772_344_800_000 + 60_000 * minutes)
    }

    fn batch(on: &str, start: i64, end: Option<i64>) -> Batch {
        Batch {
            id: BatchId::new(&machine(on), at(start)),
            machine: machine(on),
            couverture: "dark-64".parse().unwrap(),
            lot: Some("L2207".to_owned()),
            method: Method::Seed,
            mass_kg: Some(58.5),
            start: at(start),
            end: end.map(at),
            phases: vec![PhaseSpan {
                phase: Phase::Melting,
                from: at(start),
                to: None,
                confidence: model::Confidence::Medium,
            }],
            measures: Measures { soak_max_c: Some(46.1), ..Measures::default() },
            standing: Standing::Unproven,
            reasons: vec!["no temper test".to_owned()],
        }
    }

    fn finding(on: Option<&str>, kind: FindingKind, raised: i64, to: Option<i64>) -> Finding {
        Finding {
            id: FindingId::new(on.unwrap_or("plant"), kind.as_str(), at(raised)),
            machine: on.map(machine),
            batch: on.map(|on| BatchId::new(&machine(on), at(0))),
            kind,
            priority: Priority::Medium,
            from: at(raised - 5),
            to: to.map(at),
            raised_at: at(raised),
            says: "The chocolate is too warm.".to_owned(),
            evidence: Vec::new(),
            advice: "Look at the set-point.".to_owned(),
            superseded_by: None,
        }
    }

    fn note(on: &str, minutes: i64, text: &str) -> Event {
        let kind = EventKind::Note { text: text.to_owned() };
        let raw = format!(r#"{{"event":"note","text":"{text}","shift":2}}"#);
        Event { machine: machine(on), at: at(minutes), by: Some("ana".to_owned()), kind, raw }
    }

    #[test]
    fn what_was_committed_is_there_after_reopening() {
        let (folder, records) = open();
        let update = Update {
            batches: vec![batch("alder", 0, None)],
            findings: vec![finding(Some("alder"), FindingKind::WarmHold, 30, None)],
            events: vec![note("alder", 3, "lid off")],
            state: Some(state(17, &[(0, 3)], 0..1)),
        };
        assert_eq!(records.load_state().unwrap(), None);
        records.commit(&update).unwrap();
        records.commit(&update).unwrap();
        drop(records);
        let records = Records::open(folder.path().join(crate::FILE_NAME)).unwrap();
        assert_eq!(records.batches(&BatchQuery::default()).unwrap(), update.batches);
        assert_eq!(records.findings(&FindingQuery::default()).unwrap(), update.findings);
        assert_eq!(records.events(&EventQuery::default()).unwrap(), update.events);
        let without_holds = |state: SavedState| SavedState { holds: Vec::new(), ..state };
        assert_eq!(records.load_state().unwrap(), update.state.map(without_holds));
        assert_eq!(records.batch(&update.batches[0].id).unwrap().as_ref(), update.batches.first());
        assert_eq!(records.finding(&update.findings[0].id).unwrap().as_ref(), update.findings.first());
        assert_eq!(records.batch(&BatchId::from_lookup("alder-1999-01-01T00:00")).unwrap(), None);
    }

    /// A dozen connections keep what they have read for good, 2 MB each if SQLite may.
    #[test]
    fn a_connection_keeps_little() {
        let (_folder, records) = open();
        let kept = |connection: &Connection| {
            connection.pragma_query_value(None, "cache_size", |row| row.get::<_, i64>(0))
        };
        assert_eq!(kept(&lock(&records.writer)).unwrap(), -256);
        assert_eq!(records.with_reader(kept).unwrap(), -256);
    }

    #[test]
    fn a_newer_form_replaces_the_older_one() {
        let (_folder, records) = open();
        records.commit(&Update { batches: vec![batch("alder", 0, None)], ..Update::default() }).unwrap();
        let open = BatchQuery { life: Life::Open, ..BatchQuery::default() };
        assert_eq!(records.batches(&open).unwrap().len(), 1);
        let ended = batch("alder", 0, Some(400));
        records.commit(&Update { batches: vec![ended.clone()], ..Update::default() }).unwrap();
        assert_eq!(records.batches(&open).unwrap(), []);
        let closed = BatchQuery { life: Life::Closed, ..BatchQuery::default() };
        assert_eq!(records.batches(&closed).unwrap(), [ended]);
    }

    #[test]
    fn an_update_is_written_whole_or_not_at_all() {
        let (_folder, records) = open();
        let stop = "CREATE TRIGGER stop BEFORE INSERT ON state BEGIN SELECT RAISE(ABORT, 'stop'); END";
        lock(&records.writer).execute_batch(stop).unwrap();
        let state = Some(SavedState::default());
        let update = Update { batches: vec![batch("alder", 0, None)], state, ..Update::default() };
        assert!(matches!(records.commit(&update), Err(RecordsError::Sqlite { .. })));
        assert_eq!(records.batches(&BatchQuery::default()).unwrap(), []);
        lock(&records.writer).execute_batch("DROP TRIGGER stop").unwrap();
        records.commit(&update).unwrap();
        assert_eq!(records.batches(&BatchQuery::default()).unwrap(), update.batches);
    }

    #[test]
    fn pages_follow_one_another_without_gap_or_repeat() {
        let (_folder, records) = open();
        let batches: Vec<Batch> = (0..10)
            .flat_map(|n| {
                [batch("alder", n * 500, Some(n * 500 + 400)), batch("birch", n * 500, Some(n * 500 + 450))]
            })
            .collect();
        records.commit(&Update { batches: batches.clone(), ..Update::default() }).unwrap();
        let (mut seen, mut behind): (Vec<Batch>, Option<Mark>) = (Vec::new(), None);
        loop {
            let page = records.batches(&BatchQuery { behind, limit: 3, ..BatchQuery::default() }).unwrap();
            let Some(last) = page.last() else { break };
            behind = Some(Mark { at: last.start, id: last.id.as_str().to_owned() });
            seen.extend(page);
        }
        let mut expected = batches;
        expected.sort_by(|a, b| (b.start, b.id.as_str()).cmp(&(a.start, a.id.as_str())));
        assert_eq!(seen, expected);
    }

    #[test]
    fn batches_are_found_by_machine_and_time() {
        let (_folder, records) = open();
        let batches =
            vec![batch("alder", 0, Some(400)), batch("alder", 500, None), batch("birch", 100, Some(200))];
        records.commit(&Update { batches, ..Update::default() }).unwrap();
        let found = |on: Option<&str>, from: Option<i64>, to: Option<i64>| -> Vec<String> {
            let query = BatchQuery {
                machine: on.map(machine),
                from: from.map(at),
                to: to.map(at),
                ..BatchQuery::default()
            };
            records.batches(&query).unwrap().iter().map(|batch| batch.id.to_string()).collect()
        };
        assert_eq!(found(Some("alder"), None, None), ["alder-2026-03-01T14:20", "alder-2026-03-01T06:00"]);
        assert_eq!(found(None, Some(300), None), ["alder-2026-03-01T14:20", "alder-2026-03-01T06:00"]);
        assert_eq!(found(None, None, Some(101)), ["birch-2026-03-01T07:40", "alder-2026-03-01T06:00"]);
        assert_eq!(found(Some("birch"), Some(201), Some(1_000)), [""; 0]);
    }

    #[test]
    fn findings_are_found_by_machine_batch_kind_and_life() {
        let (_folder, records) = open();
        let findings = vec![
            finding(Some("alder"), FindingKind::WarmHold, 30, Some(40)),
            finding(Some("alder"), FindingKind::Scorch, 50, None),
            finding(Some("birch"), FindingKind::WarmHold, 60, None),
            finding(None, FindingKind::CommonCause, 70, None),
        ];
        records.commit(&Update { findings, ..Update::default() }).unwrap();
        let all = FindingQuery::default;
        let minutes = |query: FindingQuery| -> Vec<i64> {
            let found = records.findings(&query).unwrap();
            found.iter().map(|finding| (finding.raised_at - at(0)).as_millis() / 60_000).collect()
        };
        assert_eq!(minutes(all()), [70, 60, 50, 30]);
        assert_eq!(minutes(FindingQuery { machine: Some(machine("alder")), ..all() }), [50, 30]);
        assert_eq!(minutes(FindingQuery { kind: Some(FindingKind::WarmHold), ..all() }), [60, 30]);
        assert_eq!(
            minutes(FindingQuery { batch: Some(BatchId::new(&machine("birch"), at(0))), ..all() }),
            [60]
        );
        assert_eq!(minutes(FindingQuery { life: Life::Open, limit: 2, ..all() }), [70, 60]);
        assert_eq!(minutes(FindingQuery { life: Life::Closed, ..all() }), [30]);
        assert_eq!(minutes(FindingQuery { from: Some(at(41)), to: Some(at(60)), ..all() }), [50]);
    }

    #[test]
    fn the_same_report_twice_is_one_event() {
        let (_folder, records) = open();
        let events =
            vec![note("alder", 3, "lid off"), note("alder", 3, "lid on"), note("birch", 3, "lid off")];
        for _ in 0..2 {
            records.commit(&Update { events: events.clone(), ..Update::default() }).unwrap();
        }
        let of_alder =
            EventQuery { machine: Some(machine("alder")), from: Some(at(3)), to: Some(at(4)), limit: 9 };
        assert_eq!(records.events(&of_alder).unwrap(), [events[1].clone(), events[0].clone()]);
        assert_eq!(records.events(&EventQuery { to: Some(at(3)), ..of_alder }).unwrap(), []);
    }

    fn state(block: u64, pieces: &[(u32, u8)], holds: std::ops::Range<u32>) -> SavedState {
        let piece = |&(number, byte): &(u32, u8)| crate::StatePiece {
            machine: machine("alder"),
            number,
            bytes: vec![byte],
        };
        let pieces = pieces.iter().map(piece).collect();
        SavedState { block, bytes: vec![1, 2, 3], pieces, holds: vec![(machine("alder"), holds)] }
    }

    #[test]
    fn pieces_of_the_state_stay_as_long_as_it_holds_them() {
        let (_folder, records) = open();
        let kept = |state: SavedState| {
            records.commit(&Update { state: Some(state), ..Update::default() }).unwrap();
            let pieces = records.load_state().unwrap().unwrap().pieces;
            pieces.iter().map(|piece| (piece.number, piece.bytes[0])).collect::<Vec<_>>()
        };
        assert_eq!(kept(state(1, &[(0, 7), (1, 8)], 0..2)), [(0, 7), (1, 8)]);
        assert_eq!(kept(state(2, &[(2, 9)], 1..3)), [(1, 8), (2, 9)], "one is forgotten, one is new");
        assert_eq!(kept(state(3, &[(0, 5)], 0..1)), [(0, 5)], "begun anew");
        records.forget_state_of(&[machine("alder")].into()).unwrap();
        assert_eq!(records.load_state().unwrap().unwrap().pieces, []);
    }

    #[test]
    fn several_threads_read_while_one_writes() {
        let (_folder, records) = open();
        std::thread::scope(|scope| {
            for _ in 0..3 {
                scope.spawn(|| {
                    let mut seen = 0;
                    while seen < 40 {
                        let now = records.batches(&BatchQuery::default()).unwrap().len();
                        let state = records.load_state().unwrap().map_or(0, |state| state.block as usize);
                        assert!(
                            seen <= now && now <= state,
                            "{now} batches after {seen}, with the state of {state}"
                        );
                        seen = now;
                    }
                });
            }
            for n in 1..=40_i64 {
                let state = Some(SavedState { block: n as u64, ..SavedState::default() });
                let batches = vec![batch("alder", n, None)];
                records.commit(&Update { batches, state, ..Update::default() }).unwrap();
            }
        });
    }

    #[test]
    fn what_holds_no_records_or_newer_ones_is_left_alone() {
        let (folder, records) = open();
        records.commit(&Update { batches: vec![batch("alder", 0, None)], ..Update::default() }).unwrap();
        lock(&records.writer).execute_batch("UPDATE batches SET format = 2").unwrap();
        let error = records.batches(&BatchQuery::default()).unwrap_err().to_string();
        assert!(
            error.contains("alder-2026-03-01T06:00 has format 2, and this version reads up to 1"),
            "{error}"
        );
        lock(&records.writer).execute_batch("UPDATE batches SET format = 1, json = '{}'").unwrap();
        let error = records.batches(&BatchQuery::default()).unwrap_err().to_string();
        assert_eq!(error, "the batch `alder-2026-03-01T06:00` cannot be read");
        lock(&records.writer).pragma_update(None, "user_version", 5).unwrap();
        let again = Records::open(folder.path().join(crate::FILE_NAME));
        assert!(matches!(again, Err(RecordsError::Newer { found: 5, known: 1, .. })));
        std::fs::write(folder.path().join("notes.db"), "about chocolate, at length. ".repeat(99)).unwrap();
        assert!(matches!(Records::open(folder.path().join("notes.db")), Err(RecordsError::Damaged { .. })));
    }
}
