//! `silent`, medium, high in cooling and working: no chocolate reading arrives for 60 s, or five usual intervals if longer; not in
//! `idle`; raised at the last arrival plus the limit (contract, section 6).
//!
//! The clock is arrival time: live the service's own, in a recording the newest arrival of any machine. The usual interval is the
//! median of the last arrivals that told something newer, and the longest while there are few; of uneven ones, a reading by hand among them, it is one that only one in ten exceeds. A logger on change tells only
//! what has moved: it has no one interval and is quiet for longer again and again without anything being wrong. It is known by its readings, and is
//! given [`habit::SAYS_SOMETHING`] where its intervals are uneven, and five of its signs of life once two have come alike. When pauses of an uneven
//! sender have been learned, half as much again as the longest of them is the limit. A sender with a steady interval that is cut off several times
//! is not such a one. After its first readings a sender has no usual interval, and is not missed. A message that the broker had kept says nothing
//! about whether the sender is alive.

mod habit;
mod steady;

use model::{FindingKind, Phase, Priority, Span, Timestamp};
use serde::{Deserialize, Serialize};

use self::habit::{FEWEST, Habit};
pub(crate) use self::steady::Steady;
use super::{Report, Verdict, number};

/// Signs of life of a logger on change that come closer than this show that it has not changed in between.
const QUICKLY: Span = Span::from_mins(2);

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Silent {
    habit: Habit,
    open: bool,
}

impl Silent {
    /// A chocolate reading came, good or missing, so long on its `way`; `is_newer`: it was measured later than all before it.
    pub(crate) fn arrived(&mut self, at: Timestamp, way: Span, is_newer: bool) -> Verdict {
        let was_told = std::mem::take(&mut self.open);
        self.habit.arrived(at, way, is_newer, was_told);
        if was_told { Verdict::Over(at) } else { Verdict::Quiet }
    }

    /// Its newest readings, up to then, were those of a logger on change.
    pub(crate) fn note_on_change(&mut self, at: Timestamp) {
        self.habit.on_change_at = Some(at);
    }

    /// Looks ahead, if the sender is steady.
    pub(crate) fn steady(&self) -> Option<Steady> {
        Steady::ahead_of(self)
    }

    /// [`Silent::arrived`] for each of these arrivals, which [`Steady`] has found to be steady.
    pub(crate) fn arrived_steadily(&mut self, times: impl IntoIterator<Item = Timestamp>) {
        self.habit.arrived_steadily(times);
    }

    /// How long may pass between two readings before something is missing.
    pub(crate) fn limit(&self) -> Span {
        self.habit.limit()
    }

    /// How far apart two readings may be that show the same without a break. Of one that pauses as a rule they have to come quickly: what it keeps to
    /// itself has not changed.
    pub(crate) fn unchanged_limit(&self) -> Span {
        if self.habit.is_pausing() { QUICKLY } else { self.habit.usual_limit() }
    }

    /// From when on nothing is expected any more, if nothing comes.
    pub(crate) fn overdue_from(&self) -> Option<Timestamp> {
        self.habit.last.map(|last| last + self.limit())
    }

    /// Has nothing come for so long that nothing is expected, whether that has been told or not?
    pub(crate) fn nothing_comes(&self, clock: Timestamp) -> bool {
        self.overdue_from().is_some_and(|from| from <= clock)
    }

    /// Is the machine overdue at `clock`? Of one that has hardly begun nobody knows when to expect more.
    fn is_overdue(&self, clock: Timestamp) -> bool {
        !self.open && self.habit.came.len() >= FEWEST && self.nothing_comes(clock)
    }

    /// When the machine will be overdue if nothing comes; `None` if it has been told, or nothing has come yet.
    pub(crate) fn due_at(&self) -> Option<Timestamp> {
        self.overdue_from().filter(|_| !self.open)
    }

    /// The clock has moved on.
    pub(crate) fn step(&mut self, clock: Timestamp, phase: Phase) -> Verdict {
        let priority = match phase {
            Phase::Idle => return Verdict::Quiet,
            Phase::Cooling | Phase::Working => Priority::High,
            Phase::Melting | Phase::Soak | Phase::Settling | Phase::Rewarming => Priority::Medium,
        };
        let Some(last) = self.habit.last.filter(|_| self.is_overdue(clock)) else { return Verdict::Quiet };
        self.open = true;
        let limit = self.limit();
        Report {
            kind: FindingKind::Silent,
            priority,
            from: last,
            raised_at: last + limit,
            says: format!("No reading has come for {:.0} s; nothing is known since then.", limit.as_secs_f64()),
            evidence: vec![number("limit_s", limit.as_secs_f64())],
            advice: "Look at the machine itself and measure by hand every ten minutes; check plug, power and network of the sensor.",
        }
        .raise()
    }
}

#[cfg(test)]
mod tests {
    use super::habit::{SHORTEST, SHOWN_BY};
    use super::*;

    fn at(seconds: i64) -> Timestamp {
        Timestamp::from_millis(seconds * 1000)
    }

    fn raised(verdict: Verdict) -> (Timestamp, Priority) {
        match verdict {
            Verdict::Raise(report) => (report.raised_at, report.priority),
            Verdict::Quiet | Verdict::Worse { .. } | Verdict::Over(_) => panic!("nothing raised"),
        }
    }

    #[test]
    fn a_minute_of_nothing_is_told_with_the_moment_it_was_over() {
        let mut silent = Silent::default();
        for i in 0..20 {
            silent.arrived(at(i * 5), Span::ZERO, true);
        }
        assert_eq!(silent.step(at(154), Phase::Working), Verdict::Quiet);
        let verdict = silent.step(at(500), Phase::Working);
        assert_eq!(raised(verdict), (at(155), Priority::High));
        assert_eq!(silent.step(at(600), Phase::Working), Verdict::Quiet, "told once");
        assert_eq!(silent.arrived(at(700), Span::ZERO, true), Verdict::Over(at(700)));
    }

    #[test]
    fn a_slow_logger_is_given_five_intervals_and_idle_none_of_it() {
        let mut silent = Silent::default();
        for i in 0..20 {
            silent.arrived(at(i * 60), Span::ZERO, true);
        }
        assert_eq!(silent.step(at(19 * 60 + 299), Phase::Soak), Verdict::Quiet);
        assert_eq!(silent.step(at(19 * 60 + 300), Phase::Idle), Verdict::Quiet);
        assert_eq!(raised(silent.step(at(19 * 60 + 300), Phase::Soak)).1, Priority::Medium);
    }

    /// Lets a sender with these intervals run for a while, with four pauses of ten minutes on the way.
    fn pausing(intervals: &[i64]) -> Silent {
        let (mut silent, mut now) = (Silent::default(), 0);
        for _ in 0..5 {
            for interval in intervals.iter().cycle().take(60) {
                now += interval;
                silent.arrived(at(now), Span::ZERO, true);
            }
            now += 600;
            silent.step(at(now), Phase::Working);
        }
        silent
    }

    #[test]
    fn a_steady_sender_is_not_taught_to_be_quiet_by_outages() {
        assert_eq!(pausing(&[5]).limit(), SHORTEST);
    }

    #[test]
    fn who_reports_on_change_is_not_silent_before_its_pauses_are_learned() {
        let (mut silent, mut now) = (Silent::default(), 0);
        for interval in (0..60).map(|n: i64| 5 + (n * 17 % 41).pow(2) / 40) {
            now += interval;
            silent.arrived(at(now), Span::ZERO, true);
        }
        let mut uneven = silent.clone();
        let missed = raised(uneven.step(at(now + 900), Phase::Working)).0 - at(now);
        assert!((150.0..230.0).contains(&missed.as_secs_f64()), "five long intervals: {missed:?}");
        silent.note_on_change(at(now));
        assert_eq!(silent.step(at(now + 600), Phase::Working), Verdict::Quiet);
        assert_eq!(raised(silent.step(at(now + 900), Phase::Working)).0, at(now + 900));
    }

    /// It melts, and tells of a move every quarter of a minute; then it stands, and every two minutes comes a sign of life: by five usual intervals it
    /// is silent twice, and then that is known to be usual.
    #[test]
    fn who_reports_on_change_is_missed_by_its_signs_of_life() {
        let mut silent = Silent::default();
        for i in 0..40 {
            silent.arrived(at(i * 15), Span::ZERO, true);
        }
        silent.note_on_change(at(585));
        let told: Vec<i64> = (1..=6)
            .filter(|sign| {
                let verdict = silent.step(at(585 + 120 * sign), Phase::Soak);
                silent.arrived(at(585 + 120 * sign), Span::ZERO, true);
                verdict != Verdict::Quiet
            })
            .collect();
        assert_eq!((told, silent.limit()), (vec![1, 2], Span::from_secs(600)));
    }

    /// Every tenth message comes late: two seconds at a reading a second, thirteen at one every ten.
    #[test]
    fn who_is_late_now_and_then_is_missed_after_a_minute_all_the_same() {
        for (interval, late) in [(1, 2), (10, 13)] {
            let mut silent = Silent::default();
            let arrival = |n: i64| n * interval + if n % 10 == 3 { late } else { 0 };
            let mut arrivals: Vec<i64> = (0..300).map(arrival).collect();
            arrivals.sort_unstable();
            arrivals.into_iter().for_each(|second| drop(silent.arrived(at(second), Span::ZERO, true)));
            assert_eq!((silent.limit(), silent.unchanged_limit()), (SHORTEST, SHORTEST), "{interval} s");
        }
    }

    /// What may be a sign of life has to be looked at by itself.
    #[test]
    fn a_pause_ends_what_is_taken_at_once() {
        let mut silent = Silent::default();
        (0..40).for_each(|i| drop(silent.arrived(at(i * 5), Span::ZERO, true)));
        let mut steady = silent.steady().expect("a steady sender");
        assert!(steady.goes_on(at(200)) && steady.goes_on(at(214)) && !steady.goes_on(at(235)));
    }

    #[test]
    fn a_queue_that_comes_in_a_bundle_says_nothing_of_the_interval() {
        let mut silent = Silent::default();
        for i in 0..40 {
            silent.arrived(at(i * 5), Span::ZERO, true);
        }
        for i in 0..20 {
            silent.arrived(Timestamp::from_millis(400_000 + 4 * i), Span::ZERO, true);
        }
        silent.arrived(at(405), Span::ZERO, true);
        assert_eq!((silent.limit(), silent.habit.is_pausing()), (SHORTEST, false));
    }

    #[test]
    fn who_reports_on_change_is_given_half_as_much_again_as_its_pauses() {
        assert_eq!(pausing(&[5, 10, 40, 5, 30]).limit(), Span::from_millis(1_500 * (600 + 5)));
    }

    #[test]
    fn a_logger_of_two_minutes_is_not_silent_from_its_first_reading() {
        let mut silent = Silent::default();
        for second in (0..3_600).step_by(120) {
            silent.arrived(at(second), Span::ZERO, true);
            assert_eq!(silent.step(at(second + 119), Phase::Melting), Verdict::Quiet, "at {second}");
        }
        assert_eq!(raised(silent.step(at(3_480 + 600), Phase::Melting)).0, at(3_480 + 600));
    }

    /// A logger on change: few readings at first, and pauses of minutes between them from its first hour on.
    #[test]
    fn who_pauses_from_the_start_is_known_by_a_dozen_intervals() {
        let (mut silent, mut now, mut told) = (Silent::default(), 0, Vec::new());
        for nth in 0..60 {
            now += [5, 10, 70, 5, 400, 8][nth % 6];
            if silent.step(at(now), Phase::Soak) != Verdict::Quiet {
                told.push(nth);
            }
            silent.arrived(at(now), Span::ZERO, true);
        }
        assert!(told.iter().all(|nth| *nth <= SHOWN_BY), "told of again after {told:?}");
        assert!(!told.is_empty(), "nothing is known of it at first");
    }

    #[test]
    fn after_two_readings_nobody_knows_when_to_expect_more() {
        let mut silent = Silent::default();
        silent.arrived(at(0), Span::ZERO, true);
        silent.arrived(at(5), Span::ZERO, true);
        assert_eq!(silent.step(at(4_000), Phase::Melting), Verdict::Quiet);
        (0..12).for_each(|i| drop(silent.arrived(at(4_000 + 5 * i), Span::ZERO, true)));
        assert_eq!(raised(silent.step(at(4_115), Phase::Melting)).0, at(4_115));
    }

    /// Two gateways pass on a reading every two minutes, the second one three seconds later; the history begins with that.
    #[test]
    fn what_two_gateways_pass_on_is_no_quick_sender() {
        let mut silent = Silent::default();
        for minute in (0..60).step_by(2) {
            assert_eq!(silent.step(at(minute * 60), Phase::Soak), Verdict::Quiet, "minute {minute}");
            silent.arrived(at(minute * 60), Span::ZERO, true);
            silent.arrived(at(minute * 60 + 3), Span::ZERO, true);
        }
    }

    /// A logger of a minute is cut off for an hour, and brings what it kept, a reading every two seconds: before it goes on, or meanwhile.
    #[test]
    fn what_was_kept_says_nothing_of_the_interval() {
        for goes_on_at in [7_200, 7_320] {
            let mut silent = Silent::default();
            (0..60).for_each(|minute| drop(silent.arrived(at(minute * 60), Span::ZERO, true)));
            let mut newest = 59 * 60;
            for second in 7_200..7_319 {
                if second % 60 == 0 && goes_on_at <= second {
                    silent.arrived(at(second), Span::ZERO, true);
                    newest = second;
                } else if second % 2 == 0 {
                    let measured = 3_600 + (second - 7_200) / 2 * 60;
                    silent.arrived(at(second), at(second) - at(measured), newest < measured);
                    newest = newest.max(measured);
                }
            }
            assert_eq!(silent.limit(), Span::from_mins(5), "{goes_on_at}");
        }
    }
}
