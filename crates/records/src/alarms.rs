//! What people said of alarms: seen, shelved, out of service. Findings themselves are not touched by it.
//!
//! ```text
//! acknowledgements  number | finding, at                                | format | json
//! set_asides        number | from_at, over_at (until, or taken back)    | format | json
//! ```

use std::collections::BTreeMap;

use model::{Acknowledgement, Aside, Finding, FindingId, FindingKind, MachineId, SetAside, Timestamp};
use rusqlite::{Connection, OptionalExtension, params_from_iter};
use serde_json::{Value, json};

use crate::audit::{Deed, Draft, append};
use crate::lists::stored;
use crate::row::{self, Stored};
use crate::{By, Records, RecordsError, Subject};

/// A list that a page can show; a works sets a handful aside in a day.
const MOST_ASIDES: i64 = 1_000;
/// A week of them at one in ten minutes.
const MOST_ACKNOWLEDGEMENTS: i64 = 2_000;

pub(crate) const TABLES: &str = "
    CREATE TABLE IF NOT EXISTS acknowledgements (
        number INTEGER PRIMARY KEY, finding TEXT NOT NULL, at INTEGER NOT NULL,
        format INTEGER NOT NULL, json TEXT NOT NULL) STRICT;
    CREATE INDEX IF NOT EXISTS acknowledgements_by_finding ON acknowledgements (finding, number);
    CREATE INDEX IF NOT EXISTS acknowledgements_by_time ON acknowledgements (at);

    CREATE TABLE IF NOT EXISTS set_asides (
        number INTEGER PRIMARY KEY, from_at INTEGER NOT NULL, over_at INTEGER NOT NULL,
        format INTEGER NOT NULL, json TEXT NOT NULL) STRICT;
    CREATE INDEX IF NOT EXISTS set_asides_by_end ON set_asides (over_at);

    CREATE INDEX IF NOT EXISTS findings_by_end ON findings (to_at);
    CREATE INDEX IF NOT EXISTS findings_by_kind ON findings (kind, to_at);
    CREATE INDEX IF NOT EXISTS events_by_kind ON events (kind, machine, at);
";

impl Records {
    /// Findings that alarms are made from: those that are open, those that came back to normal since `since`, and those of
    /// the kinds `latching` whose machine has had no temper test since. Of those that came back, at most so many, the last first.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn alarm_findings(
        &self,
        latching: &[FindingKind],
        since: Timestamp,
        limit: usize,
    ) -> Result<Vec<Finding>, RecordsError> {
        let kinds: Vec<String> = latching.iter().map(|kind| format!("'{}'", kind.as_str())).collect();
        let sql = format!(
            "SELECT id, format, json FROM (
               SELECT id, to_at, format, json FROM findings WHERE to_at IS NULL
               UNION SELECT * FROM
                 (SELECT id, to_at, format, json FROM findings WHERE ?1 <= to_at ORDER BY to_at DESC, id LIMIT ?2)
               UNION SELECT id, to_at, format, json FROM findings AS f WHERE kind IN ({}) AND to_at IS NOT NULL
                 AND NOT EXISTS (SELECT 1 FROM events WHERE kind = 'temper-test' AND machine = f.machine AND f.to_at <= at))
             ORDER BY to_at IS NOT NULL, to_at DESC, id",
            kinds.join(", ")
        );
        let values = [since.as_millis(), i64::try_from(limit).unwrap_or(i64::MAX)];
        self.read_all("finding", &sql, &values)
    }

    /// When a temper test of each machine was made last.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn newest_tests(&self) -> Result<BTreeMap<MachineId, Timestamp>, RecordsError> {
        self.with_reader(|reader| {
            let sql = "SELECT machine, max(at) FROM events WHERE kind = 'temper-test' GROUP BY machine";
            let mut statement = reader.prepare_cached(sql)?;
            let rows = statement.query_map([], |row| Ok((row.get::<_, String>(0)?, row.get(1)?)))?;
            let tests = rows.collect::<rusqlite::Result<Vec<_>>>()?;
            let named =
                |(machine, at): (String, i64)| Some((machine.parse().ok()?, Timestamp::from_millis(at)));
            Ok(tests.into_iter().filter_map(named).collect())
        })
    }

    /// Writes down that somebody has seen an alarm.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn acknowledge(
        &self,
        by: &By,
        finding: &Finding,
        told: &Acknowledgement,
    ) -> Result<(), RecordsError> {
        let json = row::write("acknowledgement", told)?;
        self.change(|transaction| {
            let sql = "INSERT INTO acknowledgements (finding, at, format, json) VALUES (?1, ?2, ?3, ?4)";
            transaction.execute(sql, (told.finding.as_str(), told.at.as_millis(), row::FORMAT, &json))?;
            let new =
                json!({ "alarm": finding.kind.as_str(), "priority": told.priority.as_str(), "by": told.by });
            let draft = Draft::new(by, Deed::AlarmAcknowledged, subject(finding.machine.as_ref()));
            append(transaction, &draft.about(finding.raised_at).new_is(new))
        })
    }

    /// What was said of these findings, the oldest first.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn acknowledgements_of(&self, findings: &[FindingId]) -> Result<Vec<Acknowledgement>, RecordsError> {
        let found = self.with_reader(|reader| {
            let sql = "SELECT finding, format, json FROM acknowledgements WHERE finding = ?1 ORDER BY number";
            let mut statement = reader.prepare_cached(sql)?;
            let mut found = Vec::new();
            for finding in findings {
                let rows = statement.query_map([finding.as_str()], stored)?;
                found.extend(rows.collect::<rusqlite::Result<Vec<Stored>>>()?);
            }
            Ok(found)
        })?;
        found.into_iter().map(|stored| row::read(self.path(), "acknowledgement", stored)).collect()
    }

    /// What was said from `from` on and before `to`, the newest first.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn acknowledgements(
        &self,
        from: Timestamp,
        to: Timestamp,
    ) -> Result<Vec<Acknowledgement>, RecordsError> {
        let sql = "SELECT finding, format, json FROM acknowledgements WHERE ?1 <= at AND at < ?2 ORDER BY at DESC LIMIT ?3";
        self.read_all("acknowledgement", sql, &[from.as_millis(), to.as_millis(), MOST_ACKNOWLEDGEMENTS])
    }

    /// Sets alarms aside, and gives it a number.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn set_aside(&self, by: &By, aside: SetAside) -> Result<SetAside, RecordsError> {
        self.change(|transaction| {
            let next = "SELECT coalesce(max(number), 0) + 1 FROM set_asides";
            let number: i64 = transaction.query_row(next, [], |row| row.get(0))?;
            let aside = SetAside { number: u64::try_from(number).unwrap_or(0), ..aside };
            put(transaction, &aside)?;
            let deed = match aside.way {
                Aside::Shelved => Deed::AlarmShelved,
                Aside::OutOfService => Deed::AlarmOutOfService,
            };
            let new = json!({
                "alarm": kind(&aside), "until": aside.until.to_string(), "reason": aside.reason, "by": aside.by,
            });
            append(transaction, &Draft::new(by, deed, subject(aside.machine.as_ref())).new_is(new))?;
            Ok(aside)
        })
    }

    /// Takes back what was set aside under that number; `None` if nothing is by then.
    ///
    /// # Errors
    /// If the file cannot be read or written.
    pub fn take_back(&self, by: &By, name: &str, number: u64) -> Result<Option<SetAside>, RecordsError> {
        self.change(|transaction| {
            let key = i64::try_from(number).unwrap_or(i64::MAX);
            let sql = "SELECT CAST(number AS TEXT), format, json FROM set_asides WHERE number = ?1";
            let Some(found) = transaction.query_row(sql, [key], stored).optional()? else { return Ok(None) };
            let before: SetAside = row::read(self.path(), "shelving", found)?;
            if !before.holds_at(by.at) {
                return Ok(None);
            }
            let after = SetAside { ended: Some(by.at), ended_by: Some(name.to_owned()), ..before.clone() };
            put(transaction, &after)?;
            let draft = Draft::new(by, Deed::AlarmTakenBack, subject(after.machine.as_ref()));
            let old = json!({ "way": after.way.as_str(), "until": after.until.to_string() });
            let new = json!({ "alarm": kind(&after), "by": name });
            append(transaction, &draft.old(old).new_is(new))?;
            Ok(Some(after))
        })
    }

    /// What was set aside in the time from `from` on and before `to`, or goes into it; the newest first.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn set_asides(&self, from: Timestamp, to: Timestamp) -> Result<Vec<SetAside>, RecordsError> {
        let sql =
            "SELECT CAST(number AS TEXT), format, json FROM set_asides WHERE ?1 <= over_at AND from_at < ?2
                   ORDER BY number DESC LIMIT ?3";
        self.read_all("shelving", sql, &[from.as_millis(), to.as_millis(), MOST_ASIDES])
    }

    fn read_all<T: serde::de::DeserializeOwned>(
        &self,
        what: &'static str,
        sql: &str,
        values: &[i64],
    ) -> Result<Vec<T>, RecordsError> {
        let found = self.with_reader(|reader| {
            let mut statement = reader.prepare_cached(sql)?;
            let rows = statement.query_map(params_from_iter(values), stored)?;
            rows.collect::<rusqlite::Result<Vec<Stored>>>()
        })?;
        found.into_iter().map(|stored| row::read(self.path(), what, stored)).collect()
    }
}

fn put(connection: &Connection, aside: &SetAside) -> Result<(), crate::error::ChangeError> {
    let json = row::write("shelving", aside)?;
    let sql = "INSERT OR REPLACE INTO set_asides VALUES (?1, ?2, ?3, ?4, ?5)";
    let number = i64::try_from(aside.number).unwrap_or(i64::MAX);
    connection
        .execute(sql, (number, aside.from.as_millis(), aside.over_at().as_millis(), row::FORMAT, json))?;
    Ok(())
}

fn subject(machine: Option<&MachineId>) -> Subject {
    machine.map_or_else(Subject::plant, Subject::machine)
}

fn kind(aside: &SetAside) -> Value {
    aside.kind.map_or(Value::Null, |kind| json!(kind.as_str()))
}

#[cfg(test)]
mod tests {
    use model::{Event, EventKind, Grade, Priority, TemperTest};

    use super::*;
    use crate::{Actor, EntryQuery, Update};

    fn open() -> (tempfile::TempDir, Records) {
        let folder = tempfile::tempdir().unwrap();
        let records = Records::open(folder.path().join(crate::FILE_NAME)).unwrap();
        (folder, records)
    }

    fn at(minutes: i64) -> Timestamp {
        Timestamp::from_millis(1_772_344_800_000 + 60_000 * minutes)
    }

    fn by(minutes: i64) -> By {
        By::new(Actor::Loopback, at(minutes))
    }

    fn finding(kind: FindingKind, raised: i64, to: Option<i64>) -> Finding {
        Finding {
            id: FindingId::new("alder", kind.as_str(), at(raised)),
            machine: Some("alder".parse().unwrap()),
            batch: None,
            kind,
            priority: Priority::Medium,
            from: at(raised),
            to: to.map(at),
            raised_at: at(raised),
            says: String::new(),
            evidence: Vec::new(),
            advice: String::new(),
            superseded_by: None,
        }
    }

    fn test(minutes: i64) -> Event {
        let judged =
            TemperTest { gloss: Grade::Good, contraction: Grade::Good, snap: Grade::Good, minutes: None };
        let kind = EventKind::TemperTest(judged);
        Event { machine: "alder".parse().unwrap(), at: at(minutes), by: None, kind, raw: "{}".to_owned() }
    }

    fn shelving(from: i64, until: i64) -> SetAside {
        SetAside {
            number: 0,
            way: Aside::Shelved,
            machine: Some("alder".parse().unwrap()),
            kind: Some(FindingKind::WarmHold),
            reason: "the valve is being changed".to_owned(),
            by: "ana".to_owned(),
            from: at(from),
            until: at(until),
            ended: None,
            ended_by: None,
        }
    }

    fn told(records: &Records, since: i64) -> Vec<String> {
        let findings = records.alarm_findings(&[FindingKind::TemperLoss], at(since), 9).unwrap();
        findings
            .into_iter()
            .map(|finding| finding.id.to_string().chars().skip(6).take(11).collect())
            .collect()
    }

    #[test]
    fn findings_are_those_that_somebody_may_have_to_answer() {
        let (_folder, records) = open();
        let findings = vec![
            finding(FindingKind::Scorch, 100, None),
            finding(FindingKind::WarmHold, 10, Some(90)),
            finding(FindingKind::ColdHold, 10, Some(20)),
            finding(FindingKind::TemperLoss, 10, Some(30)),
        ];
        records.commit(&Update { findings, ..Update::default() }).unwrap();
        assert_eq!(told(&records, 60), ["scorch-2026", "warm-hold-2", "temper-loss"]);
        records.commit(&Update { events: vec![test(29)], ..Update::default() }).unwrap();
        assert_eq!(told(&records, 60).len(), 3, "a test before it was over says nothing");
        records.commit(&Update { events: vec![test(30)], ..Update::default() }).unwrap();
        assert_eq!(told(&records, 60), ["scorch-2026", "warm-hold-2"]);
        assert_eq!(records.newest_tests().unwrap().values().copied().collect::<Vec<_>>(), [at(30)]);
    }

    #[test]
    fn what_people_say_is_there_after_reopening_and_in_the_trail() {
        let (folder, records) = open();
        let scorch = finding(FindingKind::Scorch, 0, None);
        let seen = Acknowledgement {
            finding: scorch.id.clone(),
            priority: Priority::High,
            by: "ana".to_owned(),
            at: at(2),
        };
        records.acknowledge(&by(2), &scorch, &seen).unwrap();
        let shelved = records.set_aside(&by(3), shelving(3, 33)).unwrap();
        assert_eq!(shelved.number, 1);
        drop(records);
        let records = Records::open(folder.path().join(crate::FILE_NAME)).unwrap();
        assert_eq!(
            records.acknowledgements_of(std::slice::from_ref(&scorch.id)).unwrap(),
            std::slice::from_ref(&seen)
        );
        assert_eq!(records.acknowledgements(at(0), at(3)).unwrap(), [seen]);
        assert_eq!(records.set_asides(at(0), at(99)).unwrap(), [shelved]);
        let ended = records.take_back(&by(10), "rui", 1).unwrap().unwrap();
        assert_eq!((ended.over_at(), ended.ended_by.as_deref()), (at(10), Some("rui")));
        assert_eq!(records.take_back(&by(11), "rui", 1).unwrap(), None);
        assert_eq!(records.take_back(&by(11), "rui", 9).unwrap(), None);
        assert_eq!(records.set_asides(at(10), at(99)).unwrap(), [ended]);
        let trail = records.audit(&EntryQuery { limit: 9, ..EntryQuery::default() }).unwrap();
        let deeds: Vec<&str> = trail.iter().map(|entry| entry.deed.as_str()).collect();
        assert_eq!(deeds, ["alarm-taken-back", "alarm-shelved", "alarm-acknowledged"]);
    }
}
