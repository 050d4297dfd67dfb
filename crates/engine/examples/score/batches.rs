//! Batches: each true one and the found one that begins nearest to it.
//!
//! A true batch is asked for if it began while somebody listened. Its end counts where both have one.

use model::{Batch, Span, Timestamp};
use simulator::TrueBatch;

use crate::play::Played;

/// Two batches whose starts are further apart are not the same.
const SAME_BATCH: Span = Span::from_mins(120);

/// A true batch, and the one that was found for it.
pub(crate) struct Pair<'a> {
    pub(crate) truth: &'a TrueBatch,
    pub(crate) found: Option<&'a Batch>,
    /// The truth began before the watch; its start says nothing.
    pub(crate) start_unseen: bool,
}

pub(crate) fn pairs<'a>(played: &'a Played, truth: &'a [TrueBatch], found: &'a [Batch]) -> Vec<Pair<'a>> {
    let heard_from = played.heard_from();
    truth
        .iter()
        .filter(|t| t.end.is_none_or(|end| end > heard_from))
        .map(|t| {
            let start_unseen = t.start <= heard_from.max(played.case.settings.start + Span::from_secs(60));
            let near = |b: &&Batch| {
                apart(b.start, t.start) <= SAME_BATCH || (start_unseen && b.start <= heard_from + SAME_BATCH)
            };
            let found = found.iter().filter(near).min_by_key(|b| apart(b.start, t.start));
            Pair { truth: t, found, start_unseen }
        })
        .collect()
}

/// Batches that nothing true stands behind.
pub(crate) fn extra<'a>(pairs: &[Pair<'_>], found: &'a [Batch]) -> Vec<&'a Batch> {
    let taken = |b: &&Batch| pairs.iter().any(|p| p.found.is_some_and(|f| f.id == b.id));
    found.iter().filter(|b| !taken(b)).collect()
}

pub(crate) fn apart(a: Timestamp, b: Timestamp) -> Span {
    Span::from_millis((a - b).as_millis().abs())
}
