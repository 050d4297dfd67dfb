//! The name by which somebody signs in.

use std::fmt;
use std::str::FromStr;
use std::sync::Arc;

/// Fits a column and a sentence.
const LONGEST: usize = 32;

/// Names that the audit trail gives to others than users.
const TAKEN: [&str; 3] = ["loopback", "broker", "nobody"];

/// A user's name: `ana`, `rui-2`. Lower-case letters, digits, `-`, `_` and `.`, and a letter first, so that no two names look alike and none
/// needs quoting.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct UserName(Arc<str>);

/// Why a text cannot be a user's name.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotAName {
    /// It does not look like one.
    #[error(
        "a user's name has 1 to {LONGEST} lower-case letters a–z, digits, `-`, `_` or `.`, and begins with a letter"
    )]
    Shape,
    /// The audit trail calls somebody else so.
    #[error("nobody can be called `{0}`: the audit trail means something else by it")]
    Taken(String),
}

impl UserName {
    /// The name as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for UserName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

impl FromStr for UserName {
    type Err = NotAName;

    fn from_str(text: &str) -> Result<UserName, NotAName> {
        let fits = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || matches!(c, '-' | '_' | '.');
        let begins_well = text.starts_with(|c: char| c.is_ascii_lowercase());
        if !begins_well || LONGEST < text.len() || !text.chars().all(fits) {
            return Err(NotAName::Shape);
        }
        if TAKEN.contains(&text) {
            return Err(NotAName::Taken(text.to_owned()));
        }
        Ok(UserName(text.into()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_plain_and_means_one_person() {
        for good in ["ana", "rui-2", "j.s_1"] {
            assert_eq!(good.parse::<UserName>().unwrap().as_str(), good);
        }
        for bad in ["", "Ana", "2nd", "ana maria", "ána", "a/b", &"a".repeat(33)] {
            assert_eq!(bad.parse::<UserName>(), Err(NotAName::Shape), "{bad}");
        }
        assert_eq!("loopback".parse::<UserName>(), Err(NotAName::Taken("loopback".to_owned())));
    }
}
