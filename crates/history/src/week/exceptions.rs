//! Which batches somebody has to look at, the riskiest first.
//!
//! Sold without a test or after a failed one comes before what was found, and what was found before what is not known.

use model::{Batch, FindingKind, Phase, Priority, Timestamp};

use super::{Outcome, View};
use crate::stands::stood_over;

/// More of working unknown than this is an exception, minutes (start value).
const UNKNOWN_MIN: f64 = 10.0;

/// More area above the temper-loss limit than this is an exception, °C·min (that of the finding `temper-loss`).
const ABOVE_LOSS_C_MIN: f64 = 1.0;

/// Why a batch has to be looked at.
#[derive(Debug, Clone, PartialEq)]
pub enum Reason {
    /// The last test failed, and it was worked with.
    FailedTest {
        /// When.
        at: Timestamp,
    },
    /// Worked with, and no test was reported.
    NoTest,
    /// Above the temper-loss limit, °C·min.
    AboveLoss(f64),
    /// A finding that asked for somebody at once or soon.
    Found(FindingKind, Priority),
    /// A finding over batches that an earlier batch had raised stood while this one ran.
    Stood {
        /// Which.
        kind: FindingKind,
        /// Since when.
        since: Timestamp,
    },
    /// Minutes of settling and working of which nothing is known.
    Unknown(f64),
    /// A test failed, and a later one passed.
    Recovered {
        /// When it failed.
        at: Timestamp,
    },
}

/// A batch that somebody has to look at.
#[derive(Debug, Clone, PartialEq)]
pub struct Exception {
    /// Which.
    pub batch: Batch,
    /// Why, the weightiest first.
    pub reasons: Vec<Reason>,
    /// The sum of its reasons; only the order counts.
    pub risk: u32,
}

pub(super) fn exceptions(view: &View<'_>) -> Vec<Exception> {
    let mut found: Vec<Exception> = view.week.iter().filter_map(|batch| exception(view, batch)).collect();
    found.sort_by(|a, b| b.risk.cmp(&a.risk).then(super::anchor(&a.batch).cmp(&super::anchor(&b.batch))));
    found
}

fn exception(view: &View<'_>, batch: &Batch) -> Option<Exception> {
    let mut reasons = about_tests(view, batch);
    let above = batch.measures.above_loss_c_min.filter(|area| ABOVE_LOSS_C_MIN <= *area);
    reasons.extend(above.map(Reason::AboveLoss));
    let mut kinds: Vec<(Priority, FindingKind)> = view
        .findings_of(batch)
        .filter(|finding| Priority::Medium <= finding.priority)
        .map(|finding| (finding.priority, finding.kind))
        .collect();
    kinds.sort();
    kinds.dedup();
    reasons.extend(kinds.into_iter().rev().map(|(priority, kind)| Reason::Found(kind, priority)));
    let stood = view.findings.iter().filter(|finding| stood_over(finding, batch, view.known_to));
    reasons.extend(stood.map(|finding| Reason::Stood { kind: finding.kind, since: finding.from }));
    let unknown = batch.measures.unknown_minutes.filter(|minutes| UNKNOWN_MIN < *minutes);
    reasons.extend(unknown.map(Reason::Unknown));
    reasons.sort_by_key(|reason| std::cmp::Reverse(risk(reason)));
    let risk = reasons.iter().map(risk).sum();
    (!reasons.is_empty()).then(|| Exception { batch: batch.clone(), reasons, risk })
}

fn about_tests(view: &View<'_>, batch: &Batch) -> Vec<Reason> {
    if batch.first(Phase::Working).is_none() {
        return Vec::new();
    }
    match view.tests.outcome(batch) {
        Outcome::Untested => vec![Reason::NoTest],
        Outcome::Failed { at } => vec![Reason::FailedTest { at }],
        Outcome::Recovered { failed_at } => vec![Reason::Recovered { at: failed_at }],
        Outcome::Passed => Vec::new(),
    }
}

/// The order of risk; the numbers are ours and mean nothing by themselves.
fn risk(reason: &Reason) -> u32 {
    match reason {
        Reason::FailedTest { .. } => 100,
        Reason::NoTest => 60,
        Reason::Found(_, Priority::High) => 30,
        Reason::AboveLoss(_) => 25,
        Reason::Found(_, Priority::Medium | Priority::Low) | Reason::Stood { .. } => 12,
        Reason::Unknown(_) => 10,
        Reason::Recovered { .. } => 8,
    }
}
