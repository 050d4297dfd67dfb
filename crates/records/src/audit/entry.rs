//! One entry: who did what to whom or what, when, and what it was before and after.

use std::fmt;

use model::{BatchId, MachineId, Timestamp};
use serde_json::Value;

use crate::audit::Deed;
use crate::people::UserName;

/// Who did something.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Actor {
    /// A user, and how they were known.
    User(UserName, Way),
    /// Whoever sits at this computer, in the demo.
    Loopback,
    /// Whoever ran the program on the data folder.
    CommandLine,
    /// Whoever may publish at the broker.
    Broker,
    /// Nobody that is known: a sign-in that failed.
    Nobody,
}

/// How a user was known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Way {
    /// They signed in with their password.
    Password,
    /// They took over a signed-in device with their PIN.
    Pin,
    /// A program used the key of that name.
    Token(String),
}

impl Actor {
    /// Their name in the trail. No user can be called like one who is none.
    pub fn name(&self) -> &str {
        match self {
            Actor::User(name, _) => name.as_str(),
            Actor::Loopback => "loopback",
            Actor::CommandLine => "command line",
            Actor::Broker => "broker",
            Actor::Nobody => "nobody",
        }
    }

    pub(crate) fn way(&self) -> String {
        match self {
            Actor::User(_, way) => way.to_string(),
            Actor::Loopback | Actor::CommandLine | Actor::Broker | Actor::Nobody => String::new(),
        }
    }
}

impl Actor {
    /// The actor of a row; `None` if no version of ours wrote it.
    pub(crate) fn read(who: &str, way: &str) -> Option<Actor> {
        let plain = [Actor::Loopback, Actor::CommandLine, Actor::Broker, Actor::Nobody];
        if let Some(actor) = plain.into_iter().find(|actor| actor.name() == who) {
            return Some(actor);
        }
        let way = match way {
            "password" => Way::Password,
            "PIN" => Way::Pin,
            other => Way::Token(Way::key_in(other)?.to_owned()),
        };
        Some(Actor::User(who.parse().ok()?, way))
    }
}

impl Way {
    /// What the key is called, if an entry says that a program used one.
    pub fn key_in(written: &str) -> Option<&str> {
        // The second word is that of earlier versions.
        written.strip_prefix("key ").or_else(|| written.strip_prefix("token "))
    }
}

impl fmt::Display for Way {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Way::Password => f.write_str("password"),
            Way::Pin => f.write_str("PIN"),
            Way::Token(name) => write!(f, "key {name}"),
        }
    }
}

/// Who does something, and when: what every change by a person carries with it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct By {
    /// Who.
    pub actor: Actor,
    /// When.
    pub at: Timestamp,
}

impl By {
    /// `actor`, at `at`.
    pub fn new(actor: Actor, at: Timestamp) -> By {
        By { actor, at }
    }
}

/// What an entry is about.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Subject {
    /// `machine`, `batch`, `week`, `user` or `plant`.
    pub kind: String,
    /// Its id.
    pub id: String,
}

impl Subject {
    /// A machine.
    pub fn machine(id: &MachineId) -> Subject {
        Subject { kind: "machine".to_owned(), id: id.as_str().to_owned() }
    }

    /// The plant itself.
    pub fn plant() -> Subject {
        Subject { kind: "plant".to_owned(), id: "plant".to_owned() }
    }

    /// A batch.
    pub fn batch(id: &BatchId) -> Subject {
        Subject { kind: "batch".to_owned(), id: id.as_str().to_owned() }
    }

    /// An ISO week, `2026-W48`.
    pub fn week(week: &str) -> Subject {
        Subject { kind: "week".to_owned(), id: week.to_owned() }
    }

    /// A user.
    pub fn user(name: &UserName) -> Subject {
        Subject { kind: "user".to_owned(), id: name.as_str().to_owned() }
    }
}

/// An entry to be made.
#[derive(Debug, Clone)]
pub(crate) struct Draft<'by> {
    pub(crate) by: &'by By,
    pub(crate) deed: Deed,
    pub(crate) subject: Subject,
    pub(crate) about: Option<Timestamp>,
    pub(crate) old: Value,
    pub(crate) new: Value,
}

impl Draft<'_> {
    /// `by` does `deed` to `subject`; nothing is said yet of before and after.
    pub(crate) fn new(by: &By, deed: Deed, subject: Subject) -> Draft<'_> {
        Draft { by, deed, subject, about: None, old: Value::Null, new: Value::Null }
    }

    pub(crate) fn about(self, at: Timestamp) -> Self {
        Draft { about: Some(at), ..self }
    }

    pub(crate) fn old(self, old: Value) -> Self {
        Draft { old, ..self }
    }

    pub(crate) fn new_is(self, new: Value) -> Self {
        Draft { new, ..self }
    }
}

/// An entry as it stands in the trail. Words are kept as they were written, also those of a later version.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Its number, from 1 without a gap.
    pub number: u64,
    /// When it was made.
    pub at: Timestamp,
    /// Who: a user's name, or `loopback`, `command line`, `broker`, `nobody`.
    pub who: String,
    /// How a user was known: `password`, `PIN`, `key …`; empty for others.
    pub way: String,
    /// What was done.
    pub deed: String,
    /// To what.
    pub subject: Subject,
    /// The moment that it speaks of, where that is another.
    pub about: Option<Timestamp>,
    /// What it was before; null where there is nothing.
    pub old: Value,
    /// What it is now; null where there is nothing.
    pub new: Value,
    /// The digest, in hexadecimal digits.
    pub sha256: String,
}
