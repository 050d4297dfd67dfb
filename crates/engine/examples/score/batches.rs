//! Batches: each true one and the found one that shares most time with it.
//!
//! A true batch is asked for if it began while somebody listened. Its end counts where both have one.

use model::{Batch, Span};
use simulator::TrueBatch;

use crate::play::Played;

/// A true batch, and the one that was found for it.
pub(crate) struct Pair<'a> {
    pub(crate) truth: &'a TrueBatch,
    pub(crate) found: Option<&'a Batch>,
    /// The truth began before the watch; its start says nothing.
    pub(crate) start_unseen: bool,
}

pub(crate) fn pairs<'a>(played: &'a Played, truth: &'a [TrueBatch], found: &'a [Batch]) -> Vec<Pair<'a>> {
    let (heard_from, until) = (played.heard_from(), played.case.until());
    truth
        .iter()
        .filter(|t| t.end.is_none_or(|end| end > heard_from))
        .map(|t| {
            let start_unseen = t.start <= heard_from.max(played.case.settings.start + Span::from_secs(60));
            let shared = |b: &&Batch| {
                let to = t.end.unwrap_or(until).min(b.end.unwrap_or(until));
                to.since(t.start.max(b.start)).as_millis()
            };
            let least = (t.end.unwrap_or(until).since(t.start.max(heard_from)).as_millis() / 2).max(1);
            let found = found.iter().max_by_key(|b| shared(b)).filter(|b| shared(b) >= least);
            Pair { truth: t, found, start_unseen }
        })
        .collect()
}

/// Batches that nothing true stands behind.
pub(crate) fn extra<'a>(pairs: &[Pair<'_>], found: &'a [Batch]) -> Vec<&'a Batch> {
    let taken = |b: &&Batch| pairs.iter().any(|p| p.found.is_some_and(|f| f.id == b.id));
    found.iter().filter(|b| !taken(b)).collect()
}
