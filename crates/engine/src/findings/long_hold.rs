//! `long-hold`, low: working for `max_hold` without a passed test (contract, section 6).
//!
//! Crystals grow and multiply in a hold however well it keeps its temperature (common practice, no source), and only a test shows how far.
//! Limit: by family 120, 120 or 90 min (start values). A passed test starts the time anew.

use model::{FindingKind, Phase, Priority, Span, Timestamp};
use serde::{Deserialize, Serialize};

use super::{Moment, Report, Tests, Verdict, number};

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct LongHold {
    open_since: Option<Timestamp>,
    /// Held since then, for so long at most.
    ahead: Option<(Timestamp, Span)>,
}

impl LongHold {
    /// Time has passed up to `now`, with these tests: what a person reads off a clock does not wait for the next reading.
    pub(crate) fn let_pass(&mut self, now: Timestamp, tests: Tests) -> Verdict {
        if let Some((since, _)) = &mut self.ahead {
            *since = tests.passed_at.map_or(*since, |passed| passed.max(*since));
        }
        match self.ahead.take_if(|&mut (since, most)| since + most <= now) {
            Some((since, most)) => self.raise(since, since + most, most),
            None => Verdict::Quiet,
        }
    }

    pub(crate) fn step(&mut self, m: &Moment<'_>) -> Verdict {
        self.ahead = None;
        if m.phase != Phase::Working {
            return self.open_since.take().map_or(Verdict::Quiet, |_| Verdict::Over(m.at));
        }
        let since = m.tests.passed_at.map_or(m.phase_since, |passed| passed.max(m.phase_since));
        if let Some(open_since) = self.open_since {
            if since <= open_since {
                return Verdict::Quiet;
            }
            self.open_since = None;
            return Verdict::Over(since);
        }
        if m.known - since < m.limits.max_hold {
            self.ahead = Some((since, m.limits.max_hold));
            return Verdict::Quiet;
        }
        self.raise(since, m.known, m.limits.max_hold)
    }

    fn raise(&mut self, since: Timestamp, raised_at: Timestamp, most: Span) -> Verdict {
        let held = raised_at - since;
        self.open_since = Some(since);
        Report {
            kind: FindingKind::LongHold,
            priority: Priority::Low,
            from: since,
            raised_at,
            says: format!(
                "It has been worked with for {:.0} min without a passed temper test; {:.0} min is the longest.",
                held.as_mins_f64(),
                most.as_mins_f64()
            ),
            evidence: vec![
                number("held_min", held.as_mins_f64()),
                number("max_hold_min", most.as_mins_f64()),
            ],
            advice: "Make a temper test; if it has thickened, raise the set-point by a few tenths within the working range or add a \
                     little warm couverture, and test again.",
        }
        .raise()
    }
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use super::super::testing::{check, check_with};
    use super::*;

    #[test]
    fn two_hours_without_a_passed_test() {
        check(
            &mut LongHold::default(),
            LongHold::step,
            "working 0:00 31.5 | ~150:00 31.5 | melting 150:05 32",
            &expect![[r#"
                120:00 raise long-hold from 0:00
                150:10 over at 150:05"#]],
        );
    }

    #[test]
    fn a_clock_does_not_wait_for_a_reading() {
        let mut detector = LongHold::default();
        check(&mut detector, LongHold::step, "working 0:00 31.5 | ~118:00 31.5", &expect![""]);
        let at = |minute: i64| Timestamp::from_millis(minute * 60_000);
        assert_eq!(detector.let_pass(at(119), Tests::default()), Verdict::Quiet);
        let Verdict::Raise(report) = detector.let_pass(at(124), Tests::default()) else {
            panic!("two hours have passed")
        };
        assert_eq!(report.raised_at, at(120));
        assert_eq!(detector.let_pass(at(125), Tests::default()), Verdict::Quiet, "told once");
    }

    /// Its probe is stuck, and no reading comes through.
    #[test]
    fn a_test_that_is_told_while_no_reading_comes_counts() {
        let mut detector = LongHold::default();
        check(&mut detector, LongHold::step, "working 0:00 31.5 | ~10:00 31.5", &expect![""]);
        let at = |minute: i64| Timestamp::from_millis(minute * 60_000);
        let tests = Tests { made_at: Some(at(30)), passed_at: Some(at(30)) };
        assert_eq!(detector.let_pass(at(149), tests), Verdict::Quiet);
        let Verdict::Raise(report) = detector.let_pass(at(150), tests) else { panic!("two hours since") };
        assert_eq!((report.from, report.raised_at), (at(30), at(150)));
    }

    #[test]
    fn a_passed_test_starts_the_time_anew() {
        let passed = Timestamp::from_millis(130 * 60_000);
        check_with(
            &mut LongHold::default(),
            LongHold::step,
            "working 0:00 31.5 | ~260:00 31.5",
            |m| m.tests.passed_at = (m.at >= passed).then_some(passed),
            &expect![[r#"
                120:00 raise long-hold from 0:00
                130:05 over at 130:00
                250:00 raise long-hold from 130:00"#]],
        );
    }
}
