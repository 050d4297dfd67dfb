//! What people keep beside events: smears that still cool, photos of them, decisions about batches, checks of probes. Only ever added to: a later decision
//! takes the place of an earlier one and leaves it on record, and a check that turned out wrong is followed by another.

use model::{BatchId, Decision, Event, MachineId, ProbeCheck, Smear, Timestamp};
use rusqlite::{OptionalExtension, Row, ToSql, params_from_iter};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};

use crate::audit::{Deed, Draft, append};
use crate::lists::stored;
use crate::row::Stored;
use crate::{By, Records, RecordsError, Subject, row};

/// Decisions about one batch that are looked at: more is no deciding any more.
const MOST_DECISIONS: i64 = 200;
/// Checks of a plant's probes that are looked at: twenty probes, weekly, for two years.
const MOST_CHECKS: i64 = 2_000;

pub(crate) const TABLES: &str = "
    CREATE TABLE IF NOT EXISTS smears (
        number INTEGER PRIMARY KEY, machine TEXT NOT NULL, format INTEGER NOT NULL, json TEXT NOT NULL) STRICT;
    CREATE INDEX IF NOT EXISTS smears_by_machine ON smears (machine, number);

    CREATE TABLE IF NOT EXISTS decisions (
        number INTEGER PRIMARY KEY, batch TEXT NOT NULL, format INTEGER NOT NULL, json TEXT NOT NULL) STRICT;
    CREATE INDEX IF NOT EXISTS decisions_by_batch ON decisions (batch, number);

    CREATE TABLE IF NOT EXISTS probe_checks (
        number INTEGER PRIMARY KEY, machine TEXT NOT NULL, at INTEGER NOT NULL,
        format INTEGER NOT NULL, json TEXT NOT NULL) STRICT;
    CREATE INDEX IF NOT EXISTS probe_checks_by_time ON probe_checks (at, number);

    CREATE TABLE IF NOT EXISTS photos (
        machine TEXT NOT NULL, at INTEGER NOT NULL, media_type TEXT NOT NULL, bytes BLOB NOT NULL,
        PRIMARY KEY (machine, at)) STRICT;
";

/// A photo as it is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredPhoto {
    /// `image/jpeg` or `image/png`.
    pub media_type: String,
    /// The file.
    pub bytes: Vec<u8>,
}

impl Records {
    /// Writes down that somebody has taken a smear; on disk when it returns.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn take_smear(&self, by: &By, smear: &Smear) -> Result<(), RecordsError> {
        let sql = "INSERT INTO smears (machine, format, json) VALUES (?1, ?2, ?3)";
        let draft = Draft::new(by, Deed::SmearTaken, Subject::machine(&smear.machine));
        self.add("smear", sql, &[&smear.machine.as_str()], smear, &draft)
    }

    /// The newest smear of each machine.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn newest_smears(&self) -> Result<Vec<Smear>, RecordsError> {
        let sql = "SELECT machine, format, json FROM smears WHERE number IN
                   (SELECT max(number) FROM smears GROUP BY machine) ORDER BY machine";
        self.all("smear", sql, &[])
    }

    /// Writes a decision down; on disk when it returns.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn decide(&self, by: &By, decision: &Decision) -> Result<(), RecordsError> {
        let sql = "INSERT INTO decisions (batch, format, json) VALUES (?1, ?2, ?3)";
        let told =
            |decision: &Decision| json!({ "decision": decision.verdict.as_str(), "reason": decision.reason });
        let old = self.decisions(&decision.batch)?.last().map_or(Value::Null, told);
        let draft = Draft::new(by, Deed::BatchDecided, Subject::batch(&decision.batch));
        let draft = draft.old(old).new_is(told(decision));
        self.add("decision", sql, &[&decision.batch.as_str()], decision, &draft)
    }

    /// Decisions about a batch in the order in which they were taken; the last one holds.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn decisions(&self, batch: &BatchId) -> Result<Vec<Decision>, RecordsError> {
        let sql = "SELECT batch, format, json FROM
                   (SELECT * FROM decisions WHERE batch = ?1 ORDER BY number DESC LIMIT ?2) ORDER BY number";
        self.all("decision", sql, &[&batch.as_str(), &MOST_DECISIONS])
    }

    /// Writes a check of a probe down; on disk when it returns.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn check_probe(&self, by: &By, check: &ProbeCheck) -> Result<(), RecordsError> {
        let sql = "INSERT INTO probe_checks (machine, at, format, json) VALUES (?1, ?2, ?3, ?4)";
        let new = json!({
            "channel": check.channel.as_str(), "kind": check.kind.as_str(), "reference_c": check.reference_c,
            "as_found_c": check.as_found_c, "as_left_c": check.as_left_c, "passed": check.is_passed(),
        });
        let draft = Draft::new(by, Deed::ProbeChecked, Subject::machine(&check.machine)).new_is(new);
        self.add("check", sql, &[&check.machine.as_str(), &check.at.as_millis()], check, &draft)
    }

    /// Checks of probes, the oldest first: of one machine or of all, the newest two thousand.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn probe_checks(&self, machine: Option<&MachineId>) -> Result<Vec<ProbeCheck>, RecordsError> {
        let sql = "SELECT machine, format, json FROM
                   (SELECT * FROM probe_checks WHERE ?1 IS NULL OR machine = ?1 ORDER BY at DESC, number DESC LIMIT ?2)
                   ORDER BY at, number";
        self.all("check", sql, &[&machine.map(MachineId::as_str), &MOST_CHECKS])
    }

    /// Keeps the photo of a test: of which machine and when. One that is there already stays.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn keep_photo(
        &self,
        by: &By,
        machine: &MachineId,
        at: Timestamp,
        photo: &StoredPhoto,
    ) -> Result<(), RecordsError> {
        self.change(|transaction| {
            let sql = "INSERT OR IGNORE INTO photos VALUES (?1, ?2, ?3, ?4)";
            let values = (machine.as_str(), at.as_millis(), &photo.media_type, &photo.bytes);
            if transaction.execute(sql, values)? == 0 {
                return Ok(());
            }
            let new = json!({ "media_type": photo.media_type, "bytes": photo.bytes.len() });
            append(
                transaction,
                &Draft::new(by, Deed::PhotoKept, Subject::machine(machine)).about(at).new_is(new),
            )
        })
    }

    /// The photo of the test that was made then.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn photo(&self, machine: &MachineId, at: Timestamp) -> Result<Option<StoredPhoto>, RecordsError> {
        self.with_reader(|reader| {
            let sql = "SELECT media_type, bytes FROM photos WHERE machine = ?1 AND at = ?2";
            let photo = |row: &Row<'_>| Ok(StoredPhoto { media_type: row.get(0)?, bytes: row.get(1)? });
            reader.prepare_cached(sql)?.query_row((machine.as_str(), at.as_millis()), photo).optional()
        })
    }

    /// When tests of a machine were made of which there are photos, from `from` on and before `to`.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn photo_times(
        &self,
        machine: &MachineId,
        from: Timestamp,
        to: Timestamp,
    ) -> Result<Vec<Timestamp>, RecordsError> {
        self.with_reader(|reader| {
            let sql = "SELECT at FROM photos WHERE machine = ?1 AND ?2 <= at AND at < ?3 ORDER BY at";
            let mut statement = reader.prepare_cached(sql)?;
            let rows = statement.query_map((machine.as_str(), from.as_millis(), to.as_millis()), |row| {
                row.get::<_, i64>(0)
            })?;
            rows.map(|at| at.map(Timestamp::from_millis)).collect()
        })
    }

    /// Events of some kinds, by the contract's words, the oldest first: of one machine or of all, before `until`, the newest `limit` of them.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn events_of_kinds(
        &self,
        machine: Option<&MachineId>,
        kinds: &[&str],
        until: Timestamp,
        limit: usize,
    ) -> Result<Vec<Event>, RecordsError> {
        let places = vec!["?"; kinds.len()].join(", ");
        let sql = format!(
            "SELECT machine || ' ' || kind, format, json FROM
             (SELECT rowid AS number, * FROM events WHERE (?1 IS NULL OR machine = ?1) AND at < ?2 AND kind IN ({places})
              ORDER BY at DESC, number DESC LIMIT {limit}) ORDER BY at, number"
        );
        let (machine, until) = (machine.map(MachineId::as_str), until.as_millis());
        let values: Vec<&dyn ToSql> = [&machine as &dyn ToSql, &until]
            .into_iter()
            .chain(kinds.iter().map(|kind| kind as &dyn ToSql))
            .collect();
        self.all("event", &sql, &values)
    }

    /// Adds a row, `keys` first, then the record, and its entry in the audit trail.
    fn add(
        &self,
        what: &'static str,
        sql: &str,
        keys: &[&dyn ToSql],
        record: &impl Serialize,
        draft: &Draft<'_>,
    ) -> Result<(), RecordsError> {
        let json = row::write(what, record)?;
        let values = keys.iter().copied().chain([&row::FORMAT as &dyn ToSql, &json]);
        self.change(|transaction| {
            transaction.execute(sql, params_from_iter(values))?;
            append(transaction, draft)
        })
    }

    fn all<T: DeserializeOwned>(
        &self,
        what: &'static str,
        sql: &str,
        values: &[&dyn ToSql],
    ) -> Result<Vec<T>, RecordsError> {
        let stored = self.with_reader(|reader| {
            let mut statement = reader.prepare_cached(sql)?;
            let rows = statement.query_map(values, |row: &Row<'_>| stored(row))?;
            rows.collect::<rusqlite::Result<Vec<Stored>>>()
        })?;
        stored.into_iter().map(|stored| row::read(self.path(), what, stored)).collect()
    }
}

#[cfg(test)]
mod tests {
    use model::{Channel, CheckKind, EventKind, Verdict};

    use super::*;
    use crate::{Actor, EntryQuery, Update};

    fn open() -> (tempfile::TempDir, Records) {
        let folder = tempfile::tempdir().unwrap();
        let records = Records::open(folder.path().join(crate::FILE_NAME)).unwrap();
        (folder, records)
    }

    fn by() -> By {
        By::new(Actor::Loopback, minute(0))
    }

    fn minute(minute: i64) -> Timestamp {
        Timestamp::from_millis(minute * 60_000)
    }

    #[test]
    fn a_later_decision_leaves_the_earlier_one_on_record() {
        let (folder, records) = open();
        let batch = BatchId::from_lookup("alder-2026-03-02T09:00");
        let decision = |verdict, reason: &str, at| Decision {
            batch: batch.clone(),
            verdict,
            reason: reason.to_owned(),
            by: "joana".to_owned(),
            role: "quality".to_owned(),
            at: minute(at),
        };
        let held = decision(Verdict::Hold, "the test failed", 5);
        let released = decision(Verdict::Release, "tested again, good", 60);
        records.decide(&by(), &held).unwrap();
        records.decide(&by(), &released).unwrap();
        drop(records);
        let records = Records::open(folder.path().join(crate::FILE_NAME)).unwrap();
        assert_eq!(records.decisions(&batch).unwrap(), [held, released]);
        let entries = records
            .audit(&EntryQuery { subjects: vec![Subject::batch(&batch)], ..EntryQuery::default() })
            .unwrap();
        assert_eq!(
            (entries.len(), &entries[0].old["decision"], &entries[0].new["decision"]),
            (2, &json!("hold"), &json!("release"))
        );
        assert_eq!(records.decisions(&BatchId::from_lookup("birch-2026-03-02T09:00")).unwrap(), []);
    }

    #[test]
    fn the_newest_smear_of_each_machine_counts() {
        let (_folder, records) = open();
        let smear = |machine: &str, at| Smear { machine: machine.parse().unwrap(), by: None, at: minute(at) };
        for (machine, at) in [("birch", 1), ("alder", 2), ("alder", 9)] {
            records.take_smear(&by(), &smear(machine, at)).unwrap();
        }
        assert_eq!(records.newest_smears().unwrap(), [smear("alder", 9), smear("birch", 1)]);
    }

    #[test]
    fn checks_stand_in_the_order_of_their_times() {
        let (_folder, records) = open();
        let check = |machine: &str, at| ProbeCheck {
            machine: machine.parse().unwrap(),
            channel: Channel::Chocolate,
            kind: CheckKind::IcePoint,
            reference_c: 0.0,
            as_found_c: 0.1,
            as_left_c: None,
            reference: None,
            accept_c: 0.3,
            by: "rui".to_owned(),
            at: minute(at),
        };
        for (machine, at) in [("alder", 9), ("birch", 5), ("alder", 2)] {
            records.check_probe(&by(), &check(machine, at)).unwrap();
        }
        assert_eq!(
            records.probe_checks(None).unwrap(),
            [check("alder", 2), check("birch", 5), check("alder", 9)]
        );
        let alder = "alder".parse().unwrap();
        assert_eq!(records.probe_checks(Some(&alder)).unwrap(), [check("alder", 2), check("alder", 9)]);
    }

    #[test]
    fn a_photo_is_kept_once_with_its_test() {
        let (_folder, records) = open();
        let alder = "alder".parse().unwrap();
        let photo = |bytes: &[u8]| StoredPhoto { media_type: "image/png".to_owned(), bytes: bytes.to_vec() };
        records.keep_photo(&by(), &alder, minute(5), &photo(b"first")).unwrap();
        records.keep_photo(&by(), &alder, minute(5), &photo(b"second")).unwrap();
        assert_eq!(records.photo(&alder, minute(5)).unwrap(), Some(photo(b"first")));
        assert_eq!(records.photo(&alder, minute(6)).unwrap(), None);
        assert_eq!(records.photo_times(&alder, minute(0), minute(9)).unwrap(), [minute(5)]);
        assert_eq!(records.photo_times(&alder, minute(6), minute(9)).unwrap(), []);
    }

    #[test]
    fn events_are_found_by_their_kind() {
        let (_folder, records) = open();
        let event = |machine: &str, at, kind: EventKind| Event {
            machine: machine.parse().unwrap(),
            at: minute(at),
            by: None,
            kind,
            raw: "{}".to_owned(),
        };
        let note = event("alder", 1, EventKind::Note { text: "lid".to_owned() });
        let end = event("alder", 3, EventKind::End);
        let other = event("birch", 2, EventKind::End);
        let events = vec![end.clone(), note.clone(), other.clone()];
        records.commit(&Update { events, ..Update::default() }).unwrap();
        let alder = "alder".parse().unwrap();
        assert_eq!(records.events_of_kinds(None, &["end"], minute(9), 9).unwrap(), [other, end.clone()]);
        assert_eq!(
            records.events_of_kinds(Some(&alder), &["end", "note"], minute(9), 9).unwrap(),
            [note, end.clone()]
        );
        assert_eq!(records.events_of_kinds(None, &["end", "note"], minute(9), 1).unwrap(), [end]);
        assert_eq!(
            records.events_of_kinds(None, &["end", "note"], minute(2), 9).unwrap().len(),
            1,
            "before it"
        );
    }
}
