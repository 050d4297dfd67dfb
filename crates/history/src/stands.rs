//! Findings over batches: raised by one batch, they tell of the machine and stand until somebody mends it. They belong to every batch
//! that ran while they stood, and to every day and week that has one.

use model::{Batch, Finding, FindingKind, Timestamp};

/// Does a finding of this kind outlive the batch that it was raised in?
pub(crate) fn is_over_batches(kind: FindingKind) -> bool {
    match kind {
        FindingKind::ProbeDrift | FindingKind::CoolingFade => true,
        FindingKind::Scorch
        | FindingKind::TemperLoss
        | FindingKind::WarmHold
        | FindingKind::ColdHold
        | FindingKind::SlowCooling
        | FindingKind::Undershoot
        | FindingKind::SeedMissed
        | FindingKind::HoldDrift
        | FindingKind::Hunting
        | FindingKind::Thickening
        | FindingKind::LongHold
        | FindingKind::Solidifying
        | FindingKind::StirrerStopped
        | FindingKind::HeaterStuck
        | FindingKind::ProbeStuck
        | FindingKind::ProbeFault
        | FindingKind::Spikes
        | FindingKind::Silent
        | FindingKind::ClockOff
        | FindingKind::HotRoom
        | FindingKind::DampRoom
        | FindingKind::TestDue
        | FindingKind::CommonCause => false,
    }
}

/// Was the finding open at some time from `from` on and before `to`?
pub(crate) fn was_open(finding: &Finding, from: Timestamp, to: Timestamp) -> bool {
    finding.from < to && finding.to.is_none_or(|over| from < over)
}

/// Did an earlier batch raise a finding over batches that stood while this one ran? `known_to` ends a batch that goes on.
pub(crate) fn stood_over(finding: &Finding, batch: &Batch, known_to: Timestamp) -> bool {
    is_over_batches(finding.kind)
        && finding.superseded_by.is_none()
        && finding.machine.as_ref() == Some(&batch.machine)
        && finding.batch.as_ref() != Some(&batch.id)
        && was_open(finding, batch.start, batch.end.unwrap_or(known_to))
}
