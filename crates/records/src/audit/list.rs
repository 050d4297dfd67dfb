//! The trail as it is read: the newest entries, or those of some subjects.

use model::Timestamp;
use rusqlite::types::Value as Sql;
use rusqlite::{Connection, params_from_iter};
use serde_json::Value;

use crate::audit::chain::{COLUMNS, Raw};
use crate::audit::{Deed, Entry, Subject};
use crate::{Records, RecordsError};

/// A page that a person can take in.
const USUAL_LIMIT: usize = 200;

/// Which entries.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EntryQuery {
    /// About one of these; about anything if there is none.
    pub subjects: Vec<Subject>,
    /// Of entries about a machine only those that speak of this time: from, and before.
    pub of_machines: Option<(Timestamp, Timestamp)>,
    /// Of this deed alone.
    pub deed: Option<Deed>,
    /// Whose new state names this lot.
    pub lot: Option<String>,
    /// Older than the entry of this number.
    pub behind: Option<u64>,
    /// At most so many.
    pub limit: usize,
}

impl Default for EntryQuery {
    fn default() -> EntryQuery {
        EntryQuery {
            subjects: Vec::new(),
            of_machines: None,
            deed: None,
            lot: None,
            behind: None,
            limit: USUAL_LIMIT,
        }
    }
}

impl EntryQuery {
    fn sql(&self) -> (String, Vec<Sql>) {
        let (mut text, mut values) = (format!("SELECT {COLUMNS} FROM audit WHERE true"), Vec::new());
        if !self.subjects.is_empty() {
            let one = ["(subject_kind = ? AND subject = ?)"].repeat(self.subjects.len()).join(" OR ");
            text += &format!(" AND ({one})");
            let named = self.subjects.iter().flat_map(|subject| [subject.kind.clone(), subject.id.clone()]);
            values.extend(named.map(Sql::from));
        }
        if let Some((from, to)) = self.of_machines {
            text +=
                " AND (subject_kind <> 'machine' OR (coalesce(about, at) >= ? AND coalesce(about, at) < ?))";
            values.extend([from.as_millis().into(), to.as_millis().into()]);
        }
        if let Some(deed) = self.deed {
            text += " AND deed = ?";
            values.push(deed.as_str().to_owned().into());
        }
        if let Some(lot) = &self.lot {
            // As it was written: JSON without blanks, in which no text can hold an unescaped quotation mark.
            text += " AND instr(new, ?) > 0";
            values.push(format!("\"lot\":{}", Value::from(lot.as_str())).into());
        }
        if let Some(behind) = self.behind {
            text += " AND number < ?";
            values.push(i64::try_from(behind).unwrap_or(i64::MAX).into());
        }
        text += " ORDER BY number DESC LIMIT ?";
        values.push(i64::try_from(self.limit).unwrap_or(i64::MAX).into());
        (text, values)
    }
}

impl Records {
    /// Entries of the audit trail, the newest first.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn audit(&self, query: &EntryQuery) -> Result<Vec<Entry>, RecordsError> {
        let raw = self.with_reader(|reader| read(reader, query))?;
        raw.into_iter().map(Entry::try_from).collect()
    }
}

/// Entries of a file that need not be open to write.
pub(crate) fn read(connection: &Connection, query: &EntryQuery) -> rusqlite::Result<Vec<Raw>> {
    let (sql, values) = query.sql();
    let mut statement = connection.prepare_cached(&sql)?;
    let rows = statement.query_map(params_from_iter(&values), Raw::of)?;
    rows.collect()
}

impl TryFrom<Raw> for Entry {
    type Error = RecordsError;

    fn try_from(raw: Raw) -> Result<Entry, RecordsError> {
        let number = raw.number;
        let value = |text: Option<String>| match text {
            None => Ok(Value::Null),
            Some(text) => serde_json::from_str(&text).map_err(|source| RecordsError::Record {
                what: "audit entry",
                id: number.to_string(),
                source,
            }),
        };
        Ok(Entry {
            number: u64::try_from(number).unwrap_or(0),
            at: Timestamp::from_millis(raw.at),
            who: raw.who,
            way: raw.way,
            deed: raw.deed,
            subject: Subject { kind: raw.subject_kind, id: raw.subject },
            about: raw.about.map(Timestamp::from_millis),
            old: value(raw.old)?,
            new: value(raw.new)?,
            sha256: raw.sha256,
        })
    }
}
