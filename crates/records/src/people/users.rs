//! Users: added, given another role, password or PIN, shut out and let in again. Never removed, because the trail speaks of them.

use model::Timestamp;
use rusqlite::{Connection, OptionalExtension, Row, Transaction};
use serde_json::json;

use crate::audit::{By, Deed, Draft, Subject, append};
use crate::error::ChangeError;
use crate::people::{Password, Pin, Role, UserName};
use crate::{Records, RecordsError};

/// Somebody who may sign in, or might once.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct User {
    /// Their name.
    pub name: UserName,
    /// What they are in the works.
    pub role: Role,
    /// May they sign in?
    pub is_enabled: bool,
    /// Have they a PIN?
    pub has_pin: bool,
    /// Since when they are here.
    pub added: Timestamp,
}

/// A user with what is kept of their secrets.
pub(crate) struct Kept {
    pub(crate) user: User,
    pub(crate) password: String,
    pub(crate) pin: Option<String>,
}

const KEPT: &str = "SELECT name, role, password, pin, enabled, added_at FROM users";

impl Records {
    /// Adds a user.
    ///
    /// # Errors
    /// If there is one of that name, or the file cannot be written.
    pub fn add_user(
        &self,
        by: &By,
        name: &UserName,
        role: Role,
        password: &Password,
    ) -> Result<(), RecordsError> {
        let hash = password.hash()?;
        self.change(|transaction| {
            if kept(transaction, name)?.is_some() {
                return Err(RecordsError::UserExists { name: name.to_string() }.into());
            }
            let sql = "INSERT INTO users VALUES (?1, ?2, ?3, NULL, 1, ?4)";
            transaction.execute(sql, (name.as_str(), role.as_str(), hash, by.at.as_millis()))?;
            let draft = Draft::new(by, Deed::UserAdded, Subject::user(name));
            append(transaction, &draft.new_is(json!({ "role": role.as_str() })))
        })
    }

    /// All users, by name.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn users(&self) -> Result<Vec<User>, RecordsError> {
        self.with_reader(|reader| {
            let mut statement = reader.prepare_cached(&format!("{KEPT} ORDER BY name"))?;
            let users = statement.query_map([], |row| Ok(kept_of(row)?.user))?;
            users.collect()
        })
    }

    /// The user of that name.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn user(&self, name: &UserName) -> Result<Option<User>, RecordsError> {
        self.with_reader(|reader| Ok(kept(reader, name)?.map(|kept| kept.user)))
    }

    /// Gives a user another role.
    ///
    /// # Errors
    /// If there is no such user, or the file cannot be written.
    pub fn set_role(&self, by: &By, name: &UserName, role: Role) -> Result<(), RecordsError> {
        self.change_user(name, |transaction, before| {
            let old = before.user.role;
            if old == role {
                return Ok(());
            }
            transaction
                .execute("UPDATE users SET role = ?2 WHERE name = ?1", (name.as_str(), role.as_str()))?;
            let draft = Draft::new(by, Deed::RoleChanged, Subject::user(name));
            let draft = draft.old(json!({ "role": old.as_str() })).new_is(json!({ "role": role.as_str() }));
            append(transaction, &draft)
        })
    }

    /// Gives a user another password, and signs them out everywhere.
    ///
    /// # Errors
    /// If there is no such user, or the file cannot be written.
    pub fn set_password(&self, by: &By, name: &UserName, password: &Password) -> Result<(), RecordsError> {
        let hash = password.hash()?;
        self.change_user(name, |transaction, _| {
            transaction.execute("UPDATE users SET password = ?2 WHERE name = ?1", (name.as_str(), hash))?;
            end_sessions_of(transaction, name)?;
            append(transaction, &Draft::new(by, Deed::PasswordChanged, Subject::user(name)))
        })
    }

    /// Gives a user a PIN, or takes it away.
    ///
    /// # Errors
    /// If there is no such user, or the file cannot be written.
    pub fn set_pin(&self, by: &By, name: &UserName, pin: Option<&Pin>) -> Result<(), RecordsError> {
        let hash = pin.map(Pin::hash).transpose()?;
        let deed = if pin.is_some() { Deed::PinChanged } else { Deed::PinRemoved };
        self.change_user(name, |transaction, before| {
            if hash.is_none() && before.pin.is_none() {
                return Ok(());
            }
            transaction.execute("UPDATE users SET pin = ?2 WHERE name = ?1", (name.as_str(), hash))?;
            append(transaction, &Draft::new(by, deed, Subject::user(name)))
        })
    }

    /// Lets a user in again, or shuts them out; then nothing that they opened stays open.
    ///
    /// # Errors
    /// If there is no such user, or the file cannot be written.
    pub fn enable_user(&self, by: &By, name: &UserName, enabled: bool) -> Result<(), RecordsError> {
        self.change_user(name, |transaction, before| {
            let old = before.user.is_enabled;
            if old == enabled {
                return Ok(());
            }
            transaction.execute("UPDATE users SET enabled = ?2 WHERE name = ?1", (name.as_str(), enabled))?;
            if !enabled {
                end_sessions_of(transaction, name)?;
            }
            let deed = if enabled { Deed::UserEnabled } else { Deed::UserDisabled };
            let draft = Draft::new(by, deed, Subject::user(name));
            append(transaction, &draft.old(json!({ "enabled": old })).new_is(json!({ "enabled": enabled })))
        })
    }

    fn change_user(
        &self,
        name: &UserName,
        change: impl FnOnce(&Transaction<'_>, Kept) -> Result<(), ChangeError>,
    ) -> Result<(), RecordsError> {
        self.change(|transaction| {
            let before = kept(transaction, name)?;
            let before = before.ok_or_else(|| RecordsError::NoSuchUser { name: name.to_string() })?;
            change(transaction, before)
        })
    }
}

fn end_sessions_of(transaction: &Transaction<'_>, name: &UserName) -> Result<(), ChangeError> {
    let sql = "DELETE FROM sessions WHERE user = ?1 OR opened_by = ?1";
    transaction.execute(sql, [name.as_str()])?;
    Ok(())
}

/// The user of that name with what is kept of their secrets.
pub(crate) fn kept(connection: &Connection, name: &UserName) -> rusqlite::Result<Option<Kept>> {
    let mut statement = connection.prepare_cached(&format!("{KEPT} WHERE name = ?1"))?;
    statement.query_row([name.as_str()], kept_of).optional()
}

fn kept_of(row: &Row<'_>) -> rusqlite::Result<Kept> {
    let pin: Option<String> = row.get(3)?;
    Ok(Kept {
        user: User {
            name: parsed(row, 0)?,
            role: parsed(row, 1)?,
            is_enabled: row.get(4)?,
            has_pin: pin.is_some(),
            added: Timestamp::from_millis(row.get(5)?),
        },
        password: row.get(2)?,
        pin,
    })
}

/// A column that holds a word of ours.
pub(crate) fn parsed<T>(row: &Row<'_>, column: usize) -> rusqlite::Result<T>
where
    T: std::str::FromStr,
    T::Err: std::error::Error + Send + Sync + 'static,
{
    let text: String = row.get(column)?;
    text.parse().map_err(|fault| {
        rusqlite::Error::FromSqlConversionFailure(column, rusqlite::types::Type::Text, Box::new(fault))
    })
}
