//! `test-due`, low: working for 15 min, or after a top-up, a `temper-loss` or a `cold-hold`, without a temper test since (contract,
//! section 6).
//!
//! Temperature is not temper; only a test tells (due after each top-up and excursion: common practice, no source). Working is dated at the end of
//! five steady minutes, and a test that was made in these counts as the first.
//! Over with any test, passed or not: what follows from a failed one is a decision, not a test.

use model::{FindingKind, Phase, Priority, Span, Timestamp};
use serde::{Deserialize, Serialize};

use super::{Moment, Report, Tests, Verdict, text};

const FIRST_AFTER: Span = Span::from_mins(15);
/// The steady minutes at whose end working is dated (contract, section 5).
const STEADY: Span = Span::from_mins(5);
const UNTESTED: &str = "it is ready by its temperature and has not been tested";

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct TestDue {
    /// A finding that asks for a test, and when it was raised.
    troubled: Option<(Timestamp, FindingKind)>,
    open_since: Option<Timestamp>,
    /// Working since then, and not tested.
    ahead: Option<Ahead>,
}

/// A first test that is not due yet.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Ahead {
    working_since: Timestamp,
    /// A test that was made since then counts.
    tested_since: Timestamp,
}

/// Why a test is due, and since when.
struct Reason {
    since: Timestamp,
    why: &'static str,
}

impl TestDue {
    /// A finding was raised; some ask for a test.
    pub(crate) fn note(&mut self, kind: FindingKind, raised_at: Timestamp) {
        if matches!(kind, FindingKind::TemperLoss | FindingKind::ColdHold) {
            self.troubled = Some((raised_at, kind));
        }
    }

    /// Time has passed up to `now`, with these tests: what a person reads off a clock does not wait for the next reading.
    pub(crate) fn let_pass(&mut self, now: Timestamp, tests: Tests) -> Verdict {
        self.ahead = self.ahead.filter(|ahead| tests.made_at.is_none_or(|made| made < ahead.tested_since));
        match self.ahead.take_if(|ahead| ahead.working_since + FIRST_AFTER <= now) {
            Some(Ahead { working_since: since, .. }) => {
                self.raise(Reason { since, why: UNTESTED }, since + FIRST_AFTER)
            }
            None => Verdict::Quiet,
        }
    }

    pub(crate) fn step(&mut self, m: &Moment<'_>) -> Verdict {
        self.ahead = None;
        if !matches!(m.phase, Phase::Settling | Phase::Working) {
            self.troubled = None;
            return self.open_since.take().map_or(Verdict::Quiet, |_| Verdict::Over(m.at));
        }
        if let Some(since) = self.open_since {
            return match m.tests.made_at.filter(|&made| made >= since) {
                Some(made) => {
                    self.open_since = None;
                    Verdict::Over(made)
                }
                None => Verdict::Quiet,
            };
        }
        match self.reason(m) {
            Some(reason) => self.raise(reason, m.known),
            None => Verdict::Quiet,
        }
    }

    fn raise(&mut self, Reason { since, why }: Reason, raised_at: Timestamp) -> Verdict {
        self.open_since = Some(since);
        Report {
            kind: FindingKind::TestDue,
            priority: Priority::Low,
            from: since,
            raised_at,
            says: format!("A temper test is due: {why}."),
            evidence: vec![text("because", why)],
            advice: "Smear a thin sample, let it cool for ten minutes, look at gloss, contraction and snap, and write the result down.",
        }
        .raise()
    }

    fn reason(&mut self, m: &Moment<'_>) -> Option<Reason> {
        let untested = |since: Timestamp| m.tests.made_at.is_none_or(|made| made < since);
        if let Some((since, kind)) = self.troubled.filter(|&(since, _)| untested(since)) {
            let why = if kind == FindingKind::ColdHold {
                "the chocolate has been too cold"
            } else {
                "the chocolate has been too warm"
            };
            return Some(Reason { since, why });
        }
        if m.phase != Phase::Working {
            return None;
        }
        let topped_up = m.topped_up_at.filter(|&at| at >= m.phase_since && at <= m.known && untested(at));
        if let Some(since) = topped_up {
            return Some(Reason { since, why: "couverture was topped up" });
        }
        let steady_since = if m.has_way_down { m.phase_since - STEADY } else { m.phase_since };
        if !untested(steady_since) {
            return None;
        }
        if m.known - m.phase_since < FIRST_AFTER {
            self.ahead = Some(Ahead { working_since: m.phase_since, tested_since: steady_since });
            return None;
        }
        Some(Reason { since: m.phase_since, why: UNTESTED })
    }
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use super::super::testing::{check, check_with};
    use super::*;

    fn minute(minute: i64) -> Timestamp {
        Timestamp::from_millis(minute * 60_000)
    }

    #[test]
    fn a_quarter_of_an_hour_after_it_is_ready() {
        check(
            &mut TestDue::default(),
            TestDue::step,
            "settling 0:00 32 | working ~10:00 31.5 | ~40:00 31.5 | idle 40:05 25",
            &expect![[r#"
                15:05 raise test-due from 0:05
                40:10 over at 40:05"#]],
        );
    }

    #[test]
    fn any_test_ends_it_and_a_top_up_asks_again() {
        check_with(
            &mut TestDue::default(),
            TestDue::step,
            "working 0:00 31.5 | ~60:00 31.5",
            |m| {
                m.tests.made_at = [20, 45].into_iter().map(minute).rfind(|&at| at <= m.at);
                m.topped_up_at = (m.at >= minute(30)).then_some(minute(30));
            },
            &expect![[r#"
                15:00 raise test-due from 0:00
                20:05 over at 20:00
                30:05 raise test-due from 30:00
                45:05 over at 45:00"#]],
        );
    }

    #[test]
    fn a_clock_does_not_wait_for_a_reading() {
        let mut detector = TestDue::default();
        check(
            &mut detector,
            TestDue::step,
            "settling 0:00 32 | working ~10:00 31.5 | ~14:00 31.5",
            &expect![""],
        );
        assert_eq!(detector.let_pass(minute(15), Tests::default()), Verdict::Quiet);
        let Verdict::Raise(report) = detector.let_pass(minute(19), Tests::default()) else {
            panic!("a quarter of an hour has passed")
        };
        assert_eq!(report.raised_at, minute(15) + Span::from_secs(5));
        assert_eq!(detector.let_pass(minute(20), Tests::default()), Verdict::Quiet, "told once");
    }

    /// Its probe is stuck, and no reading comes through.
    #[test]
    fn a_test_that_is_told_while_no_reading_comes_counts() {
        let mut detector = TestDue::default();
        let script = "settling 0:00 32 | working ~5:00 31.5 | ~7:00 31.5";
        check(&mut detector, TestDue::step, script, &expect![""]);
        let made = |minute_of: i64| Tests { made_at: Some(minute(minute_of)), passed_at: None };
        let mut other = detector.clone();
        assert_eq!(detector.let_pass(minute(40), made(12)), Verdict::Quiet);
        assert!(matches!(other.let_pass(minute(40), made(-30)), Verdict::Raise(_)), "of the batch before");
    }

    #[test]
    fn a_test_long_before_it_was_ready_does_not_count() {
        check_with(
            &mut TestDue::default(),
            TestDue::step,
            "settling 0:00 32 | ~30:00 31.6 | working 30:05 31.5 | ~60:00 31.5",
            |m| m.tests.made_at = (m.at >= minute(5)).then_some(minute(5)),
            &expect!["45:05 raise test-due from 30:05"],
        );
    }

    #[test]
    fn a_test_in_the_steady_minutes_counts_and_trouble_asks_for_another() {
        let mut detector = TestDue::default();
        check_with(
            &mut detector,
            |detector, m| {
                if m.at == minute(30) {
                    detector.note(FindingKind::TemperLoss, m.known);
                }
                detector.step(m)
            },
            "settling 0:00 32 | ~10:00 31.6 | working 10:05 31.5 | ~60:00 31.5",
            |m| m.tests.made_at = (m.at >= minute(6)).then_some(minute(6)),
            &expect!["30:05 raise test-due from 30:05"],
        );
    }
}
