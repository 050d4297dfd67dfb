//! What may be done with a batch, and why, in words.
//!
//! **Invariant:** without a temper test nothing is ever `in-temper`: temperature alone does not prove temper.

use model::{Event, EventKind, FindingKind, Grade, Standing, Timestamp};
use serde::{Deserialize, Serialize};

use crate::findings::Tests;

/// What has happened to a batch that bears on its standing.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Proof {
    pub(crate) last_test: Option<Event>,
    passed_at: Option<Timestamp>,
    topped_up_at: Option<Timestamp>,
    disturbed: Option<(Timestamp, String)>,
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
            EventKind::TemperTest(_)
            | EventKind::Charge { .. }
            | EventKind::Seed { .. }
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
    }

    fn disturb(&mut self, at: Timestamp, what: &str) {
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
}
