//! What people said of phases, and batches as they are with it. Both sides are kept: the engine's own batch stays in its row, however
//! often it is written again, and what people said is only ever added to.
//!
//! A corrected batch remembers the engine's own that it was made from and how many corrections went into it, so that one that has to be worked
//! out again is found by asking ([`Records::corrections_due`]), after a crash too. Lists of batches show the corrected ones.

use model::{Batch, BatchId, MachineId, PhaseCorrection, PhaseSpan, Timestamp};
use rusqlite::{OptionalExtension, Row};
use serde_json::{Value, json};

use crate::audit::{By, Deed, Draft, Subject, append};
use crate::lists::stored;
use crate::{Records, RecordsError, row};

/// Corrections of one batch that are looked at: more is no correcting any more.
const MOST: i64 = 1_000;
/// Batches worked out again in one go.
const AT_ONCE: i64 = 50;

/// A view of the batches in which the corrected ones stand in for the engine's own.
pub(crate) const TABLES: &str = "
    CREATE TABLE IF NOT EXISTS phase_corrections (
        number INTEGER PRIMARY KEY, batch TEXT NOT NULL, at INTEGER NOT NULL,
        format INTEGER NOT NULL, json TEXT NOT NULL) STRICT;
    CREATE INDEX IF NOT EXISTS phase_corrections_by_batch ON phase_corrections (batch, number);

    CREATE TABLE IF NOT EXISTS corrected_batches (
        id TEXT PRIMARY KEY, own TEXT NOT NULL, corrections INTEGER NOT NULL,
        format INTEGER NOT NULL, json TEXT NOT NULL) STRICT;

    CREATE VIEW IF NOT EXISTS batches_as_corrected AS
        SELECT b.id, b.machine, b.start_at, b.end_at, coalesce(c.format, b.format) AS format,
               coalesce(c.json, b.json) AS json
        FROM batches b LEFT JOIN corrected_batches c ON c.id = b.id;
";

/// Which corrected batches are to be worked out again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Due {
    /// Those of which people said something new.
    NewWord,
    /// Those too whose own batch has changed since: one that goes on does so all the time.
    NewWordOrNewBatch,
}

impl Records {
    /// Writes down what a person said of a phase; on disk when it returns.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn correct_phase(&self, by: &By, correction: &PhaseCorrection) -> Result<(), RecordsError> {
        let json = row::write("correction", correction)?;
        let sql = "INSERT INTO phase_corrections (batch, at, format, json) VALUES (?1, ?2, ?3, ?4)";
        let values = (correction.batch.as_str(), correction.at.as_millis(), row::FORMAT, json);
        self.change(|transaction| {
            transaction.execute(sql, values)?;
            let batch = "SELECT id, format, json FROM batches_as_corrected WHERE id = ?1";
            let batch = transaction.query_row(batch, [correction.batch.as_str()], stored).optional()?;
            let batch = batch.map(|found| row::read::<Batch>(self.path(), "batch", found)).transpose()?;
            let PhaseCorrection { phase, from, to, reason, .. } = correction;
            let new = json!({
                "phase": phase.as_str(), "from": from.to_string(), "to": to.map(|to| to.to_string()), "reason": reason,
            });
            let draft = Draft::new(by, Deed::PhaseCorrected, Subject::batch(&correction.batch)).about(*from);
            let old = batch.map_or(Value::Null, |batch| phases_in(&batch.phases, *from, *to));
            append(transaction, &draft.old(old).new_is(new))
        })
    }

    /// What people said of the phases of a batch, in the order in which they did.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn phase_corrections(&self, batch: &BatchId) -> Result<Vec<PhaseCorrection>, RecordsError> {
        let found = self.with_reader(|reader| {
            let sql =
                "SELECT batch, format, json FROM phase_corrections WHERE batch = ?1 ORDER BY number LIMIT ?2";
            let mut statement = reader.prepare_cached(sql)?;
            let rows = statement.query_map((batch.as_str(), MOST), |row: &Row<'_>| stored(row))?;
            rows.collect::<rusqlite::Result<Vec<_>>>()
        })?;
        found.into_iter().map(|found| row::read(self.path(), "correction", found)).collect()
    }

    /// The batch as the engine has it, whatever people said of its phases.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn own_batch(&self, id: &BatchId) -> Result<Option<Batch>, RecordsError> {
        self.one("batch", "SELECT id, format, json FROM batches WHERE id = ?1", id.as_str())
    }

    /// Batches of `machines` of which people said something that has not been worked in, in the engine's own form. One of
    /// another machine, which has left the plant, would stay due for ever and stand in the way of the rest.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn corrections_due(&self, due: Due, machines: &[&MachineId]) -> Result<Vec<Batch>, RecordsError> {
        let sql = "SELECT b.id, b.format, b.json FROM phase_corrections p JOIN batches b ON b.id = p.batch
                   LEFT JOIN corrected_batches c ON c.id = b.id
                   WHERE b.machine IN (SELECT value FROM json_each(?1)) GROUP BY b.id
                   HAVING c.id IS NULL OR c.corrections <> min(count(*), ?2) OR (?3 AND c.own <> b.json)
                   ORDER BY b.id LIMIT ?4";
        let machines: Vec<&str> = machines.iter().map(|machine| machine.as_str()).collect();
        let values = (row::write("machine", &machines)?, MOST, due == Due::NewWordOrNewBatch, AT_ONCE);
        let found = self.with_reader(|reader| {
            let mut statement = reader.prepare_cached(sql)?;
            let rows = statement.query_map(values, |row: &Row<'_>| stored(row))?;
            rows.collect::<rusqlite::Result<Vec<_>>>()
        })?;
        found.into_iter().map(|found| row::read(self.path(), "batch", found)).collect()
    }

    /// Keeps `corrected`, which was made of `own` with `corrections` corrections.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn keep_corrected(
        &self,
        own: &Batch,
        corrected: &Batch,
        corrections: usize,
    ) -> Result<(), RecordsError> {
        let (own_json, json) = (row::write("batch", own)?, row::write("batch", corrected)?);
        let count = i64::try_from(corrections).unwrap_or(i64::MAX);
        self.change(|transaction| {
            let sql = "SELECT json FROM batches WHERE id = ?1";
            let there: Option<String> =
                transaction.query_row(sql, [own.id.as_str()], |row| row.get(0)).optional()?;
            // What is compared later is the row's text, and the same batch can be written in other words: by an earlier
            // version, or where the last digit of a figure was rounded in reading.
            let is_own = |text: &String| serde_json::from_str::<Batch>(text).is_ok_and(|batch| batch == *own);
            let own = there.filter(is_own).unwrap_or(own_json);
            let sql = "INSERT OR REPLACE INTO corrected_batches VALUES (?1, ?2, ?3, ?4, ?5)";
            transaction.execute(sql, (corrected.id.as_str(), own, count, row::FORMAT, json))?;
            Ok(())
        })
    }
}

/// The phases that were there between `from` and `to`, one after the other.
fn phases_in(phases: &[PhaseSpan], from: Timestamp, to: Option<Timestamp>) -> Value {
    let is_touched = |span: &&PhaseSpan| {
        to.is_none_or(|to| span.from < to) && span.to.is_none_or(|span_to| from < span_to)
    };
    let words: Vec<_> = phases.iter().filter(is_touched).map(|span| span.phase.as_str()).collect();
    json!({ "phases": words })
}

#[cfg(test)]
mod tests {
    use model::{Confidence, Measures, Method, Phase, Standing};

    use super::*;
    use crate::{Actor, BatchQuery, Update};

    fn by() -> By {
        By::new(Actor::Loopback, Timestamp::from_millis(9))
    }

    fn batch(to: i64) -> Batch {
        batch_of("alder", to)
    }

    fn batch_of(machine: &str, to: i64) -> Batch {
        let span = PhaseSpan {
            phase: Phase::Working,
            from: Timestamp::from_millis(0),
            to: Some(Timestamp::from_millis(to)),
            confidence: Confidence::Medium,
        };
        Batch {
            id: BatchId::new(&machine.parse().unwrap(), Timestamp::from_millis(0)),
            machine: machine.parse().unwrap(),
            couverture: "dark-64".parse().unwrap(),
            lot: None,
            method: Method::Seed,
            mass_kg: None,
            start: span.from,
            end: span.to,
            phases: vec![span],
            measures: Measures::default(),
            standing: Standing::Unproven,
            reasons: Vec::new(),
        }
    }

    fn said(reason: &str) -> PhaseCorrection {
        said_of(&batch(1), reason)
    }

    fn said_of(batch: &Batch, reason: &str) -> PhaseCorrection {
        PhaseCorrection {
            batch: batch.id.clone(),
            phase: Phase::Settling,
            from: Timestamp::from_millis(0),
            to: None,
            by: "ana".to_owned(),
            at: Timestamp::from_millis(9),
            reason: reason.to_owned(),
        }
    }

    fn open() -> (tempfile::TempDir, Records) {
        let folder = tempfile::tempdir().unwrap();
        let records = Records::open(folder.path().join(crate::FILE_NAME)).unwrap();
        (folder, records)
    }

    /// In a plant of one machine.
    fn due(records: &Records, due: Due) -> Vec<Batch> {
        records.corrections_due(due, &[&batch(1).machine]).unwrap()
    }

    #[test]
    fn both_sides_are_kept_and_a_changed_batch_is_worked_out_again() {
        let (_folder, records) = open();
        let write = |batch: &Batch| {
            records.commit(&Update { batches: vec![batch.clone()], ..Update::default() }).unwrap();
        };
        let (own, id) = (batch(100), batch(1).id);
        write(&own);
        assert_eq!(due(&records, Due::NewWordOrNewBatch), []);
        records.correct_phase(&by(), &said("one")).unwrap();
        assert_eq!(due(&records, Due::NewWord), std::slice::from_ref(&own));

        let mut corrected = own.clone();
        corrected.phases[0].phase = Phase::Settling;
        records.keep_corrected(&own, &corrected, 1).unwrap();
        assert_eq!(due(&records, Due::NewWordOrNewBatch), []);
        assert_eq!(records.batch(&id).unwrap().as_ref(), Some(&corrected));
        assert_eq!(records.batches(&BatchQuery::default()).unwrap(), [corrected.clone()]);
        assert_eq!(records.own_batch(&id).unwrap(), Some(own));

        let longer = batch(200);
        write(&longer);
        assert_eq!(records.batch(&id).unwrap(), Some(corrected), "until it is worked out again");
        assert_eq!(due(&records, Due::NewWord), []);
        assert_eq!(due(&records, Due::NewWordOrNewBatch), [longer]);

        records.correct_phase(&by(), &said("two")).unwrap();
        assert_eq!(due(&records, Due::NewWord).len(), 1);
        let reasons: Vec<_> =
            records.phase_corrections(&id).unwrap().into_iter().map(|said| said.reason).collect();
        assert_eq!(reasons, ["one", "two"]);
    }

    #[test]
    fn machines_that_left_the_plant_stand_in_nobodys_way() {
        let (_folder, records) = open();
        let mut batches: Vec<Batch> = (0..AT_ONCE).map(|n| batch_of(&format!("aged-{n}"), 100)).collect();
        batches.push(batch(100));
        for batch in &batches {
            records.correct_phase(&by(), &said_of(batch, "one")).unwrap();
        }
        records.commit(&Update { batches, ..Update::default() }).unwrap();
        assert_eq!(due(&records, Due::NewWord), [batch(100)]);
        let back = batch_of("aged-7", 100);
        assert_eq!(records.corrections_due(Due::NewWord, &[&back.machine]).unwrap(), [back]);
    }

    #[test]
    fn more_words_than_are_looked_at_are_worked_in_once() {
        let (_folder, records) = open();
        let own = batch(100);
        records.commit(&Update { batches: vec![own.clone()], ..Update::default() }).unwrap();
        records.correct_phase(&by(), &said("one")).unwrap();
        let again = "INSERT INTO phase_corrections (batch, at, format, json)
                     SELECT batch, at, format, json FROM phase_corrections LIMIT 1";
        records
            .change(|transaction| Ok((0..MOST).try_for_each(|_| transaction.execute(again, ()).map(drop))?))
            .unwrap();
        let looked_at = records.phase_corrections(&own.id).unwrap().len();
        assert_eq!((looked_at as i64, due(&records, Due::NewWord).len()), (MOST, 1));
        records.keep_corrected(&own, &own, looked_at).unwrap();
        assert_eq!(due(&records, Due::NewWordOrNewBatch), []);
    }

    #[test]
    fn the_same_batch_in_other_words_is_no_new_one() {
        let (_folder, records) = open();
        let own = batch(100);
        records.commit(&Update { batches: vec![own.clone()], ..Update::default() }).unwrap();
        records.correct_phase(&by(), &said("one")).unwrap();
        records
            .change(|transaction| Ok(transaction.execute("UPDATE batches SET json = json || ' '", ())?))
            .unwrap();
        records.keep_corrected(&own, &own, 1).unwrap();
        assert_eq!(due(&records, Due::NewWordOrNewBatch), []);
        records.commit(&Update { batches: vec![batch(200)], ..Update::default() }).unwrap();
        records.keep_corrected(&own, &own, 1).unwrap();
        assert_eq!(due(&records, Due::NewWordOrNewBatch), [batch(200)], "kept of the batch as it was before");
    }
}
