//! The findings of one machine: what is open, and what has changed since somebody last asked.
//!
//! One cause, one finding: a worse one takes over the open one, which is closed and says by whom (contract, section 6).

use model::{BatchId, Finding, FindingId, FindingKind, MachineId, Timestamp};
use serde::{Deserialize, Serialize};

use super::Verdict;
use crate::bounded::remember;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Ledger {
    machine: MachineId,
    open: Vec<Finding>,
    /// The newest of those that are over.
    over: Vec<Finding>,
    changed: Vec<Finding>,
    /// When the batch before ended, while detectors are told that it has.
    ended: Option<Timestamp>,
}

/// So many are over between a batch's beginning and the moment at which that is known.
const MOST_OVER: usize = 8;

/// What `worse` takes over.
fn taken_over_by(worse: FindingKind) -> &'static [FindingKind] {
    match worse {
        FindingKind::TemperLoss => &[FindingKind::WarmHold],
        FindingKind::Solidifying => &[FindingKind::ColdHold, FindingKind::Undershoot],
        FindingKind::HeaterStuck => &[FindingKind::WarmHold, FindingKind::TemperLoss],
        FindingKind::Scorch
        | FindingKind::WarmHold
        | FindingKind::ColdHold
        | FindingKind::SlowCooling
        | FindingKind::Undershoot
        | FindingKind::SeedMissed
        | FindingKind::HoldDrift
        | FindingKind::Hunting
        | FindingKind::Thickening
        | FindingKind::LongHold
        | FindingKind::StirrerStopped
        | FindingKind::ProbeStuck
        | FindingKind::ProbeFault
        | FindingKind::Spikes
        | FindingKind::Silent
        | FindingKind::ClockOff
        | FindingKind::HotRoom
        | FindingKind::DampRoom
        | FindingKind::TestDue
        | FindingKind::ProbeDrift
        | FindingKind::CoolingFade
        | FindingKind::CommonCause => &[],
    }
}

impl Ledger {
    pub(crate) fn new(machine: MachineId) -> Ledger {
        Ledger { machine, open: Vec::new(), over: Vec::new(), changed: Vec::new(), ended: None }
    }

    /// Writes down what a detector said.
    pub(crate) fn enter(&mut self, kind: FindingKind, verdict: Verdict, batch: Option<&BatchId>) {
        match verdict {
            Verdict::Quiet => {}
            // What is open speaks for this one too.
            Verdict::Raise(_) if self.is_covered(kind) => {}
            Verdict::Raise(report) => {
                let id = FindingId::new(self.machine.as_str(), kind.as_str(), report.raised_at);
                for &taken_over in taken_over_by(kind) {
                    self.close(taken_over, report.raised_at, Some(id.clone()));
                }
                let finding = Finding {
                    id,
                    machine: Some(self.machine.clone()),
                    batch: batch.cloned(),
                    kind,
                    priority: report.priority,
                    from: report.from,
                    to: None,
                    raised_at: report.raised_at,
                    says: report.says,
                    evidence: report.evidence,
                    advice: report.advice.to_owned(),
                    superseded_by: None,
                };
                self.changed.push(finding.clone());
                self.open.push(finding);
            }
            Verdict::Worse { priority, says } => {
                if let Some(finding) = self.open.iter_mut().find(|finding| finding.kind == kind) {
                    (finding.priority, finding.says) = (priority, says);
                    self.changed.push(finding.clone());
                }
            }
            Verdict::Over(at) => self.close(kind, at, None),
        }
    }

    /// What was over only with its batch was so at `at` already, as is told only now.
    pub(crate) fn was_over_at(&mut self, kind: FindingKind, at: Timestamp) {
        let lasted = |finding: &&mut Finding| {
            finding.kind == kind
                && finding.from <= at
                && finding.to.is_some_and(|to| at.max(finding.raised_at) < to)
        };
        for finding in self.over.iter_mut().filter(lasted) {
            finding.to = Some(at.max(finding.raised_at));
            self.changed.push(finding.clone());
        }
    }

    /// What is seen in the readings of a batch is over at `at`: nobody looks at what it was seen in any more.
    pub(crate) fn close_watched(&mut self, at: Timestamp) {
        let is_watched = |kind: &FindingKind| {
            !kind.outlives_batch() && !matches!(kind, FindingKind::Silent | FindingKind::ClockOff)
        };
        let kinds: Vec<FindingKind> =
            self.open.iter().map(|finding| finding.kind).filter(is_watched).collect();
        kinds.into_iter().for_each(|kind| self.close(kind, at, None));
    }

    fn close(&mut self, kind: FindingKind, at: Timestamp, superseded_by: Option<FindingId>) {
        if let Some(place) = self.open.iter().position(|finding| finding.kind == kind) {
            let mut finding = self.open.remove(place);
            let ended = self.ended.filter(|ended| finding.raised_at < *ended);
            finding.to = Some(ended.map_or(at, |ended| at.min(ended)).max(finding.raised_at));
            finding.superseded_by = superseded_by;
            remember(&mut self.over, finding.clone(), MOST_OVER);
            self.changed.push(finding);
        }
    }

    /// The batch `id` began at `at`, as is known only now: what has been raised since then is its, and what is over with the batch before was
    /// so then. Until [`Ledger::has_turned`].
    pub(crate) fn hand_over(&mut self, at: Timestamp, id: Option<&BatchId>) {
        self.ended = Some(at);
        for finding in self.over.iter_mut().chain(&mut self.open) {
            if at <= finding.raised_at && finding.batch.as_ref() != id {
                finding.batch = id.cloned();
                self.changed.push(finding.clone());
            }
        }
    }

    /// All detectors know of the batch that has begun.
    pub(crate) fn has_turned(&mut self) {
        self.ended = None;
    }

    /// Is something open that takes over this kind?
    pub(crate) fn is_covered(&self, kind: FindingKind) -> bool {
        self.open.iter().any(|finding| taken_over_by(finding.kind).contains(&kind))
    }

    /// What is open, the most urgent first, the oldest first among equals.
    pub(crate) fn open(&self) -> Vec<Finding> {
        let mut open = self.open.clone();
        open.sort_by_key(|finding| (std::cmp::Reverse(finding.priority), finding.raised_at));
        open
    }

    /// Has anything changed since the last call of the function below?
    pub(crate) fn has_changed(&self) -> bool {
        !self.changed.is_empty()
    }

    /// What has changed since the last call, each change in order.
    pub(crate) fn take_changed(&mut self) -> Vec<Finding> {
        std::mem::take(&mut self.changed)
    }
}

#[cfg(test)]
mod tests {
    use model::Priority;

    use super::super::Report;
    use super::*;

    fn raise(kind: FindingKind, second: i64) -> Verdict {
        let at = Timestamp::from_millis(second * 1000);
        let (says, evidence, advice) = (String::new(), Vec::new(), "");
        Report { kind, priority: Priority::Medium, from: at, raised_at: at, says, evidence, advice }.raise()
    }

    fn open(ledger: &Ledger) -> Vec<&'static str> {
        ledger.open().iter().map(|finding| finding.kind.as_str()).collect()
    }

    #[test]
    fn a_stuck_heater_speaks_for_what_it_heats() {
        let mut ledger = Ledger::new("alder".parse().unwrap());
        ledger.enter(FindingKind::WarmHold, raise(FindingKind::WarmHold, 0), None);
        ledger.enter(FindingKind::HeaterStuck, raise(FindingKind::HeaterStuck, 10), None);
        ledger.enter(FindingKind::TemperLoss, raise(FindingKind::TemperLoss, 20), None);
        ledger.enter(FindingKind::Scorch, raise(FindingKind::Scorch, 30), None);
        assert_eq!(open(&ledger), ["heater-stuck", "scorch"]);
        let warm =
            ledger.take_changed().into_iter().rfind(|finding| finding.kind == FindingKind::WarmHold).unwrap();
        assert!(warm.superseded_by.is_some_and(|id| id.as_str().starts_with("alder-heater-stuck")));
        ledger.enter(FindingKind::HeaterStuck, Verdict::Over(Timestamp::from_millis(40_000)), None);
        ledger.enter(FindingKind::TemperLoss, raise(FindingKind::TemperLoss, 50), None);
        assert_eq!(open(&ledger), ["scorch", "temper-loss"]);
    }
}
