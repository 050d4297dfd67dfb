//! A bowl worked by hand: tempered pieces warmed in short bursts, so that part of their crystals never melts.
//!
//! Nobody measures while nobody works: readings come only while a bowl is on the bench.

use model::{Span, Timestamp};

use crate::calendar::Calendar;
use crate::deeds::{Deed, Mark, Report, Seen, written};
use crate::dice::Dice;
use crate::faults::Stage;
use crate::people::STORE_C;
use crate::spec::Spec;

/// What a small oven at low power leaves in the chocolate, W a kg (cookery source: 20 % power; 800 W assumed, 1–1.5 kg).
const BURST_W_PER_KG: f64 = 170.0;
/// Bursts of 15–20 s with stirring between (cookery source).
const BURST_S: (f64, f64) = (15.0, 20.0);
const STIRRING_S: (f64, f64) = (25.0, 40.0);
/// Near the end bursts get shorter.
const SHORT_BURST_S: f64 = 7.0;
const NEAR_END_C: f64 = 2.5;
/// A bowl is usable for 10–30 min unless re-warmed; with re-warming people work on (common practice).
const WORK_MIN: (f64, f64) = (35.0, 80.0);
/// Bowls a day and the pause between them, minutes (assumed).
const BOWLS_A_DAY: u32 = 2;
const PAUSE_MIN: (f64, f64) = (60.0, 120.0);
/// The first bowl after the start of the shift, minutes.
const FIRST_AFTER_MIN: (f64, f64) = (60.0, 120.0);
/// A smear is taken after so many minutes and judged ten later.
const TEST_AFTER_MIN: f64 = 5.0;
const JUDGED_AFTER_MIN: f64 = 10.0;
const FORGETS: f64 = 0.1;

#[derive(Debug, Clone, Copy)]
enum State {
    Away { next_at: Timestamp },
    Warm { next_at: Timestamp },
    Hold { until: Timestamp, next_at: Timestamp, test_at: Timestamp, judge_at: Option<Timestamp> },
}

/// The person at the bowl.
#[derive(Debug, Clone)]
pub(crate) struct BenchHand {
    state: State,
    bowls_left: u32,
    dice: Dice,
    calendar: Calendar,
}

impl BenchHand {
    pub(crate) fn new(spec: &Spec, calendar: Calendar, start: Timestamp, mut dice: Dice) -> BenchHand {
        let first = dice.between(FIRST_AFTER_MIN.0, FIRST_AFTER_MIN.1);
        let today = calendar.day_of(start);
        let today_at = calendar.moment(today, spec.shift.cool_at_min + first);
        let next_at = if calendar.is_workday(today) && start <= today_at {
            today_at
        } else if calendar.is_workday(today) && start < calendar.moment(today, spec.shift.end_at_min - 120.0)
        {
            start + Span::from_mins(5)
        } else {
            calendar.moment(calendar.next_workday(today), spec.shift.cool_at_min + first)
        };
        BenchHand { state: State::Away { next_at }, bowls_left: BOWLS_A_DAY, dice, calendar }
    }

    pub(crate) fn stage(&self) -> Stage {
        match self.state {
            State::Away { .. } => Stage::Off,
            State::Warm { .. } => Stage::Melting,
            State::Hold { .. } => Stage::Working,
        }
    }

    /// One look at the bowl.
    pub(crate) fn act(&mut self, spec: &Spec, seen: &Seen, out: &mut Vec<Deed>) {
        let before = self.stage();
        match self.state {
            State::Away { next_at } if seen.now >= next_at => self.begin(spec, seen, out),
            State::Warm { next_at } if seen.now >= next_at => self.warm(spec, seen, out),
            State::Hold { until, .. } if seen.now >= until => self.finish(spec, seen, out),
            State::Hold { until, next_at, test_at, judge_at } => {
                self.hold(spec, seen, (until, next_at, test_at, judge_at), out);
            }
            State::Away { .. } | State::Warm { .. } => {}
        }
        if self.stage() != before {
            out.push(Deed::Enter(self.stage()));
        }
    }

    fn begin(&mut self, spec: &Spec, seen: &Seen, out: &mut Vec<Deed>) {
        let kg = spec.usual_kg() * self.dice.between(0.8, 1.1);
        out.push(Deed::FreshBowl { kg, celsius: STORE_C });
        out.push(Deed::Attend(true));
        out.push(Deed::Mark(Mark::Charge { kg, total_kg: kg, lot: "B310".to_owned() }));
        out.push(Deed::Mark(Mark::Heat));
        let fields = vec![
            ("couverture", spec.couverture.as_str().into()),
            ("lot", "B310".into()),
            ("mass_kg", written(kg)),
            ("method", spec.method.as_str().into()),
        ];
        self.tell(seen, "charge", fields, out);
        self.state = State::Warm { next_at: seen.now + Span::from_mins(3) };
    }

    fn warm(&mut self, spec: &Spec, seen: &Seen, out: &mut Vec<Deed>) {
        let to_go = spec.limits.working.middle() - 0.2 - seen.shown_c;
        if to_go <= 0.0 {
            let minutes = self.dice.between(WORK_MIN.0, WORK_MIN.1);
            let until = seen.now + Span::from_mins_f64(minutes);
            let test_at = seen.now + Span::from_mins_f64(TEST_AFTER_MIN);
            self.state = State::Hold { until, next_at: seen.now, test_at, judge_at: None };
            return;
        }
        let seconds =
            if to_go < NEAR_END_C { SHORT_BURST_S } else { self.dice.between(BURST_S.0, BURST_S.1) };
        out.push(Deed::Burst { watts: BURST_W_PER_KG * seen.kg, seconds });
        let pause = self.dice.between(STIRRING_S.0, STIRRING_S.1);
        self.state = State::Warm { next_at: seen.now + Span::from_mins_f64((seconds + pause) / 60.0) };
    }

    fn hold(
        &mut self,
        spec: &Spec,
        seen: &Seen,
        (until, mut next_at, mut test_at, mut judge_at): (Timestamp, Timestamp, Timestamp, Option<Timestamp>),
        out: &mut Vec<Deed>,
    ) {
        if judge_at.is_some_and(|at| seen.now >= at) {
            judge_at = None;
            let grade = if seen.stable > 0.004 { "good" } else { "poor" };
            let fields = vec![
                ("gloss", grade.into()),
                ("contraction", grade.into()),
                ("snap", grade.into()),
                ("minutes", written(self.dice.between(3.0, 6.0).round())),
            ];
            self.tell(seen, "temper-test", fields, out);
        }
        if seen.now >= test_at {
            out.push(Deed::Mark(Mark::Test { stable: seen.stable }));
            judge_at = Some(seen.now + Span::from_mins_f64(JUDGED_AFTER_MIN));
            test_at = seen.now + Span::from_mins(45);
        }
        if seen.now >= next_at {
            if seen.shown_c < spec.limits.working.low() + 0.1 {
                let seconds = self.dice.between(5.0, 8.0);
                out.push(Deed::Burst { watts: BURST_W_PER_KG * seen.kg, seconds });
                next_at = seen.now + Span::from_mins_f64(1.0);
            }
            if self.dice.chance(0.02) {
                out.push(Deed::Draw { kg: 0.06 * spec.usual_kg() });
            }
        }
        self.state = State::Hold { until, next_at, test_at, judge_at };
    }

    fn finish(&mut self, spec: &Spec, seen: &Seen, out: &mut Vec<Deed>) {
        self.tell(seen, "end", Vec::new(), out);
        out.push(Deed::Mark(Mark::Off));
        out.push(Deed::Attend(false));
        self.bowls_left -= 1;
        let next_at = if self.bowls_left > 0 {
            seen.now + Span::from_mins_f64(self.dice.between(PAUSE_MIN.0, PAUSE_MIN.1))
        } else {
            self.bowls_left = BOWLS_A_DAY;
            let day = self.calendar.next_workday(self.calendar.day_of(seen.now));
            let first = self.dice.between(FIRST_AFTER_MIN.0, FIRST_AFTER_MIN.1);
            self.calendar.moment(day, spec.shift.cool_at_min + first)
        };
        self.state = State::Away { next_at };
    }

    fn tell(
        &mut self,
        seen: &Seen,
        event: &'static str,
        fields: Vec<(&'static str, serde_json::Value)>,
        out: &mut Vec<Deed>,
    ) {
        if self.dice.chance(FORGETS) {
            return;
        }
        let sent = seen.now + Span::from_mins_f64(self.dice.wait(0.5).min(4.0));
        out.push(Deed::Tell(Report { event, at: Some(seen.now), sent, by: "marta", fields }));
    }
}
