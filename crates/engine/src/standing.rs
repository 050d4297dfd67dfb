//! What may be done with a batch, and why, in words.
//!
//! **Invariant:** without a temper test nothing is ever `in-temper`: temperature alone does not prove temper.

use model::{Event, EventKind, FindingKind, Grade, Span, Standing, TestDue, Timestamp};
use serde::{Deserialize, Serialize};

use crate::findings::Tests;

/// The first test is due so long after the charge is ready by its temperature, as for `test-due` (contract, section 6).
const FIRST_AFTER: Span = Span::from_mins(15);
/// What did not pass is put right, stirred and tested again (domain brief 5.2).
const AGAIN_AFTER: Span = Span::from_mins(5);

/// What has happened to a batch that bears on its standing.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Proof {
    pub(crate) last_test: Option<Event>,
    passed_at: Option<Timestamp>,
    topped_up_at: Option<Timestamp>,
    disturbed: Option<(Timestamp, String)>,
    /// The newest thing after which a test is due, whether or not it makes a passed test doubtful (domain brief 5.3).
    changed: Option<(Timestamp, String)>,
}

impl Proof {
    pub(crate) fn event(&mut self, event: &Event) {
        match &event.kind {
            EventKind::TemperTest(test) if test.worst() == Grade::Good => {
                self.passed_at = self.passed_at.max(Some(event.at));
            }
            EventKind::TopUp { .. } => self.topped_up_at = self.topped_up_at.max(Some(event.at)),
            EventKind::TemperTest(_)
            | EventKind::Charge { .. }
            | EventKind::Seed { .. }
            | EventKind::Reference { .. }
            | EventKind::Note { .. }
            | EventKind::End => {}
        }
        match &event.kind {
            EventKind::TemperTest(_) if self.last_test.as_ref().is_none_or(|last| last.at <= event.at) => {
                self.last_test = Some(event.clone());
            }
            EventKind::TopUp { .. } => self.disturb(event.at, "a top-up"),
            EventKind::Seed { .. } => self.change(event.at, "seed"),
            EventKind::TemperTest(_)
            | EventKind::Charge { .. }
            | EventKind::Reference { .. }
            | EventKind::Note { .. }
            | EventKind::End => {}
        }
    }

    pub(crate) fn finding(&mut self, kind: FindingKind, raised_at: Timestamp) {
        if matches!(
            kind,
            FindingKind::TemperLoss
                | FindingKind::ColdHold
                | FindingKind::Scorch
                | FindingKind::Solidifying
                | FindingKind::HeaterStuck
        ) {
            self.disturb(raised_at, kind.as_str());
        }
        if matches!(kind, FindingKind::WarmHold | FindingKind::StirrerStopped | FindingKind::Undershoot) {
            self.change(raised_at, kind.as_str());
        }
    }

    fn change(&mut self, at: Timestamp, what: &str) {
        if self.changed.as_ref().is_none_or(|(before, _)| *before <= at) {
            self.changed = Some((at, what.to_owned()));
        }
    }

    fn disturb(&mut self, at: Timestamp, what: &str) {
        self.change(at, what);
        if self.disturbed.as_ref().is_none_or(|(before, _)| *before <= at) {
            self.disturbed = Some((at, what.to_owned()));
        }
    }

    /// When tests were made and passed, for detectors.
    pub(crate) fn tests(&self) -> Tests {
        Tests { made_at: self.last_test.as_ref().map(|test| test.at), passed_at: self.passed_at }
    }

    pub(crate) fn topped_up_at(&self) -> Option<Timestamp> {
        self.topped_up_at
    }

    /// When the next test is due: the charge is ready since `ready_since`, its set-point was changed at `asked_otherwise_at`, and a passed
    /// test speaks for `every`.
    pub(crate) fn test_due(
        &self,
        ready_since: Timestamp,
        asked_otherwise_at: Option<Timestamp>,
        every: Span,
    ) -> TestDue {
        let due = |at: Timestamp, why: &str| TestDue { at, why: why.to_owned() };
        let Some(Event { at, kind: EventKind::TemperTest(test), .. }) = &self.last_test else {
            return due(ready_since + FIRST_AFTER, "it is ready by its temperature and has not been tested");
        };
        let since_test = |changed: &Timestamp| at < changed;
        let changed = self.changed.as_ref().filter(|(changed, _)| since_test(changed));
        let asked = asked_otherwise_at
            .filter(since_test)
            .filter(|asked| changed.is_none_or(|(other, _)| other < asked));
        match (test.worst(), asked, changed) {
            (Grade::Poor | Grade::Fair, _, _) => due(*at + AGAIN_AFTER, "the last test did not pass"),
            (Grade::Good, Some(asked), _) => {
                due(asked, "the set-point was changed since the last temper test")
            }
            (Grade::Good, None, Some((changed, what))) => {
                due(*changed, &format!("{what} since the last temper test"))
            }
            (Grade::Good, None, None) => due(*at + every, "the last one will be too old"),
        }
    }

    /// The standing and its reasons.
    pub(crate) fn standing(&self) -> (Standing, Vec<String>) {
        let Some(Event { at, kind: EventKind::TemperTest(test), .. }) = &self.last_test else {
            return (Standing::Unproven, vec!["no temper test".to_owned()]);
        };
        let since = self.disturbed.as_ref().filter(|(disturbed, _)| disturbed > at);
        match (test.worst(), since) {
            (Grade::Poor, _) => (Standing::OffTemper, vec!["the last temper test failed".to_owned()]),
            (Grade::Fair, _) => (Standing::Doubtful, vec!["the last temper test was only fair".to_owned()]),
            (Grade::Good, Some((_, what))) => {
                (Standing::Doubtful, vec![format!("{what} since the last temper test")])
            }
            (Grade::Good, None) => (Standing::InTemper, vec!["the last temper test passed".to_owned()]),
        }
    }
}

#[cfg(test)]
mod tests {
    use model::TemperTest;

    use super::*;

    fn event(minute: i64, kind: EventKind) -> Event {
        let at = Timestamp::from_millis(minute * 60_000);
        Event { machine: "alder".parse().unwrap(), at, by: None, kind, raw: "{}".to_owned() }
    }

    fn test(minute: i64, snap: Grade) -> Event {
        let test = TemperTest { gloss: Grade::Good, contraction: Grade::Good, snap, minutes: None };
        event(minute, EventKind::TemperTest(test))
    }

    #[test]
    fn only_a_passed_test_with_nothing_since_is_in_temper() {
        let mut proof = Proof::default();
        assert_eq!(proof.standing().0, Standing::Unproven);
        proof.event(&test(10, Grade::Good));
        assert_eq!(proof.standing().0, Standing::InTemper);
        proof.event(&event(20, EventKind::TopUp { mass_kg: None, temperature: None, lot: None }));
        assert_eq!(
            proof.standing(),
            (Standing::Doubtful, vec!["a top-up since the last temper test".to_owned()])
        );
        proof.event(&test(30, Grade::Fair));
        assert_eq!(proof.standing().0, Standing::Doubtful);
        proof.event(&test(40, Grade::Poor));
        assert_eq!(proof.standing().0, Standing::OffTemper);
        proof.event(&test(35, Grade::Good));
        assert_eq!(
            proof.standing().0,
            Standing::OffTemper,
            "a test reported late does not outdo a newer one"
        );
    }

    #[test]
    fn a_test_is_due_after_a_while_and_after_whatever_changes_the_charge() {
        let minute = |minute: i64| Timestamp::from_millis(minute * 60_000);
        let due = |proof: &Proof, asked: Option<i64>| {
            let due = proof.test_due(minute(5), asked.map(minute), Span::from_mins(60));
            (due.at.as_millis() / 60_000, due.why)
        };
        let mut proof = Proof::default();
        assert_eq!(due(&proof, None).0, 20);
        proof.event(&test(25, Grade::Good));
        assert_eq!(due(&proof, Some(10)), (85, "the last one will be too old".to_owned()));
        assert_eq!(due(&proof, Some(30)).0, 30, "a set-point that was changed since asks for one");
        let seed = EventKind::Seed { mass_kg: None, temperature: None, lot: None };
        proof.event(&event(40, seed));
        assert_eq!(due(&proof, Some(30)), (40, "seed since the last temper test".to_owned()));
        assert_eq!(proof.standing().0, Standing::InTemper, "seed asks for a test and undoes none");
        proof.finding(FindingKind::StirrerStopped, minute(50));
        assert_eq!(due(&proof, None), (50, "stirrer-stopped since the last temper test".to_owned()));
        proof.event(&test(60, Grade::Fair));
        assert_eq!(due(&proof, None), (65, "the last test did not pass".to_owned()));
    }
}
