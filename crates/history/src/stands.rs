//! Findings over batches: raised by one batch, they tell of the machine and stand until somebody mends it. They belong to every batch
//! that ran while they stood, and to every day and week that has one.

use model::{Batch, Finding, Timestamp};

/// Was the finding open at some time from `from` on and before `to`?
pub(crate) fn was_open(finding: &Finding, from: Timestamp, to: Timestamp) -> bool {
    finding.from < to && finding.to.is_none_or(|over| from < over)
}

/// Did an earlier batch raise a finding over batches that stood while this one ran? `known_to` ends a batch that goes on.
pub(crate) fn stood_over(finding: &Finding, batch: &Batch, known_to: Timestamp) -> bool {
    finding.kind.outlives_batch()
        && finding.superseded_by.is_none()
        && finding.machine.as_ref() == Some(&batch.machine)
        && finding.batch.as_ref() != Some(&batch.id)
        && was_open(finding, batch.start, batch.end.unwrap_or(known_to))
}
