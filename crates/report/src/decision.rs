//! What people decided about a batch, and what a failed test or a wrong probe puts in question, as other programs see it.

use history::{Concerned, Doubt};
use model::Decision;
use serde::Serialize;

/// A decision.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DecisionDto {
    /// `release`, `hold`, `re-temper` or `reject`.
    pub decision: &'static str,
    /// Why.
    pub reason: String,
    /// By whom.
    pub by: String,
    /// In which role.
    pub role: String,
    /// When.
    pub at: String,
}

/// A time span of product that a failed test puts in question.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ConcernedDto {
    /// The last good test, or where working began.
    pub from: String,
    /// The next good test, or the end of the batch; `null` while it goes on.
    pub to: Option<String>,
    /// The first test that failed.
    pub failed_at: String,
    /// The good test before it; `null` where there was none.
    pub last_good_at: Option<String>,
}

/// A time in which a probe's readings are in doubt.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DoubtDto {
    /// Of which probe.
    pub channel: &'static str,
    /// The last check that left it right; `null` where there was none.
    pub since: Option<String>,
    /// The next check that left it right; `null` until there is one.
    pub until: Option<String>,
    /// The check that it failed.
    pub failed_at: String,
    /// How much too high it showed.
    pub error_c: f64,
}

impl From<&Decision> for DecisionDto {
    fn from(decision: &Decision) -> DecisionDto {
        DecisionDto {
            decision: decision.verdict.as_str(),
            reason: decision.reason.clone(),
            by: decision.by.clone(),
            role: decision.role.clone(),
            at: decision.at.to_string(),
        }
    }
}

impl From<&Concerned> for ConcernedDto {
    fn from(span: &Concerned) -> ConcernedDto {
        ConcernedDto {
            from: span.from.to_string(),
            to: span.to.map(|to| to.to_string()),
            failed_at: span.failed_at.to_string(),
            last_good_at: span.last_good_at.map(|at| at.to_string()),
        }
    }
}

impl From<&Doubt> for DoubtDto {
    fn from(doubt: &Doubt) -> DoubtDto {
        DoubtDto {
            channel: doubt.channel.as_str(),
            since: doubt.since.map(|since| since.to_string()),
            until: doubt.until.map(|until| until.to_string()),
            failed_at: doubt.failed_at.to_string(),
            error_c: (doubt.error_c * 1e3).round() / 1e3,
        }
    }
}
