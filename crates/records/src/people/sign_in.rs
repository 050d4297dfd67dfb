//! Signing in with a name and a password, and taking over a signed-in device with a name and a PIN.
//!
//! Each success is another key, so that nobody who had the old one gets in with it. Failures are entered in the trail
//! with the name only where there is such a user: into the field for the name people also type their password.

use model::Timestamp;
use serde_json::{Value, json};

use crate::audit::{Actor, By, Deed, Draft, Subject, Way, append};
use crate::people::secret::is_secret_of;
use crate::people::{Key, Session, UserName, sessions, users};
use crate::{Records, RecordsError};

/// Wrong PINs after which a device has to be signed in anew. Common practice, no source.
const PIN_MISSES: i64 = 5;

/// What stands in the trail for a name that no user has.
const UNKNOWN: &str = "(unknown)";

/// What came of a PIN.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TakeOver {
    /// The device is theirs now, under another key.
    Done(Key, Session),
    /// Name or PIN are wrong.
    Wrong,
    /// They were wrong too often: nobody is signed in on this device any more.
    SignedOut,
    /// Nobody was signed in on this device.
    NobodySignedIn,
}

impl Records {
    /// Signs somebody in: `None` if there is no such user, they are shut out, or the password is wrong. Takes its time.
    ///
    /// # Errors
    /// If the file cannot be read or written.
    pub fn sign_in(
        &self,
        name: &str,
        password: &str,
        from: &str,
        now: Timestamp,
    ) -> Result<Option<(Key, Session)>, RecordsError> {
        let name: Option<UserName> = name.parse().ok();
        let known = self.with_reader(|reader| {
            let found = name.as_ref().map(|name| users::kept(reader, name)).transpose()?;
            Ok(found.flatten().filter(|kept| kept.user.is_enabled))
        })?;
        let is_right = is_secret_of(password, known.as_ref().map(|kept| kept.password.as_str()));
        let Some(known) = known.filter(|_| is_right) else { return Ok(None) };
        let key = Key::new()?;
        self.change(|transaction| {
            // Somebody may have shut them out while the password was looked at.
            let still = users::kept(transaction, &known.user.name)?;
            let still = still.filter(|now| now.user.is_enabled && now.password == known.password);
            let Some(user) = still.map(|kept| kept.user) else { return Ok(None) };
            let opened_by = user.name.clone();
            let session =
                Session { user: user.name, role: user.role, way: Way::Password, opened_by, began: now };
            sessions::begin(transaction, &key, &session, now)?;
            let by = By::new(session.actor(), now);
            let draft = Draft::new(&by, Deed::SignedIn, Subject::user(&session.user));
            append(transaction, &draft.new_is(json!({ "from": from })))?;
            Ok(Some((key, session)))
        })
    }

    /// Is this the password of somebody who may sign in? Takes its time.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn is_password_of(&self, name: &UserName, password: &str) -> Result<bool, RecordsError> {
        let known = self.with_reader(|reader| users::kept(reader, name))?;
        let hash = known.filter(|kept| kept.user.is_enabled).map(|kept| kept.password);
        Ok(is_secret_of(password, hash.as_deref()))
    }

    /// Lets somebody take over the device on which `key` is signed in. Takes its time.
    ///
    /// # Errors
    /// If the file cannot be read or written.
    pub fn take_over(
        &self,
        key: &Key,
        name: &str,
        pin: &str,
        now: Timestamp,
    ) -> Result<TakeOver, RecordsError> {
        let Some(before) = self.session(key, now)? else { return Ok(TakeOver::NobodySignedIn) };
        let name: Option<UserName> = name.parse().ok();
        let known = self.with_reader(|reader| {
            let found = name.as_ref().map(|name| users::kept(reader, name)).transpose()?;
            Ok(found.flatten().filter(|kept| kept.user.is_enabled))
        })?;
        let is_right = is_secret_of(pin, known.as_ref().and_then(|kept| kept.pin.as_deref()));
        let new_key = Key::new()?;
        self.change(|transaction| {
            let Some(device) = sessions::kept(transaction, &key.sha256())? else {
                return Ok(TakeOver::NobodySignedIn);
            };
            let still = match known.as_ref().filter(|_| is_right) {
                None => None,
                Some(known) => users::kept(transaction, &known.user.name)?
                    .filter(|now| now.user.is_enabled && now.pin == known.pin),
            };
            let Some(user) = still.map(|kept| kept.user) else {
                if device.pin_misses + 1 < PIN_MISSES {
                    let sql = "UPDATE sessions SET pin_misses = pin_misses + 1 WHERE key_sha256 = ?1";
                    transaction.execute(sql, [key.sha256()])?;
                    return Ok(TakeOver::Wrong);
                }
                sessions::end(transaction, key)?;
                return Ok(TakeOver::SignedOut);
            };
            let (opened_by, began) = (before.opened_by.clone(), before.began);
            let session = Session { user: user.name, role: user.role, way: Way::Pin, opened_by, began };
            sessions::end(transaction, key)?;
            sessions::begin(transaction, &new_key, &session, now)?;
            let by = By::new(session.actor(), now);
            let draft = Draft::new(&by, Deed::TookOver, Subject::user(&session.user));
            append(transaction, &draft.old(json!({ "user": before.user.as_str() })))?;
            Ok(TakeOver::Done(new_key, session))
        })
    }

    /// Enters in the trail that somebody could not sign in. Whoever calls it sees to it that it is not called without end.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn note_failed_sign_in(
        &self,
        name: &str,
        with: &Way,
        from: &str,
        now: Timestamp,
    ) -> Result<(), RecordsError> {
        let name: Option<UserName> = name.parse().ok();
        let by = By::new(Actor::Nobody, now);
        let new: Value = json!({ "with": with.to_string(), "from": from });
        self.change(|transaction| {
            let known = name.as_ref().map(|name| users::kept(transaction, name)).transpose()?.flatten();
            let subject = known.map(|kept| Subject::user(&kept.user.name));
            let subject =
                subject.unwrap_or_else(|| Subject { kind: "user".to_owned(), id: UNKNOWN.to_owned() });
            append(transaction, &Draft::new(&by, Deed::SignInFailed, subject).new_is(new))
        })
    }
}
