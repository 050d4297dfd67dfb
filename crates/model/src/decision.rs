//! What a person decided about a batch. The program computes how a batch stands; whether it goes out is decided by people.

use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::{BatchId, Timestamp};

/// What is to become of a batch, or of the part of it that is in question.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Verdict {
    /// It may go out.
    Release,
    /// It is kept apart until more is known.
    Hold,
    /// It is tempered anew.
    Retemper,
    /// It does not go out.
    Reject,
}

impl Verdict {
    /// Every verdict.
    pub const ALL: [Verdict; 4] = [Verdict::Release, Verdict::Hold, Verdict::Retemper, Verdict::Reject];

    /// As programs say it.
    pub fn as_str(self) -> &'static str {
        match self {
            Verdict::Release => "release",
            Verdict::Hold => "hold",
            Verdict::Retemper => "re-temper",
            Verdict::Reject => "reject",
        }
    }

    /// Is it for the person in charge of quality alone? Anybody may keep a batch apart or temper it anew.
    pub fn is_for_quality(self) -> bool {
        match self {
            Verdict::Release | Verdict::Reject => true,
            Verdict::Hold | Verdict::Retemper => false,
        }
    }
}

impl FromStr for Verdict {
    type Err = ();

    fn from_str(text: &str) -> Result<Verdict, ()> {
        Verdict::ALL.into_iter().find(|verdict| verdict.as_str() == text).ok_or(())
    }
}

/// A decision. A later one takes its place and leaves it on record.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Decision {
    /// About which batch.
    pub batch: BatchId,
    /// What was decided.
    pub verdict: Verdict,
    /// Why.
    pub reason: String,
    /// By whom.
    pub by: String,
    /// In which role.
    pub role: String,
    /// When.
    pub at: Timestamp,
}
