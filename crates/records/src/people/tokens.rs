//! Keys for programs: named, shown once, kept as their digest, good until they are withdrawn.

use model::Timestamp;
use rusqlite::OptionalExtension;
use serde_json::json;

use crate::audit::{By, Deed, Draft, Subject, append};
use crate::people::users::{kept, parsed};
use crate::people::{Key, Role, UserName};
use crate::{Records, RecordsError};

/// What each key begins with, so that one that has got out is recognised where it lies.
const BEGINS_WITH: &str = "halfdegree-";

/// A key is called by a word or two: at most so many characters.
pub const LONGEST_KEY_NAME: usize = 40;

/// Programs of one person; more is a mistake.
const MOST: i64 = 50;

/// A key for programs, without the key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Token {
    /// Whose programs use it.
    pub user: UserName,
    /// What they are in the works.
    pub role: Role,
    /// What it is called.
    pub name: String,
    /// Since when it is good.
    pub made: Timestamp,
}

const TOKENS: &str = "SELECT t.user, u.role, t.name, t.made_at FROM tokens t JOIN users u ON u.name = t.user";

impl Records {
    /// Makes a key for the programs of `user`, called `name`, and hands it out: it is shown this once.
    ///
    /// # Errors
    /// If there is no such user, they have one of that name or too many, or the file cannot be written.
    pub fn make_token(&self, by: &By, user: &UserName, name: &str) -> Result<Key, RecordsError> {
        let key = Key::from_lookup(&format!("{BEGINS_WITH}{}", Key::new()?.as_str()));
        self.change(|transaction| {
            if kept(transaction, user)?.is_none() {
                return Err(RecordsError::NoSuchUser { name: user.to_string() }.into());
            }
            let sql = "SELECT count(*), coalesce(sum(name = ?2), 0) FROM tokens WHERE user = ?1";
            let (all, alike): (i64, i64) =
                transaction.query_row(sql, (user.as_str(), name), |row| Ok((row.get(0)?, row.get(1)?)))?;
            if alike > 0 {
                return Err(RecordsError::TokenExists { name: name.to_owned() }.into());
            }
            if MOST <= all {
                return Err(RecordsError::TooManyTokens { most: MOST }.into());
            }
            let sql = "INSERT INTO tokens VALUES (?1, ?2, ?3, ?4)";
            transaction.execute(sql, (key.sha256(), user.as_str(), name, by.at.as_millis()))?;
            let draft = Draft::new(by, Deed::TokenMade, Subject::user(user));
            append(transaction, &draft.new_is(json!({ "key": name })))
        })?;
        Ok(key)
    }

    /// Withdraws a key. `false` if there is none of that name.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn withdraw_token(&self, by: &By, user: &UserName, name: &str) -> Result<bool, RecordsError> {
        self.change(|transaction| {
            let sql = "DELETE FROM tokens WHERE user = ?1 AND name = ?2";
            if transaction.execute(sql, (user.as_str(), name))? == 0 {
                return Ok(false);
            }
            let draft = Draft::new(by, Deed::TokenWithdrawn, Subject::user(user));
            append(transaction, &draft.old(json!({ "key": name })))?;
            Ok(true)
        })
    }

    /// The keys of a user's programs, by name.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn tokens_of(&self, user: &UserName) -> Result<Vec<Token>, RecordsError> {
        self.with_reader(|reader| {
            let mut statement =
                reader.prepare_cached(&format!("{TOKENS} WHERE t.user = ?1 ORDER BY t.name"))?;
            let tokens = statement.query_map([user.as_str()], of)?;
            tokens.collect()
        })
    }

    /// Whose key this is; `None` if it is nobody's, or its owner may not sign in.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn token(&self, key: &Key) -> Result<Option<Token>, RecordsError> {
        self.with_reader(|reader| {
            let sql = format!("{TOKENS} WHERE t.key_sha256 = ?1 AND u.enabled");
            reader.prepare_cached(&sql)?.query_row([key.sha256()], of).optional()
        })
    }
}

fn of(row: &rusqlite::Row<'_>) -> rusqlite::Result<Token> {
    Ok(Token {
        user: parsed(row, 0)?,
        role: parsed(row, 1)?,
        name: row.get(2)?,
        made: Timestamp::from_millis(row.get(3)?),
    })
}
