//! Ids: made by parsing, right for good afterwards.

use std::fmt;
use std::str::FromStr;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::Timestamp;

/// Long enough for any machine's name, short enough for a file name and a topic.
const LONGEST_ID: usize = 64;

/// Why a text cannot be an id.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum IdError {
    /// Nothing there.
    #[error("an id cannot be empty")]
    Empty,
    /// Longer than a file name or topic segment should be.
    #[error("the id `{0}` is longer than {LONGEST_ID} characters")]
    TooLong(String),
    /// A character that would not survive as topic segment, file name and address.
    #[error(
        "the id `{id}` holds `{character}`; letters, digits, `-`, `_` and `.` can stand there, and it begins with a letter or digit"
    )]
    Character {
        /// The text that was given.
        id: String,
        /// The first character that cannot stand there.
        character: char,
    },
}

fn check_id(text: &str) -> Result<(), IdError> {
    if text.is_empty() {
        return Err(IdError::Empty);
    }
    if text.chars().count() > LONGEST_ID {
        return Err(IdError::TooLong(text.chars().take(LONGEST_ID).collect()));
    }
    let wrong = text
        .chars()
        .enumerate()
        .find(|(place, c)| !(c.is_alphanumeric() || (*place > 0 && matches!(c, '-' | '_' | '.'))));
    match wrong {
        Some((_, character)) => Err(IdError::Character { id: text.to_owned(), character }),
        None => Ok(()),
    }
}

macro_rules! id {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        pub struct $name(Arc<str>);

        impl $name {
            /// The id as text.
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.pad(&self.0)
            }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "{}({})", stringify!($name), self.0)
            }
        }
    };
}

id! {
    /// A machine: one segment of the topic, one folder of the store. Letters, digits, `-`, `_`, `.`; at most 64.
    MachineId
}
id! {
    /// A couverture of the plant file. The same characters as a machine's id.
    CouvertureId
}
id! {
    /// Somebody who can be reached, as the plant file names them. The same characters as a machine's id.
    ContactId
}
id! {
    /// A batch: the machine's id and the start of the batch in UTC minutes, `alder-2026-03-01T17:02`.
    BatchId
}
id! {
    /// A finding: machine (or `plant`), kind and the moment it was raised.
    FindingId
}

impl FromStr for MachineId {
    type Err = IdError;
    fn from_str(text: &str) -> Result<MachineId, IdError> {
        check_id(text).map(|()| MachineId(text.into()))
    }
}

impl FromStr for CouvertureId {
    type Err = IdError;
    fn from_str(text: &str) -> Result<CouvertureId, IdError> {
        check_id(text).map(|()| CouvertureId(text.into()))
    }
}

impl FromStr for ContactId {
    type Err = IdError;
    fn from_str(text: &str) -> Result<ContactId, IdError> {
        check_id(text).map(|()| ContactId(text.into()))
    }
}

impl BatchId {
    /// The id of the batch that `machine` began at `start`.
    pub fn new(machine: &MachineId, start: Timestamp) -> BatchId {
        let minute = start.to_jiff().strftime("%Y-%m-%dT%H:%M");
        BatchId(format!("{machine}-{minute}").into())
    }

    /// An id that came from outside, to look up; it may belong to no batch.
    pub fn from_lookup(text: &str) -> BatchId {
        BatchId(text.into())
    }
}

impl FindingId {
    /// The id of a finding: `place` is the machine or `plant`, `kind` the contract's word.
    pub fn new(place: &str, kind: &str, raised_at: Timestamp) -> FindingId {
        FindingId(format!("{place}-{kind}-{raised_at}").into())
    }

    /// An id that came from outside, to look up; it may belong to no finding.
    pub fn from_lookup(text: &str) -> FindingId {
        FindingId(text.into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_say_what_is_wrong_with_them() {
        assert_eq!("".parse::<MachineId>().unwrap_err().to_string(), "an id cannot be empty");
        assert!("../etc".parse::<MachineId>().unwrap_err().to_string().contains("holds `.`"));
        assert!("a/b".parse::<MachineId>().unwrap_err().to_string().contains("holds `/`"));
        assert!("x".repeat(65).parse::<MachineId>().is_err());
        assert_eq!("kettle-2.b".parse::<MachineId>().unwrap().as_str(), "kettle-2.b");
    }

    #[test]
    fn a_batch_is_named_by_its_utc_minute() {
        let start = "2026-03-01T17:02:59Z".parse().unwrap();
        assert_eq!(BatchId::new(&"alder".parse().unwrap(), start).as_str(), "alder-2026-03-01T17:02");
    }
}
