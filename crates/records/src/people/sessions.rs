//! Who is signed in on which device.
//!
//! A session ends when it was not used for a while, some time after it began whatever happens, when somebody signs out, and at once when its
//! user, or whoever opened it with a password, is shut out or gets another password.

use model::{Span, Timestamp};
use rusqlite::{Connection, OptionalExtension, Row, Transaction};

use crate::audit::{Actor, By, Deed, Draft, Subject, Way, append};
use crate::error::ChangeError;
use crate::people::users::parsed;
use crate::people::{Key, Role, UserName};
use crate::{Records, RecordsError};

/// A tablet that was laid aside over a break and a change of couverture. OWASP's session management cheat sheet asks for less where more is at
/// stake, and for an end in any case; the figure itself is common practice, no source.
const IDLE: Span = Span::from_hours(4);
/// A long shift. Common practice, no source.
const ABSOLUTE: Span = Span::from_hours(14);
/// A viewer changes nothing, and a screen on the wall has no keyboard: it stays signed in for a season, and for a holiday without power.
const VIEWER_IDLE: Span = Span::from_hours(30 * 24);
const VIEWER_ABSOLUTE: Span = Span::from_hours(120 * 24);
/// That a session is used is written down no more often: a page asks for several things at once.
const NOTED_EVERY: Span = Span::from_secs(60);
/// Devices of one person; with one more the one that has been quiet for longest is signed out.
const MOST_OF_ONE_USER: i64 = 20;

/// Somebody is signed in on a device.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Session {
    /// Who works with it now.
    pub user: UserName,
    /// What they are in the works.
    pub role: Role,
    /// How they were known.
    pub way: Way,
    /// Who signed in on it with a password.
    pub opened_by: UserName,
    /// When that was.
    pub began: Timestamp,
}

/// A session with when it was used, and how often a PIN was wrong.
pub(crate) struct Kept {
    pub(crate) session: Session,
    used: Timestamp,
    pub(crate) pin_misses: i64,
}

impl Kept {
    fn is_over(&self, now: Timestamp) -> bool {
        let (idle, absolute) = self.session.limits();
        self.used + idle <= now || self.session.began + absolute <= now
    }
}

impl Session {
    /// How long it lasts unused, and in any case.
    fn limits(&self) -> (Span, Span) {
        match self.role {
            Role::Viewer => (VIEWER_IDLE, VIEWER_ABSOLUTE),
            Role::Worker | Role::Engineer | Role::Quality => (IDLE, ABSOLUTE),
        }
    }

    /// How long it can last from its beginning.
    pub fn longest(&self) -> Span {
        self.limits().1
    }

    /// Who acts in it.
    pub fn actor(&self) -> Actor {
        Actor::User(self.user.clone(), self.way.clone())
    }
}

impl Records {
    /// The session that `key` opens at `now`; `None` if it opens none, or not any more.
    ///
    /// # Errors
    /// If the file cannot be read or written.
    pub fn session(&self, key: &Key, now: Timestamp) -> Result<Option<Session>, RecordsError> {
        let sha256 = key.sha256();
        let kept = self.with_reader(|reader| kept(reader, &sha256))?;
        let Some(kept) = kept.filter(|kept| !kept.is_over(now)) else { return Ok(None) };
        if kept.used + NOTED_EVERY <= now {
            let sql = "UPDATE sessions SET used_at = ?2 WHERE key_sha256 = ?1";
            self.change(|transaction| Ok(transaction.execute(sql, (&sha256, now.as_millis()))?))?;
        }
        Ok(Some(kept.session))
    }

    /// Signs out: `key` opens nothing any more. `false` if it opened nothing.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn sign_out(&self, key: &Key, now: Timestamp) -> Result<bool, RecordsError> {
        self.change(|transaction| {
            let Some(ended) = kept(transaction, &key.sha256())?.filter(|kept| !kept.is_over(now)) else {
                return Ok(false);
            };
            end(transaction, key)?;
            let by = By::new(ended.session.actor(), now);
            append(transaction, &Draft::new(&by, Deed::SignedOut, Subject::user(&ended.session.user)))?;
            Ok(true)
        })
    }
}

/// The session of a key's digest, if both who works with it and who opened it may sign in.
pub(crate) fn kept(connection: &Connection, sha256: &str) -> rusqlite::Result<Option<Kept>> {
    let sql = "SELECT s.user, u.role, s.by_pin, s.opened_by, s.began_at, s.used_at, s.pin_misses FROM sessions s
               JOIN users u ON u.name = s.user AND u.enabled JOIN users o ON o.name = s.opened_by AND o.enabled
               WHERE s.key_sha256 = ?1";
    let of = |row: &Row<'_>| {
        Ok(Kept {
            session: Session {
                user: parsed(row, 0)?,
                role: parsed(row, 1)?,
                way: if row.get(2)? { Way::Pin } else { Way::Password },
                opened_by: parsed(row, 3)?,
                began: Timestamp::from_millis(row.get(4)?),
            },
            used: Timestamp::from_millis(row.get(5)?),
            pin_misses: row.get(6)?,
        })
    };
    connection.prepare_cached(sql)?.query_row([sha256], of).optional()
}

/// Begins a session, and tidies up those that are over whoever they belonged to.
pub(crate) fn begin(
    transaction: &Transaction<'_>,
    key: &Key,
    session: &Session,
    now: Timestamp,
) -> Result<(), ChangeError> {
    let oldest = (now - VIEWER_ABSOLUTE).as_millis();
    transaction.execute("DELETE FROM sessions WHERE began_at < ?1", [oldest])?;
    let sql = "DELETE FROM sessions WHERE key_sha256 IN
               (SELECT key_sha256 FROM sessions WHERE user = ?1 ORDER BY used_at DESC LIMIT -1 OFFSET ?2)";
    transaction.execute(sql, (session.user.as_str(), MOST_OF_ONE_USER - 1))?;
    let by_pin = session.way == Way::Pin;
    let sql = "INSERT INTO sessions VALUES (?1, ?2, ?3, ?4, ?5, ?6, 0)";
    let (user, opened_by) = (session.user.as_str(), session.opened_by.as_str());
    let (began, used) = (session.began.as_millis(), now.as_millis());
    transaction.execute(sql, (key.sha256(), user, opened_by, by_pin, began, used))?;
    Ok(())
}

pub(crate) fn end(transaction: &Transaction<'_>, key: &Key) -> Result<(), ChangeError> {
    transaction.execute("DELETE FROM sessions WHERE key_sha256 = ?1", [key.sha256()])?;
    Ok(())
}
