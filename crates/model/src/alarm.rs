//! What people say about alarms: that they have seen one, and that one is set aside for a while. The words are those of
//! ISA-18.2 and IEC 62682.

use serde::{Deserialize, Serialize};

use crate::{Finding, FindingId, FindingKind, MachineId, Priority, Timestamp};

/// Somebody has seen an alarm. It does not end it, nor does it say that anything was done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Acknowledgement {
    /// The finding that it was made from.
    pub finding: FindingId,
    /// Its priority when it was seen: one that has become more urgent since has to be seen again.
    pub priority: Priority,
    /// Who has seen it.
    pub by: String,
    /// When.
    pub at: Timestamp,
}

/// How an alarm is set aside.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Aside {
    /// For some minutes, by whoever works there.
    Shelved,
    /// For some days, because the machine or its instrument is being worked on.
    OutOfService,
}

impl Aside {
    /// The word of the standard.
    pub fn as_str(self) -> &'static str {
        match self {
            Aside::Shelved => "shelved",
            Aside::OutOfService => "out-of-service",
        }
    }
}

/// Alarms that do not ring for a while, and why.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SetAside {
    /// Its number, given by the records.
    pub number: u64,
    /// In which way.
    pub way: Aside,
    /// Of this machine; `None` for those of the plant.
    pub machine: Option<MachineId>,
    /// Of this kind; `None` for all of the machine.
    pub kind: Option<FindingKind>,
    /// Why.
    pub reason: String,
    /// Who did it.
    pub by: String,
    /// From when.
    pub from: Timestamp,
    /// Until when, at the latest.
    pub until: Timestamp,
    /// When somebody took it back before that.
    pub ended: Option<Timestamp>,
    /// Who took it back.
    pub ended_by: Option<String>,
}

impl SetAside {
    /// The moment at which it is over.
    pub fn over_at(&self) -> Timestamp {
        self.ended.map_or(self.until, |ended| ended.min(self.until))
    }

    /// Does it hold at `now`?
    pub fn holds_at(&self, now: Timestamp) -> bool {
        self.from <= now && now < self.over_at()
    }

    /// Is it about such a finding?
    pub fn is_about(&self, finding: &Finding) -> bool {
        self.machine == finding.machine && self.kind.is_none_or(|kind| kind == finding.kind)
    }
}
