//! Is the trail as it was written? Reads it from its first entry and works out every digest again.
//!
//! Opens the file to read, so that it can be asked of a running service, a backup, or a copy on another computer.

use std::fmt;
use std::path::Path;

use rusqlite::{Connection, OptionalExtension};

use crate::audit::chain::{BEFORE_THE_FIRST, COLUMNS, Raw};
use crate::audit::{Entry, EntryQuery, list};
use crate::schema::open_to_read;
use crate::{Records, RecordsError};

/// An entry that somebody wrote down elsewhere.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Known {
    /// Its number.
    pub number: u64,
    /// Its digest, in hexadecimal digits.
    pub sha256: String,
}

/// What became of the trail.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Verdict {
    /// It is as it was written.
    Whole {
        /// How many entries it has.
        entries: u64,
        /// The digest of the newest one.
        sha256: String,
    },
    /// It is not.
    Broken {
        /// The first entry that shows it.
        number: u64,
        /// How.
        fault: Fault,
    },
}

/// What is wrong with an entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// It is not what its digest was taken over, or one before it has been changed together with its own digest.
    Changed,
    /// It is not there, and later ones are, or were.
    Missing,
    /// It is not the one that somebody wrote down.
    NotTheKnownOne,
    /// Its row cannot be read as an entry.
    Unreadable,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Fault::Changed => "it is not as it was written, or does not follow on the one before it",
            Fault::Missing => "it is missing, and others were written behind it",
            Fault::NotTheKnownOne => "it does not have the digest that was written down",
            Fault::Unreadable => "its row cannot be read",
        })
    }
}

impl Records {
    /// Reads the whole trail of the records at `path` and says whether it is as it was written; with `known`, also
    /// whether that entry is still the same.
    ///
    /// # Errors
    /// If there are no records at `path`, they hold no trail, or SQLite cannot read them.
    pub fn verify_audit(path: impl AsRef<Path>, known: Option<&Known>) -> Result<Verdict, RecordsError> {
        let path = path.as_ref();
        let reader = open_to_read(path)?;
        has_trail(&reader, path)?;
        walk(&reader, known).map_err(|source| RecordsError::from_sqlite("read", path, source))
    }

    /// Entries of the trail of the records at `path`, the newest first.
    ///
    /// # Errors
    /// If there are no records at `path`, they hold no trail, or it cannot be read.
    pub fn audit_at(path: impl AsRef<Path>, query: &EntryQuery) -> Result<Vec<Entry>, RecordsError> {
        let path = path.as_ref();
        let reader = open_to_read(path)?;
        has_trail(&reader, path)?;
        let raw =
            list::read(&reader, query).map_err(|source| RecordsError::from_sqlite("read", path, source))?;
        raw.into_iter().map(Entry::try_from).collect()
    }
}

fn has_trail(reader: &Connection, path: &Path) -> Result<(), RecordsError> {
    let sql = "SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'audit'";
    let found = reader
        .query_row(sql, [], |_| Ok(()))
        .optional()
        .map_err(|source| RecordsError::from_sqlite("read", path, source))?;
    found.ok_or_else(|| RecordsError::NoTrail { path: path.to_owned() })
}

fn walk(reader: &Connection, known: Option<&Known>) -> rusqlite::Result<Verdict> {
    let broken = |number: i64, fault| Verdict::Broken { number: u64::try_from(number).unwrap_or(0), fault };
    let sql = format!("SELECT {COLUMNS} FROM audit ORDER BY number");
    let mut statement = reader.prepare(&sql)?;
    let mut rows = statement.query([])?;
    let (mut last, mut before) = (0, BEFORE_THE_FIRST.to_owned());
    while let Some(row) = rows.next()? {
        let next = last + 1;
        let raw = match Raw::of(row) {
            Ok(raw) => raw,
            // A flipped byte can make text of a row that is none.
            Err(_) => return Ok(broken(next, Fault::Unreadable)),
        };
        if raw.number != next {
            return Ok(broken(next, Fault::Missing));
        }
        if raw.digest_behind(&before) != raw.sha256 {
            return Ok(broken(next, Fault::Changed));
        }
        let is_known_one = known.filter(|known| i64::try_from(known.number) == Ok(next));
        if is_known_one.is_some_and(|known| !known.sha256.eq_ignore_ascii_case(&raw.sha256)) {
            return Ok(broken(next, Fault::NotTheKnownOne));
        }
        (last, before) = (next, raw.sha256);
    }
    // SQLite's own count of the numbers that it has given out.
    let counted = "SELECT seq FROM sqlite_sequence WHERE name = 'audit'";
    let given: Option<i64> = reader.query_row(counted, [], |row| row.get(0)).optional()?;
    let known_to_be = known.map_or(0, |known| i64::try_from(known.number).unwrap_or(i64::MAX));
    if last < given.unwrap_or(0).max(known_to_be) {
        return Ok(broken(last + 1, Fault::Missing));
    }
    Ok(Verdict::Whole { entries: u64::try_from(last).unwrap_or(0), sha256: before })
}

#[cfg(test)]
mod tests {
    use std::fs;
    use std::path::PathBuf;

    use model::{Event, EventKind, Timestamp};
    use rusqlite::Connection;
    use tempfile::{TempDir, tempdir};

    use super::*;
    use crate::{Action, Actor, By, Subject, Update};

    fn by(actor: Actor) -> By {
        By::new(actor, "2026-11-27T15:00:00Z".parse().unwrap())
    }

    fn action(n: usize) -> Action {
        Action {
            id: String::new(),
            week: "2026-W48".to_owned(),
            what: format!("flush the jacket of Cedar, part {n}"),
            who: "rui".to_owned(),
            due: None,
            machine: None,
            figure: None,
            opened: "2026-11-27T15:00:00Z".parse().unwrap(),
            done: None,
        }
    }

    /// A trail of so many entries, closed.
    fn trail(entries: usize) -> (TempDir, PathBuf) {
        let folder = tempdir().unwrap();
        let path = folder.path().join(crate::FILE_NAME);
        let records = Records::open(&path).unwrap();
        for n in 1..=entries {
            records.open_action(&by(Actor::Loopback), &action(n)).unwrap();
        }
        (folder, path)
    }

    /// Takes the guards off, as somebody with the file and SQLite could.
    fn tamper(path: &Path, sql: &str) {
        let file = Connection::open(path).unwrap();
        let guards = ["is_not_changed", "is_not_shortened", "is_added_to_at_its_end"];
        for guard in guards {
            file.execute_batch(&format!("DROP TRIGGER audit_{guard}")).unwrap();
        }
        file.execute_batch(sql).unwrap();
    }

    fn broken_at(path: &Path) -> (u64, Fault) {
        match Records::verify_audit(path, None).unwrap() {
            Verdict::Broken { number, fault } => (number, fault),
            Verdict::Whole { .. } => panic!("it is called whole"),
        }
    }

    #[test]
    fn a_trail_that_nobody_touched_is_whole() {
        let (_folder, path) = trail(0);
        let empty = Verdict::Whole { entries: 0, sha256: BEFORE_THE_FIRST.to_owned() };
        assert_eq!(Records::verify_audit(&path, None).unwrap(), empty);
        let (_folder, path) = trail(5);
        let Verdict::Whole { entries: 5, sha256 } = Records::verify_audit(&path, None).unwrap() else {
            panic!("five entries, whole");
        };
        let newest = Records::audit_at(&path, &EntryQuery { limit: 1, ..EntryQuery::default() }).unwrap();
        assert_eq!((newest[0].number, &newest[0].sha256), (5, &sha256));
        let known = Known { number: 5, sha256: sha256.to_uppercase() };
        assert!(matches!(Records::verify_audit(&path, Some(&known)).unwrap(), Verdict::Whole { .. }));
    }

    #[test]
    fn the_table_itself_takes_additions_alone() {
        let (_folder, path) = trail(3);
        let file = Connection::open(&path).unwrap();
        for sql in [
            "UPDATE audit SET who = 'rui' WHERE number = 2",
            "DELETE FROM audit WHERE number = 3",
            "INSERT OR REPLACE INTO audit SELECT 2, at, 'rui', way, deed, subject_kind, subject, about, old, new, sha256
             FROM audit WHERE number = 2",
            "INSERT INTO audit SELECT 9, at, who, way, deed, subject_kind, subject, about, old, new, sha256
             FROM audit WHERE number = 3",
        ] {
            let refused = file.execute_batch(sql).unwrap_err().to_string();
            assert!(refused.contains("the audit trail is only added to"), "{sql}: {refused}");
        }
        assert!(matches!(Records::verify_audit(&path, None).unwrap(), Verdict::Whole { entries: 3, .. }));
    }

    #[test]
    fn one_flipped_bit_in_the_file_is_told_with_its_entry() {
        for n in [1, 3, 5] {
            let (_folder, path) = trail(5);
            let mut bytes = fs::read(&path).unwrap();
            let words = format!("flush the jacket of Cedar, part {n}");
            // The action itself holds the same words; the trail is where they stand behind the key `what`, as it writes it.
            let new = format!("\"action\":\"2026-W48-{n}\",\"what\":\"{words}");
            let place = bytes.windows(new.len()).position(|window| window == new.as_bytes()).unwrap();
            bytes[place + new.len() - 1] ^= 1;
            fs::write(&path, &bytes).unwrap();
            assert_eq!(broken_at(&path), (n, Fault::Changed));
        }
    }

    #[test]
    fn what_was_changed_taken_out_or_put_in_is_told() {
        let (_folder, path) = trail(5);
        tamper(&path, "UPDATE audit SET who = 'rui' WHERE number = 3");
        assert_eq!(broken_at(&path), (3, Fault::Changed));

        let (_folder, path) = trail(5);
        tamper(&path, "DELETE FROM audit WHERE number = 2");
        assert_eq!(broken_at(&path), (2, Fault::Missing));

        let (_folder, path) = trail(5);
        tamper(&path, "DELETE FROM audit WHERE number >= 4");
        assert_eq!(broken_at(&path), (4, Fault::Missing), "the end was cut off");

        let (_folder, path) = trail(5);
        tamper(
            &path,
            "INSERT INTO audit SELECT 6, at, who, way, deed, subject_kind, subject, about, old, new, sha256
             FROM audit WHERE number = 5",
        );
        assert_eq!(broken_at(&path), (6, Fault::Changed));
    }

    #[test]
    fn a_trail_made_anew_is_told_by_an_entry_that_was_written_down() {
        let ((_one, path), (_other, anew)) = (trail(3), trail(4));
        let third = Records::audit_at(&path, &EntryQuery { limit: 1, ..EntryQuery::default() }).unwrap();
        let known = Known { number: 3, sha256: third[0].sha256.clone() };
        assert!(
            matches!(Records::verify_audit(&anew, Some(&known)).unwrap(), Verdict::Whole { .. }),
            "the same so far"
        );
        let wrong = Known { number: 3, sha256: "00".repeat(32) };
        let told = Records::verify_audit(&path, Some(&wrong)).unwrap();
        assert_eq!(told, Verdict::Broken { number: 3, fault: Fault::NotTheKnownOne });
        let later = Known { number: 7, sha256: "00".repeat(32) };
        let told = Records::verify_audit(&path, Some(&later)).unwrap();
        assert_eq!(told, Verdict::Broken { number: 4, fault: Fault::Missing });
    }

    #[test]
    fn a_copy_carries_its_trail_and_an_old_file_has_none() {
        let (folder, path) = trail(4);
        let copy = folder.path().join("copy.db");
        Records::copy(&path, &copy).unwrap();
        assert_eq!(Records::verify_audit(&copy, None).unwrap(), Records::verify_audit(&path, None).unwrap());
        tamper(&copy, "DELETE FROM audit WHERE number = 4");
        assert_eq!(broken_at(&copy), (4, Fault::Missing), "a copy keeps the count, too");
        let old = folder.path().join("old.db");
        Connection::open(&old).unwrap().execute_batch("CREATE TABLE batches (id TEXT)").unwrap();
        assert!(matches!(Records::verify_audit(&old, None), Err(RecordsError::NoTrail { .. })));
        assert!(Records::verify_audit(folder.path().join("none.db"), None).is_err());
    }

    #[test]
    fn an_event_has_its_entry_when_it_is_a_record_and_once() {
        let (_folder, path) = trail(0);
        let records = Records::open(&path).unwrap();
        let event = |minute: i64, text: &str| Event {
            machine: "alder".parse().unwrap(),
            at: Timestamp::from_millis(60_000 * minute),
            by: Some("ana".to_owned()),
            kind: EventKind::Note { text: text.to_owned() },
            raw: format!(r#"{{"event":"note","text":"{text}","by":"ana","shift":2}}"#),
        };
        let (asked, from_broker) = (event(1, "lid off"), event(2, "lid on"));
        records.ask_for_event(&asked, &by(Actor::User("ana".parse().unwrap(), crate::Way::Pin))).unwrap();
        assert_eq!(records.audit(&EntryQuery::default()).unwrap(), [], "it is no record yet");
        let long = event(3, &"x".repeat(5_000));
        let update = Update { events: vec![asked, from_broker, long], ..Update::default() };
        records.commit(&update).unwrap();
        records.commit(&update).unwrap();
        let entries = records.audit(&EntryQuery::default()).unwrap();
        let told: Vec<_> = entries
            .iter()
            .map(|e| (e.number, e.who.as_str(), e.way.as_str(), e.new["text"].as_str()))
            .collect();
        assert_eq!(
            told,
            [(3, "broker", "", None), (2, "broker", "", Some("lid on")), (1, "ana", "PIN", Some("lid off"))]
        );
        assert_eq!(entries[2].new["shift"], 2, "fields that we do not know are kept");
        assert_eq!(entries[0].new["bytes"], 5_047);
        let of_alder = EntryQuery {
            subjects: vec![Subject::machine(&"alder".parse().unwrap())],
            of_machines: Some((Timestamp::from_millis(60_000), Timestamp::from_millis(120_000))),
            ..EntryQuery::default()
        };
        let about = records.audit(&of_alder).unwrap();
        assert_eq!(about.iter().map(|entry| entry.number).collect::<Vec<_>>(), [1]);
        assert!(matches!(Records::verify_audit(&path, None).unwrap(), Verdict::Whole { entries: 3, .. }));
    }
}
