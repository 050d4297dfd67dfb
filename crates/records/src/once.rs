//! Entries that a program sends again must not be entered twice: what was answered to a key is kept for a day.
//!
//! ```text
//! once      key | at (ms UTC), the SHA-256 of the body, and status, media type and text of the answer; null while it is being worked on
//! ```
//! The key comes with the name of the address and of the caller in it, so that nobody meets the answer of somebody else. After the
//! expired draft "The Idempotency-Key HTTP Header Field" of the IETF (httpapi, 07): the same body gets the same answer, another body is
//! refused, and a request that is still being worked on is not begun again.

use model::{Span, Timestamp};
use rusqlite::{Connection, OptionalExtension, params};
use sha2::{Digest, Sha256};

use crate::{Records, RecordsError};

/// A program that has not tried again within a day does not know of its request any more.
const KEPT_FOR: Span = Span::from_hours(24);
/// Some seven a minute all day, at less than a kilobyte each. Beyond it the oldest goes.
const MOST_KEPT: i64 = 10_000;

pub(crate) const TABLES: &str = "
    CREATE TABLE IF NOT EXISTS once (
        key TEXT PRIMARY KEY, at INTEGER NOT NULL, body_sha256 BLOB NOT NULL,
        status INTEGER, media_type TEXT, answer TEXT) STRICT;
    CREATE INDEX IF NOT EXISTS once_by_time ON once (at);
";

/// What is known of a key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Once {
    /// Nothing: it is noted now, and the work may begin.
    First,
    /// It was done, and answered so.
    Done(KeptAnswer),
    /// It was used with another body.
    OtherBody,
    /// It was begun and has no answer: it is being worked on, or was cut off.
    Begun,
}

/// An answer as it went out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeptAnswer {
    /// Its status code.
    pub status: u16,
    /// Of its text.
    pub media_type: String,
    /// What it said.
    pub text: String,
}

/// The SHA-256 of several texts, each with its length, as hexadecimal digits: a key that gives nothing away.
pub fn digest_of(texts: &[&str]) -> String {
    let mut hasher = Sha256::new();
    for text in texts {
        hasher.update((text.len() as u64).to_be_bytes());
        hasher.update(text.as_bytes());
    }
    hasher.finalize().iter().map(|byte| format!("{byte:02x}")).collect()
}

impl Records {
    /// Notes that a request with this key begins, unless one has before.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn begin_once(&self, key: &str, body: &[u8], now: Timestamp) -> Result<Once, RecordsError> {
        let digest = Sha256::digest(body);
        let digest = digest.as_slice();
        self.change(|transaction| {
            tidy(transaction, now)?;
            let known = transaction
                .query_row(
                    "SELECT body_sha256, status, media_type, answer FROM once WHERE key = ?",
                    [key],
                    |row| Ok((row.get::<_, Vec<u8>>(0)?, row.get(1)?, row.get(2)?, row.get(3)?)),
                )
                .optional()?;
            Ok(match known {
                None => {
                    transaction.execute(
                        "INSERT INTO once (key, at, body_sha256) VALUES (?, ?, ?)",
                        params![key, now.as_millis(), digest],
                    )?;
                    Once::First
                }
                Some((other, ..)) if other != digest => Once::OtherBody,
                Some((_, Some(status), Some(media_type), Some(text))) => {
                    Once::Done(KeptAnswer { status, media_type, text })
                }
                Some(_) => Once::Begun,
            })
        })
    }

    /// Keeps what was answered; `None` forgets the key, because nothing was entered.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn finish_once(&self, key: &str, answer: Option<&KeptAnswer>) -> Result<(), RecordsError> {
        self.change(|transaction| {
            match answer {
                Some(KeptAnswer { status, media_type, text }) => transaction.execute(
                    "UPDATE once SET status = ?, media_type = ?, answer = ? WHERE key = ?",
                    params![status, media_type, text, key],
                )?,
                None => transaction.execute("DELETE FROM once WHERE key = ?", [key])?,
            };
            Ok(())
        })
    }
}

/// Makes room: what is old goes, and the oldest when there are too many.
fn tidy(connection: &Connection, now: Timestamp) -> rusqlite::Result<()> {
    connection.execute("DELETE FROM once WHERE at < ?", [(now - KEPT_FOR).as_millis()])?;
    let kept: i64 = connection.query_row("SELECT count(*) FROM once", [], |row| row.get(0))?;
    let too_many = kept + 1 - MOST_KEPT;
    if 0 < too_many {
        let oldest = "DELETE FROM once WHERE key IN (SELECT key FROM once ORDER BY at LIMIT ?)";
        connection.execute(oldest, [too_many])?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minutes: i64) -> Timestamp {
        Timestamp::from_millis(1_772_344_800_000 + 60_000 * minutes)
    }

    #[test]
    fn the_same_key_and_body_get_the_same_answer_for_a_day() {
        let folder = tempfile::tempdir().unwrap();
        let records = Records::open(folder.path().join(crate::FILE_NAME)).unwrap();
        let answer =
            KeptAnswer { status: 201, media_type: "application/json".to_owned(), text: "{}".to_owned() };
        assert_eq!(records.begin_once("a", b"one", at(0)).unwrap(), Once::First);
        assert_eq!(records.begin_once("a", b"one", at(0)).unwrap(), Once::Begun);
        records.finish_once("a", Some(&answer)).unwrap();
        assert_eq!(records.begin_once("a", b"one", at(5)).unwrap(), Once::Done(answer));
        assert_eq!(records.begin_once("a", b"two", at(5)).unwrap(), Once::OtherBody);
        assert_eq!(records.begin_once("b", b"one", at(5)).unwrap(), Once::First);
        records.finish_once("b", None).unwrap();
        assert_eq!(records.begin_once("b", b"two", at(6)).unwrap(), Once::First, "nothing was entered");
        assert_eq!(records.begin_once("a", b"two", at(24 * 60 + 1)).unwrap(), Once::First, "a day is over");
    }

    #[test]
    fn the_oldest_goes_when_there_are_too_many() {
        let folder = tempfile::tempdir().unwrap();
        let records = Records::open(folder.path().join(crate::FILE_NAME)).unwrap();
        let fill = "WITH RECURSIVE n(i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM n WHERE i < ?1 - 1)
            INSERT INTO once (key, at, body_sha256) SELECT 'k' || i, ?2 + i, x'00' FROM n";
        records.change(|transaction| Ok(transaction.execute(fill, [MOST_KEPT, at(0).as_millis()])?)).unwrap();
        assert_eq!(records.begin_once("new", b"", at(1)).unwrap(), Once::First);
        let count = |key: &str| {
            records
                .with_reader(|reader| {
                    reader.query_row("SELECT count(*) FROM once WHERE key LIKE ?", [key], |row| row.get(0))
                })
                .unwrap()
        };
        assert_eq!((count("%"), count("k0"), count("k1")), (MOST_KEPT, 0, 1));
    }
}
