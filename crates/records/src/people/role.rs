//! Roles: what somebody is in the works.

use std::fmt;
use std::str::FromStr;

/// What somebody is in the works. Each may do what the ones before it may.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Role {
    /// Looks.
    Viewer,
    /// Works at the machines and reports what was done there.
    Worker,
    /// Knows the machines: corrects phases, orders baselines, opens actions.
    Engineer,
    /// Answers for what leaves the works: decides and signs.
    Quality,
}

/// Not one of the roles.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is not a role; the roles are viewer, worker, engineer and quality")]
pub struct UnknownRole(pub String);

impl Role {
    /// Every role.
    pub const ALL: [Role; 4] = [Role::Viewer, Role::Worker, Role::Engineer, Role::Quality];

    /// Its word.
    pub fn as_str(self) -> &'static str {
        match self {
            Role::Viewer => "viewer",
            Role::Worker => "worker",
            Role::Engineer => "engineer",
            Role::Quality => "quality",
        }
    }
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

impl FromStr for Role {
    type Err = UnknownRole;

    fn from_str(text: &str) -> Result<Role, UnknownRole> {
        Role::ALL.into_iter().find(|role| role.as_str() == text).ok_or_else(|| UnknownRole(text.to_owned()))
    }
}
