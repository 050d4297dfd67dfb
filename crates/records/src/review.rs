//! Actions of the weekly review, and the sign-off that freezes a week.
//!
//! An action says who does what until when, and which figure of which machine it should move, so that the next review
//! can ask whether it worked. A sign-off keeps the review as it was shown, with the SHA-256 of its text: whoever comes
//! later can tell whether it is still the same. A week is signed off once and never again.
//!
//! Times come from the caller. Whether somebody may sign is decided before it comes here.

use model::{MachineId, Timestamp};
use rusqlite::{Connection, OptionalExtension};
use serde::{Deserialize, Serialize};
use serde_json::json;

use crate::audit::{By, Deed, Draft, Subject, append};
use crate::digest::sha256_of;
use crate::error::ChangeError;
use crate::lists::stored;
use crate::{Records, RecordsError, row};

/// Something that somebody has taken upon themselves.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Action {
    /// Its id: the week it was opened in and a running number, `2026-W48-3`.
    pub id: String,
    /// The ISO week whose review opened it, `2026-W48`.
    pub week: String,
    /// What is to be done.
    pub what: String,
    /// By whom.
    pub who: String,
    /// Until when, if anybody said.
    pub due: Option<Timestamp>,
    /// On which machine.
    pub machine: Option<MachineId>,
    /// Which figure it should move, by its key in documents (`cooling_minutes`).
    pub figure: Option<String>,
    /// When it was opened.
    pub opened: Timestamp,
    /// Since when it is done.
    pub done: Option<Timestamp>,
}

/// A week that somebody has signed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SignOff {
    /// The ISO week, `2026-W48`.
    pub week: String,
    /// Who signed.
    pub by: String,
    /// In which role.
    pub role: String,
    /// When.
    pub at: Timestamp,
    /// The review's document as it was signed.
    pub document: String,
    /// SHA-256 of that text, in hexadecimal digits.
    pub sha256: String,
}

impl SignOff {
    /// A sign-off of `document`.
    pub fn new(week: &str, by: &str, role: &str, at: Timestamp, document: String) -> SignOff {
        let sha256 = sha256_of(&document);
        SignOff { week: week.to_owned(), by: by.to_owned(), role: role.to_owned(), at, document, sha256 }
    }

    /// Is the document still the one that was signed?
    pub fn is_intact(&self) -> bool {
        sha256_of(&self.document) == self.sha256
    }
}

/// More actions than this are no list that a person works through.
const MOST_ACTIONS: usize = 500;

impl Records {
    /// Opens an action in the review of `week`: gives it the next free id there and writes it down.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn open_action(&self, by: &By, action: &Action) -> Result<Action, RecordsError> {
        self.change(|transaction| {
            let taken: i64 = transaction.query_row(
                "SELECT count(*) FROM actions WHERE week = ?1",
                [&action.week],
                |row| row.get(0),
            )?;
            let action = Action { id: format!("{}-{}", action.week, taken + 1), ..action.clone() };
            put(transaction, &action)?;
            let Action { id, what, who, due, machine, figure, .. } = &action;
            let new = json!({
                "action": id, "what": what, "who": who, "due": due.map(|due| due.to_string()),
                "machine": machine.as_ref().map(MachineId::as_str), "figure": figure,
            });
            append(
                transaction,
                &Draft::new(by, Deed::ActionOpened, Subject::week(&action.week)).new_is(new),
            )?;
            Ok(action)
        })
    }

    /// Says since when an action is done, or that it is not. Answers the action as it stands now; `None` if there is no
    /// such action.
    ///
    /// # Errors
    /// If the file cannot be read or written.
    pub fn close_action(
        &self,
        by: &By,
        id: &str,
        done: Option<Timestamp>,
    ) -> Result<Option<Action>, RecordsError> {
        self.change(|transaction| {
            let found = transaction
                .query_row("SELECT id, format, json FROM actions WHERE id = ?1", [id], stored)
                .optional()?;
            let Some(found) = found else { return Ok(None) };
            let before: Action = row::read(self.path(), "action", found)?;
            let says =
                |done: Option<Timestamp>| json!({ "action": id, "done": done.map(|done| done.to_string()) });
            let draft = Draft::new(by, Deed::ActionClosed, Subject::week(&before.week));
            append(transaction, &draft.old(says(before.done)).new_is(says(done)))?;
            let action = Action { done, ..before };
            let json = row::write("action", &action)?;
            let sql = "UPDATE actions SET format = ?2, json = ?3 WHERE id = ?1";
            transaction.execute(sql, (id, row::FORMAT, json))?;
            Ok(Some(action))
        })
    }

    /// All actions, the newest first.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn actions(&self) -> Result<Vec<Action>, RecordsError> {
        let stored = self.with_reader(|reader| {
            let sql = "SELECT id, format, json FROM actions ORDER BY opened_at DESC, rowid DESC LIMIT ?1";
            let mut statement = reader.prepare_cached(sql)?;
            let rows = statement.query_map([MOST_ACTIONS as i64], stored)?;
            rows.collect::<rusqlite::Result<Vec<_>>>()
        })?;
        stored.into_iter().map(|stored| row::read(self.path(), "action", stored)).collect()
    }

    /// Signs a week off. `false` if it has been signed before; then nothing has changed.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn sign_off(&self, by: &By, sign_off: &SignOff) -> Result<bool, RecordsError> {
        let SignOff { week, by: signed_by, role, at, document, sha256 } = sign_off;
        self.change(|transaction| {
            let sql = "INSERT OR IGNORE INTO sign_offs VALUES (?1, ?2, ?3, ?4, ?5, ?6)";
            let values = (week, signed_by, role, at.as_millis(), document, sha256);
            if transaction.execute(sql, values)? == 0 {
                return Ok(false);
            }
            let new = json!({ "by": signed_by, "role": role, "sha256": sha256 });
            append(transaction, &Draft::new(by, Deed::WeekSigned, Subject::week(week)).new_is(new))?;
            Ok(true)
        })
    }

    /// The sign-off of `week`.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn sign_off_of(&self, week: &str) -> Result<Option<SignOff>, RecordsError> {
        self.with_reader(|reader| {
            let sql =
                "SELECT week, signed_by, role, signed_at, document, sha256 FROM sign_offs WHERE week = ?1";
            let sign_off = |row: &rusqlite::Row<'_>| {
                Ok(SignOff {
                    week: row.get(0)?,
                    by: row.get(1)?,
                    role: row.get(2)?,
                    at: Timestamp::from_millis(row.get(3)?),
                    document: row.get(4)?,
                    sha256: row.get(5)?,
                })
            };
            reader.query_row(sql, [week], sign_off).optional()
        })
    }
}

fn put(connection: &Connection, action: &Action) -> Result<(), ChangeError> {
    let json = row::write("action", action)?;
    let sql = "INSERT INTO actions VALUES (?1, ?2, ?3, ?4, ?5)";
    connection.execute(sql, (&action.id, &action.week, action.opened.as_millis(), row::FORMAT, json))?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Actor;

    fn open() -> (tempfile::TempDir, Records) {
        let folder = tempfile::tempdir().unwrap();
        let records = Records::open(folder.path().join(crate::FILE_NAME)).unwrap();
        (folder, records)
    }

    fn by() -> By {
        By::new(Actor::Loopback, "2026-11-30T09:00:00Z".parse().unwrap())
    }

    fn action(what: &str) -> Action {
        Action {
            id: String::new(),
            week: "2026-W48".to_owned(),
            what: what.to_owned(),
            who: "rui".to_owned(),
            due: None,
            machine: Some("cedar".parse().unwrap()),
            figure: Some("cooling_minutes".to_owned()),
            opened: "2026-11-27T15:00:00Z".parse().unwrap(),
            done: None,
        }
    }

    #[test]
    fn actions_get_numbers_and_are_done_once() {
        let (_folder, records) = open();
        let first = records.open_action(&by(), &action("flush the jacket of Cedar")).unwrap();
        let second = records.open_action(&by(), &action("weigh every charge")).unwrap();
        assert_eq!([first.id.as_str(), second.id.as_str()], ["2026-W48-1", "2026-W48-2"]);
        let done = "2026-11-30T09:00:00Z".parse().unwrap();
        let closed = records.close_action(&by(), &first.id, Some(done)).unwrap().unwrap();
        assert_eq!(closed.done, Some(done));
        assert_eq!(records.close_action(&by(), "2026-W48-9", None).unwrap(), None);
        let ids: Vec<String> = records.actions().unwrap().into_iter().map(|action| action.id).collect();
        assert_eq!(ids, [second.id, first.id], "one that is done stays in its place");
    }

    #[test]
    fn an_action_too_old_for_the_list_can_still_be_done() {
        let (_folder, records) = open();
        let numbered = |n: usize| Action { id: format!("2026-W48-{n}"), ..action("weigh every charge") };
        let fill = |transaction: &rusqlite::Transaction<'_>| {
            (1..=MOST_ACTIONS + 1).try_for_each(|n| put(transaction, &numbered(n)))
        };
        records.change(fill).unwrap();
        let listed = records.actions().unwrap();
        assert_eq!((listed.len(), &listed[MOST_ACTIONS - 1]), (MOST_ACTIONS, &numbered(2)));
        let done = "2026-11-30T09:00:00Z".parse().unwrap();
        let closed = Action { done: Some(done), ..numbered(1) };
        assert_eq!(records.close_action(&by(), "2026-W48-1", Some(done)).unwrap(), Some(closed));
        assert_eq!(records.actions().unwrap(), listed, "it has not moved to the front");
    }

    #[test]
    fn a_week_is_signed_once_and_a_changed_document_is_told() {
        let (_folder, records) = open();
        let at = "2026-11-30T09:00:00Z".parse().unwrap();
        let signed = SignOff::new("2026-W48", "joana", "quality", at, "{\"batches\":31}".to_owned());
        assert!(signed.is_intact() && signed.sha256.len() == 64);
        assert!(records.sign_off(&by(), &signed).unwrap());
        let again = SignOff::new("2026-W48", "rui", "quality", at, "{}".to_owned());
        assert!(!records.sign_off(&by(), &again).unwrap(), "a week is signed once");
        let mut found = records.sign_off_of("2026-W48").unwrap().unwrap();
        assert_eq!(found, signed);
        found.document.push(' ');
        assert!(!found.is_intact());
        assert_eq!(records.sign_off_of("2026-W47").unwrap(), None);
    }
}
