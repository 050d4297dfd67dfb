//! What can be asked, and the SQL for it.
//!
//! Every list is newest first and at most `limit` long. The next page begins behind the [`Mark`] of the last record, so
//! that a page costs the same however far down it lies, and nothing is shown twice when something new comes in.

use model::{BatchId, FindingKind, MachineId, Timestamp};
use rusqlite::types::Value;

/// A place in a list: the time that the list is sorted by, and the id of the record there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mark {
    /// A batch's start, a finding's `raised_at`.
    pub at: Timestamp,
    /// The record's id.
    pub id: String,
}

/// Does it still go on?
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Life {
    /// Whether it does or not.
    #[default]
    Either,
    /// It goes on.
    Open,
    /// It is over.
    Closed,
}

/// Which batches.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BatchQuery {
    /// Of this machine.
    pub machine: Option<MachineId>,
    /// Not over before this moment.
    pub from: Option<Timestamp>,
    /// Begun before this moment.
    pub to: Option<Timestamp>,
    /// Open, closed, or either.
    pub life: Life,
    /// Behind this one in the list.
    pub behind: Option<Mark>,
    /// At most so many.
    pub limit: usize,
}

/// Which findings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FindingQuery {
    /// Of this machine.
    pub machine: Option<MachineId>,
    /// Of this batch.
    pub batch: Option<BatchId>,
    /// Of this kind.
    pub kind: Option<FindingKind>,
    /// Not over before this moment.
    pub from: Option<Timestamp>,
    /// Raised before this moment.
    pub to: Option<Timestamp>,
    /// Open, closed, or either.
    pub life: Life,
    /// Behind this one in the list.
    pub behind: Option<Mark>,
    /// At most so many.
    pub limit: usize,
}

/// Which events.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EventQuery {
    /// Of this machine.
    pub machine: Option<MachineId>,
    /// At this moment or later.
    pub from: Option<Timestamp>,
    /// Before this moment.
    pub to: Option<Timestamp>,
    /// At most so many.
    pub limit: usize,
}

/// A page that a person can take in; a caller that wants more says so.
const USUAL_LIMIT: usize = 200;

impl Default for BatchQuery {
    fn default() -> BatchQuery {
        let (machine, from, to, life, behind) = (None, None, None, Life::Either, None);
        BatchQuery { machine, from, to, life, behind, limit: USUAL_LIMIT }
    }
}

impl Default for FindingQuery {
    fn default() -> FindingQuery {
        let (machine, batch, kind, from, to) = (None, None, None, None, None);
        FindingQuery { machine, batch, kind, from, to, life: Life::Either, behind: None, limit: USUAL_LIMIT }
    }
}

impl Default for EventQuery {
    fn default() -> EventQuery {
        EventQuery { machine: None, from: None, to: None, limit: USUAL_LIMIT }
    }
}

/// A statement with the values of its `?`.
pub(crate) struct Sql {
    pub(crate) text: String,
    pub(crate) values: Vec<Value>,
}

impl Sql {
    fn select(what: &str) -> Sql {
        Sql { text: format!("SELECT {what} WHERE true"), values: Vec::new() }
    }

    fn only(mut self, condition: &str, value: Option<impl Into<Value>>) -> Sql {
        if let Some(value) = value {
            self.text += " AND ";
            self.text += condition;
            self.values.push(value.into());
        }
        self
    }

    fn alive(mut self, ended: &str, life: Life) -> Sql {
        self.text += &match life {
            Life::Either => String::new(),
            Life::Open => format!(" AND {ended} IS NULL"),
            Life::Closed => format!(" AND {ended} IS NOT NULL"),
        };
        self
    }

    fn behind(mut self, sorted_by: &str, mark: Option<&Mark>) -> Sql {
        if let Some(mark) = mark {
            self.text += &format!(" AND ({sorted_by}, id) < (?, ?)");
            self.values.extend([mark.at.as_millis().into(), mark.id.clone().into()]);
        }
        self
    }

    fn newest_first(mut self, sorted_by: &str, limit: usize) -> Sql {
        self.text += &format!(" ORDER BY {sorted_by} LIMIT ?");
        self.values.push(i64::try_from(limit).unwrap_or(i64::MAX).into());
        self
    }
}

fn id(machine: Option<&MachineId>) -> Option<String> {
    machine.map(|machine| machine.as_str().to_owned())
}

fn millis(at: Option<Timestamp>) -> Option<i64> {
    at.map(Timestamp::as_millis)
}

impl BatchQuery {
    pub(crate) fn sql(&self) -> Sql {
        Sql::select("id, format, json FROM batches_as_corrected")
            .only("machine = ?", id(self.machine.as_ref()))
            .only("coalesce(end_at, 9223372036854775807) >= ?", millis(self.from))
            .only("start_at < ?", millis(self.to))
            .alive("end_at", self.life)
            .behind("start_at", self.behind.as_ref())
            .newest_first("start_at DESC, id DESC", self.limit)
    }
}

impl FindingQuery {
    pub(crate) fn sql(&self) -> Sql {
        Sql::select("id, format, json FROM findings")
            .only("machine = ?", id(self.machine.as_ref()))
            .only("batch = ?", self.batch.as_ref().map(|batch| batch.as_str().to_owned()))
            .only("kind = ?", self.kind.map(|kind| kind.as_str().to_owned()))
            .only("coalesce(to_at, 9223372036854775807) >= ?", millis(self.from))
            .only("raised_at < ?", millis(self.to))
            .alive("to_at", self.life)
            .behind("raised_at", self.behind.as_ref())
            .newest_first("raised_at DESC, id DESC", self.limit)
    }
}

impl EventQuery {
    pub(crate) fn sql(&self) -> Sql {
        Sql::select("machine || ' ' || kind, format, json FROM events")
            .only("machine = ?", id(self.machine.as_ref()))
            .only("at >= ?", millis(self.from))
            .only("at < ?", millis(self.to))
            .newest_first("at DESC, rowid DESC", self.limit)
    }
}
