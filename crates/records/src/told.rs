//! Who was told of alarms, so that nobody is told twice.
//!
//! ```text
//! told  finding, priority, contact: one message | at, whether it got there
//! ```

use model::{ContactId, FindingId, Priority, Timestamp};

use crate::{Records, RecordsError};

pub(crate) const TABLES: &str = "
    CREATE TABLE IF NOT EXISTS told (
        finding TEXT NOT NULL, priority INTEGER NOT NULL, contact TEXT NOT NULL, at INTEGER NOT NULL,
        outcome TEXT NOT NULL, PRIMARY KEY (finding, contact, priority)) STRICT, WITHOUT ROWID;
";

/// Somebody was told of an alarm.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Told {
    /// Of which.
    pub finding: FindingId,
    /// How urgent it was.
    pub priority: Priority,
    /// Who.
    pub contact: ContactId,
    /// When.
    pub at: Timestamp,
    /// Did the message get there? Else it was given up.
    pub arrived: bool,
}

impl Records {
    /// Writes down that somebody was told of an alarm, or could not be.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn note_told(&self, told: &Told) -> Result<(), RecordsError> {
        self.change(|transaction| {
            let sql = "INSERT OR REPLACE INTO told VALUES (?1, ?2, ?3, ?4, ?5)";
            let Told { finding, priority, contact, at, arrived } = told;
            let outcome = if *arrived { "arrived" } else { "given up" };
            let values = (finding.as_str(), *priority as i64, contact.as_str(), at.as_millis(), outcome);
            transaction.execute(sql, values)?;
            Ok(())
        })
    }

    /// Who was told of these findings.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn told_of(&self, findings: &[FindingId]) -> Result<Vec<Told>, RecordsError> {
        self.with_reader(|reader| {
            let sql = "SELECT priority, contact, at, outcome FROM told WHERE finding = ?1";
            let mut statement = reader.prepare_cached(sql)?;
            let mut all = Vec::new();
            for finding in findings {
                let rows = statement.query_map([finding.as_str()], |row| {
                    let at = Timestamp::from_millis(row.get(2)?);
                    Ok((row.get(0)?, row.get(1)?, at, row.get(3)?))
                })?;
                let rows: Vec<(i64, String, Timestamp, String)> = rows.collect::<rusqlite::Result<_>>()?;
                all.extend(rows.into_iter().filter_map(|(priority, contact, at, outcome)| {
                    Some(Told {
                        finding: finding.clone(),
                        priority: Priority::ALL.into_iter().find(|known| *known as i64 == priority)?,
                        contact: contact.parse().ok()?,
                        at,
                        arrived: outcome == "arrived",
                    })
                }));
            }
            Ok(all)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn who_was_told_is_there_after_reopening() {
        let folder = tempfile::tempdir().unwrap();
        let open = || Records::open(folder.path().join(crate::FILE_NAME)).unwrap();
        let told = |priority, arrived| Told {
            finding: FindingId::from_lookup("alder-scorch"),
            priority,
            contact: "shift".parse().unwrap(),
            at: Timestamp::from_millis(1_772_344_800_000),
            arrived,
        };
        let all = [told(Priority::Medium, false), told(Priority::High, true)];
        let records = open();
        all.iter().for_each(|told| records.note_told(told).unwrap());
        drop(records);
        let found = open().told_of(&[told(Priority::High, true).finding, FindingId::from_lookup("x")]);
        assert_eq!(found.unwrap(), all);
    }
}
