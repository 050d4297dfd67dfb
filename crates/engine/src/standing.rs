//! What may be done with a batch, and why, in words.
//!
//! **Invariant:** without a temper test nothing is ever `in-temper`: temperature alone does not prove temper.

use model::{
    Batch, Event, EventKind, Finding, FindingKind, Grade, Phase, PhaseSpan, Span, Standing, TemperTest,
    TestDue, Timestamp,
};
use serde::{Deserialize, Serialize};

use crate::findings::Tests;

/// A smear that is judged so long after the charge is gone was taken from it, unless another has been begun (common practice, no source).
pub(crate) const JUDGED_AFTER: Span = Span::from_mins(60);

/// The first test is due so long after the charge is ready by its temperature, as for `test-due` (contract, section 6).
const FIRST_AFTER: Span = Span::from_mins(15);
/// What did not pass is put right, stirred and tested again (domain brief 5.2).
const AGAIN_AFTER: Span = Span::from_mins(5);

/// Is it good throughout?
pub(crate) fn is_passed(test: &TemperTest) -> bool {
    test.worst() == Grade::Good
}

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
            EventKind::TemperTest(test) if is_passed(test) => {
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

    /// Of everything that was told and found.
    fn of<'a>(
        told: impl IntoIterator<Item = &'a Event>,
        found: impl IntoIterator<Item = (FindingKind, Timestamp)>,
    ) -> Proof {
        let mut proof = Proof::default();
        told.into_iter().for_each(|event| proof.event(event));
        found.into_iter().for_each(|(kind, raised_at)| proof.finding(kind, raised_at));
        proof
    }

    /// When tests were made and passed, for detectors.
    pub(crate) fn tests(&self) -> Tests {
        Tests { made_at: self.last_test.as_ref().map(|test| test.at), passed_at: self.passed_at }
    }

    pub(crate) fn topped_up_at(&self) -> Option<Timestamp> {
        self.topped_up_at
    }

    /// The newest test of the charge since it was melted: what was tempered before that is gone.
    fn test_since_melt(&self, phases: &[PhaseSpan]) -> Option<(Timestamp, Grade)> {
        let Some(Event { at, kind: EventKind::TemperTest(test), .. }) = &self.last_test else { return None };
        let soak = phases.iter().rfind(|span| span.phase == Phase::Soak);
        let melts = soak.is_some_and(|soak| soak.to.is_none_or(|to| *at < to));
        (!melts).then(|| (*at, test.worst()))
    }

    /// When the next test is due: the charge is ready since `ready_since`, its set-point was changed at `asked_otherwise_at`, and a passed
    /// test speaks for `every`.
    pub(crate) fn test_due(
        &self,
        phases: &[PhaseSpan],
        ready_since: Timestamp,
        asked_otherwise_at: Option<Timestamp>,
        every: Span,
    ) -> TestDue {
        let due = |at: Timestamp, why: &str| TestDue { at, why: why.to_owned() };
        let Some((at, worst)) = self.test_since_melt(phases) else {
            return due(ready_since + FIRST_AFTER, "it is ready by its temperature and has not been tested");
        };
        let since_test = |changed: &Timestamp| at < *changed;
        let changed = self.changed.as_ref().filter(|(changed, _)| since_test(changed));
        let asked = asked_otherwise_at
            .filter(since_test)
            .filter(|asked| changed.is_none_or(|(other, _)| other < asked));
        match (worst, asked, changed) {
            (Grade::Poor | Grade::Fair, _, _) => due(at + AGAIN_AFTER, "the last test did not pass"),
            (Grade::Good, Some(asked), _) => {
                due(asked, "the set-point was changed since the last temper test")
            }
            (Grade::Good, None, Some((changed, what))) => {
                due(*changed, &format!("{what} since the last temper test"))
            }
            (Grade::Good, None, None) => due(at + every, "the last one will be too old"),
        }
    }

    /// The standing of a charge that went through `phases`, and its reasons.
    pub(crate) fn standing(&self, phases: &[PhaseSpan]) -> (Standing, Vec<String>) {
        let Some((at, worst)) = self.test_since_melt(phases) else {
            let why = match self.last_test {
                None => "no temper test",
                Some(_) => "no temper test since it was melted",
            };
            return (Standing::Unproven, vec![why.to_owned()]);
        };
        let since = self.disturbed.as_ref().filter(|(disturbed, _)| *disturbed > at);
        match (worst, since) {
            (Grade::Poor, _) => (Standing::OffTemper, vec!["the last temper test failed".to_owned()]),
            (Grade::Fair, _) => (Standing::Doubtful, vec!["the last temper test was only fair".to_owned()]),
            (Grade::Good, Some((_, what))) => {
                (Standing::Doubtful, vec![format!("{what} since the last temper test")])
            }
            (Grade::Good, None) => (Standing::InTemper, vec!["the last temper test passed".to_owned()]),
        }
    }
}

/// The standing of `batch` by everything that is known of its machine: what people told, whenever they did, and what was found. `next`:
/// when the batch after it began.
pub fn standing_of(
    batch: &Batch,
    next: Option<Timestamp>,
    events: &[Event],
    findings: &[Finding],
) -> (Standing, Vec<String>) {
    let judged = batch.end.map(|end| end + JUDGED_AFTER);
    let until = [judged, next].into_iter().flatten().min();
    let of_it = |event: &&Event| {
        let told_in_time = match event.kind {
            EventKind::TemperTest(_) => until,
            EventKind::Charge { .. }
            | EventKind::Seed { .. }
            | EventKind::TopUp { .. }
            | EventKind::Reference { .. }
            | EventKind::Note { .. }
            | EventKind::End => batch.end,
        };
        batch.start <= event.at && told_in_time.is_none_or(|until| event.at < until)
    };
    let found = findings.iter().filter(|finding| finding.batch.as_ref() == Some(&batch.id));
    let found = found.map(|finding| (finding.kind, finding.raised_at));
    Proof::of(events.iter().filter(of_it), found).standing(&batch.phases)
}

#[cfg(test)]
mod tests {
    use model::{BatchId, Confidence, Measures, Method, TemperTest};

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
        assert_eq!(proof.standing(&[]).0, Standing::Unproven);
        proof.event(&test(10, Grade::Good));
        assert_eq!(proof.standing(&[]).0, Standing::InTemper);
        proof.event(&event(20, EventKind::TopUp { mass_kg: None, temperature: None, lot: None }));
        assert_eq!(
            proof.standing(&[]),
            (Standing::Doubtful, vec!["a top-up since the last temper test".to_owned()])
        );
        proof.event(&test(30, Grade::Fair));
        assert_eq!(proof.standing(&[]).0, Standing::Doubtful);
        proof.event(&test(40, Grade::Poor));
        assert_eq!(proof.standing(&[]).0, Standing::OffTemper);
        proof.event(&test(35, Grade::Good));
        assert_eq!(
            proof.standing(&[]).0,
            Standing::OffTemper,
            "a test reported late does not outdo a newer one"
        );
    }

    fn span(phase: Phase, from: i64, to: Option<i64>) -> PhaseSpan {
        let minute = |minute: i64| Timestamp::from_millis(minute * 60_000);
        PhaseSpan { phase, from: minute(from), to: to.map(minute), confidence: Confidence::Medium }
    }

    /// At 45 °C no crystal is left that a smear could show.
    #[test]
    fn a_test_of_what_was_melted_afterwards_proves_nothing() {
        let mut proof = Proof::default();
        proof.event(&test(10, Grade::Good));
        let melts = [span(Phase::Melting, 0, Some(5)), span(Phase::Soak, 5, None)];
        let untested = (Standing::Unproven, vec!["no temper test since it was melted".to_owned()]);
        assert_eq!(proof.standing(&melts), untested);
        let cools = [span(Phase::Soak, 5, Some(20)), span(Phase::Cooling, 20, None)];
        assert_eq!(proof.standing(&cools), untested);
        proof.event(&test(30, Grade::Good));
        assert_eq!(proof.standing(&cools).0, Standing::InTemper);
        let bowl = [span(Phase::Melting, 0, Some(40)), span(Phase::Working, 40, None)];
        assert_eq!(
            proof.standing(&bowl).0,
            Standing::InTemper,
            "a bowl that is melted in part is never all melt"
        );
    }

    #[test]
    fn what_is_told_of_an_ended_batch_counts_as_if_it_had_been_told_in_time() {
        let at = |minute: i64| Timestamp::from_millis(minute * 60_000);
        let batch = Batch {
            id: BatchId::new(&"alder".parse().unwrap(), at(0)),
            machine: "alder".parse().unwrap(),
            couverture: "dark-64".parse().unwrap(),
            lot: None,
            method: Method::Seed,
            mass_kg: None,
            start: at(0),
            end: Some(at(100)),
            phases: vec![span(Phase::Soak, 0, Some(20)), span(Phase::Working, 20, Some(100))],
            measures: Measures::default(),
            standing: Standing::Unproven,
            reasons: Vec::new(),
        };
        let top_up = |minute| event(minute, EventKind::TopUp { mass_kg: None, temperature: None, lot: None });
        let told = |events: &[Event], next: Option<i64>| standing_of(&batch, next.map(at), events, &[]).0;
        assert_eq!(told(&[test(50, Grade::Good)], None), Standing::InTemper);
        assert_eq!(told(&[test(50, Grade::Good), test(90, Grade::Poor)], None), Standing::OffTemper);
        assert_eq!(told(&[test(50, Grade::Good), top_up(90)], None), Standing::Doubtful);
        assert_eq!(told(&[test(50, Grade::Good), top_up(101)], None), Standing::InTemper, "of another");
        assert_eq!(told(&[test(110, Grade::Poor)], None), Standing::OffTemper, "the smear was judged then");
        assert_eq!(told(&[test(110, Grade::Poor)], Some(105)), Standing::Unproven, "of the next");
        assert_eq!(told(&[test(170, Grade::Poor)], None), Standing::Unproven, "an hour later");
    }

    #[test]
    fn a_test_is_due_after_a_while_and_after_whatever_changes_the_charge() {
        let minute = |minute: i64| Timestamp::from_millis(minute * 60_000);
        let due = |proof: &Proof, asked: Option<i64>| {
            let due = proof.test_due(&[], minute(5), asked.map(minute), Span::from_mins(60));
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
        assert_eq!(proof.standing(&[]).0, Standing::InTemper, "seed asks for a test and undoes none");
        proof.finding(FindingKind::StirrerStopped, minute(50));
        assert_eq!(due(&proof, None), (50, "stirrer-stopped since the last temper test".to_owned()));
        proof.event(&test(60, Grade::Fair));
        assert_eq!(due(&proof, None), (65, "the last test did not pass".to_owned()));
    }
}
