//! Which batches are worth being compared with. The watch learns its usual cooling from a few more: of those whose cooling was slow by the
//! plant file's figure alone it has to find out whether the figure is too short (`engine`, `baseline.rs`).

use model::{Batch, Finding, Phase, Standing};

/// Did the batch run as it should, as far as is known? It was cooled and worked, no test failed, and nothing was found
/// that changes its course. Prompts, rooms and clocks do not count.
pub fn is_good(batch: &Batch, findings: &[Finding]) -> bool {
    batch.standing != Standing::OffTemper && ran_as_usual(batch, findings)
}

/// Did the course run as it should, whatever its temper tests said? Where good batches are few, these say what is usual.
pub fn ran_as_usual(batch: &Batch, findings: &[Finding]) -> bool {
    let of_this = |finding: &&Finding| finding.batch.as_ref() == Some(&batch.id);
    batch.measures.cooling_minutes.is_some()
        && batch.first(Phase::Working).is_some()
        && !findings.iter().filter(of_this).any(|finding| finding.kind.spoils_course())
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::usual::tests::batch;
    use model::{FindingId, FindingKind, Priority};

    /// A finding of that kind from the start of the batch on.
    pub(crate) fn finding(batch: &Batch, kind: FindingKind) -> Finding {
        Finding {
            id: FindingId::new("alder", kind.as_str(), batch.start),
            machine: Some(batch.machine.clone()),
            batch: Some(batch.id.clone()),
            kind,
            priority: Priority::Low,
            from: batch.start,
            to: None,
            raised_at: batch.start,
            says: String::new(),
            evidence: Vec::new(),
            advice: String::new(),
            superseded_by: None,
        }
    }

    #[test]
    fn a_spoilt_course_is_not_compared_with() {
        let (monday, tuesday) = (batch(1, 70.0), batch(2, 71.0));
        assert!(is_good(&monday, &[]));
        assert!(is_good(&monday, &[finding(&monday, FindingKind::TestDue)]));
        assert!(!is_good(&monday, &[finding(&monday, FindingKind::SlowCooling)]));
        assert!(is_good(&monday, &[finding(&tuesday, FindingKind::SlowCooling)]), "it is another batch's");
        assert!(!is_good(&Batch { standing: Standing::OffTemper, ..monday.clone() }, &[]));
        assert!(!is_good(&Batch { phases: Vec::new(), ..monday }, &[]));
    }
}
