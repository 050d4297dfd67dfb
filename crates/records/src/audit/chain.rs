//! The chain itself: the table that is only added to, and the digest that ties each entry to the one before.

use rusqlite::{Connection, OptionalExtension, Row, Transaction};
use serde_json::Value;

use crate::audit::entry::Draft;
use crate::digest::sha256_of;
use crate::error::ChangeError;
use crate::row;

/// The table, and what keeps it from being changed. `INSERT OR REPLACE` would go past the second trigger, and a number left out would
/// look like one taken out; the third refuses both.
pub(crate) const TABLES: &str = "
    CREATE TABLE IF NOT EXISTS audit (
        number INTEGER PRIMARY KEY AUTOINCREMENT, at INTEGER NOT NULL, who TEXT NOT NULL, way TEXT NOT NULL,
        deed TEXT NOT NULL, subject_kind TEXT NOT NULL, subject TEXT NOT NULL, about INTEGER,
        old TEXT, new TEXT, sha256 TEXT NOT NULL) STRICT;
    CREATE INDEX IF NOT EXISTS audit_by_subject ON audit (subject_kind, subject, number);

    CREATE TRIGGER IF NOT EXISTS audit_is_not_changed BEFORE UPDATE ON audit
        BEGIN SELECT RAISE(ABORT, 'the audit trail is only added to'); END;
    CREATE TRIGGER IF NOT EXISTS audit_is_not_shortened BEFORE DELETE ON audit
        BEGIN SELECT RAISE(ABORT, 'the audit trail is only added to'); END;
    CREATE TRIGGER IF NOT EXISTS audit_is_added_to_at_its_end BEFORE INSERT ON audit
        WHEN NEW.number <> (SELECT coalesce(max(number), 0) + 1 FROM audit)
        BEGIN SELECT RAISE(ABORT, 'the audit trail is only added to'); END;
";

/// What stands in the place of the digest before the first entry.
pub(crate) const BEFORE_THE_FIRST: &str = "0000000000000000000000000000000000000000000000000000000000000000";

/// An entry as it lies in its row.
pub(crate) struct Raw {
    pub(crate) number: i64,
    pub(crate) at: i64,
    pub(crate) who: String,
    pub(crate) way: String,
    pub(crate) deed: String,
    pub(crate) subject_kind: String,
    pub(crate) subject: String,
    pub(crate) about: Option<i64>,
    pub(crate) old: Option<String>,
    pub(crate) new: Option<String>,
    pub(crate) sha256: String,
}

pub(crate) const COLUMNS: &str = "number, at, who, way, deed, subject_kind, subject, about, old, new, sha256";

impl Raw {
    pub(crate) fn of(row: &Row<'_>) -> rusqlite::Result<Raw> {
        Ok(Raw {
            number: row.get(0)?,
            at: row.get(1)?,
            who: row.get(2)?,
            way: row.get(3)?,
            deed: row.get(4)?,
            subject_kind: row.get(5)?,
            subject: row.get(6)?,
            about: row.get(7)?,
            old: row.get(8)?,
            new: row.get(9)?,
            sha256: row.get(10)?,
        })
    }

    /// The digest that it must have behind the entry with the digest `before`.
    pub(crate) fn digest_behind(&self, before: &str) -> String {
        let columns = serde_json::json!([
            before,
            self.number,
            self.at,
            self.who,
            self.way,
            self.deed,
            self.subject_kind,
            self.subject,
            self.about,
            self.old,
            self.new,
        ]);
        sha256_of(&columns.to_string())
    }
}

/// Adds an entry. It is there when the transaction is.
pub(crate) fn append(transaction: &Transaction<'_>, draft: &Draft<'_>) -> Result<(), ChangeError> {
    let last = "SELECT number, sha256 FROM audit ORDER BY number DESC LIMIT 1";
    let last: Option<(i64, String)> =
        transaction.query_row(last, [], |row| Ok((row.get(0)?, row.get(1)?))).optional()?;
    let (number, before) = last.unwrap_or((0, BEFORE_THE_FIRST.to_owned()));
    let Draft { by, deed, subject, about, old, new } = draft;
    let mut raw = Raw {
        number: number + 1,
        at: by.at.as_millis(),
        who: by.actor.name().to_owned(),
        way: by.actor.way(),
        deed: deed.as_str().to_owned(),
        subject_kind: subject.kind.clone(),
        subject: subject.id.clone(),
        about: about.map(|about| about.as_millis()),
        old: json(old)?,
        new: json(new)?,
        sha256: String::new(),
    };
    raw.sha256 = raw.digest_behind(&before);
    insert(transaction, &raw)?;
    Ok(())
}

fn insert(connection: &Connection, raw: &Raw) -> rusqlite::Result<()> {
    let sql = "INSERT INTO audit VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)";
    let values = rusqlite::params![
        raw.number,
        raw.at,
        raw.who,
        raw.way,
        raw.deed,
        raw.subject_kind,
        raw.subject,
        raw.about,
        raw.old,
        raw.new,
        raw.sha256
    ];
    connection.prepare_cached(sql)?.execute(values)?;
    Ok(())
}

fn json(value: &Value) -> Result<Option<String>, ChangeError> {
    Ok(match value {
        Value::Null => None,
        Value::Bool(_) | Value::Number(_) | Value::String(_) | Value::Array(_) | Value::Object(_) => {
            Some(row::write("audit entry", value)?)
        }
    })
}
