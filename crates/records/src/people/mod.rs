//! People: who may sign in, as what, and how they are known again.
//!
//! - [`UserName`], [`Role`]: who somebody is here. What a role may do is decided in `web`, in one table.
//! - `secret`: passwords and PINs, kept as Argon2id hashes; keys, kept as their SHA-256 alone.
//! - `users`, `tokens`: the users and the keys of their programs.
//! - `sessions`, `sign_in`: who is signed in on which device.
//! - [`Throttle`]: how long somebody waits who has been wrong.
//!
//! Whatever changes here is in the audit trail, in the same transaction; no password, PIN or key is. A name, a password
//! and a PIN that are wrong are told apart nowhere, neither in words nor in time.

mod name;
mod role;
mod secret;
mod sessions;
mod sign_in;
#[cfg(test)]
mod tests;
mod throttle;
mod tokens;
mod users;

pub use crate::people::name::{NotAName, UserName};
pub use crate::people::role::{Role, UnknownRole};
pub use crate::people::secret::{Key, Password, Pin, TooWeak};
pub use crate::people::sessions::Session;
pub use crate::people::sign_in::TakeOver;
pub use crate::people::throttle::{Attempt, Throttle};
pub use crate::people::tokens::{LONGEST_KEY_NAME, Token};
pub use crate::people::users::User;

/// The tables of people. `password` and `pin` are PHC strings; of keys only the digest is here.
pub(crate) const TABLES: &str = "
    CREATE TABLE IF NOT EXISTS users (
        name TEXT PRIMARY KEY, role TEXT NOT NULL, password TEXT NOT NULL, pin TEXT,
        enabled INTEGER NOT NULL CHECK (enabled IN (0, 1)), added_at INTEGER NOT NULL) STRICT;

    CREATE TABLE IF NOT EXISTS sessions (
        key_sha256 TEXT PRIMARY KEY, user TEXT NOT NULL, opened_by TEXT NOT NULL, by_pin INTEGER NOT NULL,
        began_at INTEGER NOT NULL, used_at INTEGER NOT NULL, pin_misses INTEGER NOT NULL) STRICT;
    CREATE INDEX IF NOT EXISTS sessions_by_user ON sessions (user, used_at);

    CREATE TABLE IF NOT EXISTS tokens (
        key_sha256 TEXT PRIMARY KEY, user TEXT NOT NULL, name TEXT NOT NULL, made_at INTEGER NOT NULL,
        UNIQUE (user, name)) STRICT;
";
