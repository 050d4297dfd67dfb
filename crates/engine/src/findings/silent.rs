//! `silent`, medium, high in cooling and working: no chocolate reading arrives for 60 s, or five usual intervals if longer; not in
//! `idle`; raised at the last arrival plus the limit (contract, section 6).
//!
//! The clock is arrival time: live the service's own, in a recording the newest arrival of any machine. The usual interval is the
//! median of the last arrivals; of uneven ones, a reading by hand among them, it is one that only one in ten exceeds. Who tells only what has moved has no
//! one interval and is quiet for longer again and again without anything being wrong. Such a sender is known by its readings: it is given
//! [`SAYS_SOMETHING`] where its intervals are uneven, and five of its signs of life once two have come alike. When pauses of uneven senders have been
//! learned, half as much again as the longest of them is the limit. A sender with a steady interval that is cut off several times is not such a one. After its
//! first readings a sender has no usual interval, and is not missed. A message that the broker had kept says nothing about whether the sender is
//! alive.

use std::collections::VecDeque;

use model::{FindingKind, Phase, Priority, Span, Timestamp};
use serde::{Deserialize, Serialize};

use super::{Report, Verdict, number};
use crate::bounded::remember;

const SHORTEST: Span = Span::from_secs(60);
const USUAL_INTERVALS: i64 = 5;
/// Messages may be so late by default (contract, section 6), and then intervals differ by that though the sender has but one.
const LATE: Span = Span::from_secs(15);
/// Enough for a median that neither a burst nor a pause moves.
const REMEMBERED: usize = 31;
/// A sender is unsteady where nine in ten of its intervals are not below this many usual ones.
const UNSTEADY: i64 = 2;
/// ... or, of at least so many, where the shortest of the longest quarter is not below this many times the longest of the shortest quarter.
const SHOWN_BY: usize = 12;
const UNEVEN: i64 = 3;
/// Fewer intervals say nothing of what is usual.
const FEWEST: usize = 3;
/// So many pauses over the limit among so many arrivals are an unsteady sender's way, not a fault each time ...
const PAUSES: usize = 4;
const AMONG: u64 = 1_000;
/// ... and more than the longest of them by this much is missing something, up to this length.
const OVER_PAUSES: i64 = 3;
const LONGEST: Span = Span::from_mins(30);
/// A logger that tells only what has moved goes on to do so (start value).
const TELLS_MOVES_FOR: Span = Span::from_hours(24);
/// So many of the longest intervals, alike within this share, are its signs of life.
const SIGNS_OF_LIFE: usize = 2;
const ALIKE: f64 = 0.02;
/// A logger that reports on change says something every ten minutes as a rule (common practice, no source), and half as much again.
const SAYS_SOMETHING: Span = Span::from_mins(15);
/// Arrivals closer than this come in a bundle, or twice, and are no interval.
const BUNDLED: Span = Span::from_millis(500);

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Silent {
    last: Option<Timestamp>,
    intervals: Vec<Span>,
    /// The same, with the silences that were told among them.
    came: Vec<Span>,
    usual: Option<Span>,
    /// Its intervals are uneven now, and the arrival at which they last were.
    is_unsteady: bool,
    unsteady_at: Option<u64>,
    /// It told only what had moved, then.
    told_moves_at: Option<Timestamp>,
    /// How far apart its signs of life were.
    sign_of_life: Option<Span>,
    /// Arrivals so far, and those of the newest that ended a pause, with its length.
    arrivals: u64,
    pauses: VecDeque<(u64, Span)>,
    open: bool,
}

impl Silent {
    /// A chocolate reading came, good or missing.
    pub(crate) fn arrived(&mut self, at: Timestamp) -> Verdict {
        self.arrivals += 1;
        if let Some(last) = self.last.replace(at) {
            self.note_pause(at - last);
            if at - last >= BUNDLED {
                self.note_interval(at - last);
            }
        }
        if std::mem::take(&mut self.open) { Verdict::Over(at) } else { Verdict::Quiet }
    }

    /// Its readings up to then were each a move.
    pub(crate) fn tells_moves(&mut self, at: Timestamp) {
        self.told_moves_at = Some(at);
    }

    /// Looks ahead, if the sender is steady.
    pub(crate) fn steady(&self) -> Option<Steady> {
        Steady::ahead_of(self)
    }

    /// [`Silent::arrived`] for each of these arrivals, which [`Steady`] has found to be steady.
    pub(crate) fn arrived_steadily(&mut self, times: impl IntoIterator<Item = Timestamp>) {
        let before = self.arrivals;
        for at in times {
            self.arrivals += 1;
            let interval = self.last.replace(at).map(|last| at - last);
            self.intervals.extend(interval);
        }
        if self.arrivals == before {
            return;
        }
        let old = self.intervals.len().saturating_sub(REMEMBERED);
        self.intervals.drain(..old);
        self.came.clone_from(&self.intervals);
        self.usual = Some(sorted(&self.intervals)[REMEMBERED / 2]);
        self.forget_pauses();
    }

    fn note_interval(&mut self, interval: Span) {
        remember(&mut self.came, interval, REMEMBERED);
        let came = sorted(&self.came);
        let is_uneven =
            came.len() >= SHOWN_BY && are_uneven(came[came.len() / 4], came[came.len() * 3 / 4], UNEVEN);
        // A silence that was told is not an interval of a steady sender, unless most of its intervals were told.
        if !self.open {
            remember(&mut self.intervals, interval, REMEMBERED);
            let intervals = sorted(&self.intervals);
            let usual = intervals[intervals.len() / 2];
            self.usual = Some(usual);
            self.is_unsteady = are_uneven(usual, intervals[intervals.len() * 9 / 10], UNSTEADY);
        } else if came[came.len() / 2] >= self.usual_limit() {
            self.usual = Some(came[came.len() / 2]);
        }
        if self.is_on_change() {
            self.sign_of_life = sign_of_life(&came).or(self.sign_of_life);
        }
        if is_uneven || self.is_unsteady && self.intervals.len() == REMEMBERED {
            self.is_unsteady = true;
            self.unsteady_at = Some(self.arrivals);
        }
    }

    /// How long may pass between two readings before something is missing.
    pub(crate) fn limit(&self) -> Span {
        self.usual_limit().max(self.pausing_limit())
    }

    /// The same for a sender with one interval; `None` for one that pauses as a rule: what it keeps to itself has not changed.
    pub(crate) fn steady_limit(&self) -> Option<Span> {
        (!self.is_pausing()).then(|| self.usual_limit())
    }

    fn usual_limit(&self) -> Span {
        self.usual.map_or(SHORTEST, |usual| SHORTEST.max(usual * USUAL_INTERVALS))
    }

    /// Has it lately had no one interval?
    fn is_pausing(&self) -> bool {
        self.unsteady_at.is_some_and(|arrival| arrival + AMONG >= self.arrivals)
    }

    fn is_on_change(&self) -> bool {
        self.told_moves_at.zip(self.last).is_some_and(|(told, last)| last - told <= TELLS_MOVES_FOR)
    }

    /// Of a sender that pauses as a rule, or shows by signs of life how long it may.
    fn pausing_limit(&self) -> Span {
        let by_signs = self.sign_of_life.filter(|_| self.is_on_change());
        if !self.is_pausing() {
            return by_signs.map_or(Span::ZERO, several);
        }
        let longest =
            self.pauses.iter().map(|(_, pause)| *pause).max().filter(|_| self.pauses.len() >= PAUSES);
        if let Some(longest) = longest {
            return by_signs.map_or(Span::ZERO, several).max(longest * OVER_PAUSES / 2);
        }
        let came = sorted(&self.came);
        let long = came.get(came.len() * 9 / 10).copied().filter(|_| !self.is_on_change());
        by_signs.or(long).map_or(SAYS_SOMETHING, several)
    }

    fn note_pause(&mut self, pause: Span) {
        self.forget_pauses();
        if self.is_unsteady && pause >= self.usual_limit() && pause <= LONGEST {
            self.pauses.push_back((self.arrivals, pause));
        }
    }

    fn forget_pauses(&mut self) {
        while self.pauses.front().is_some_and(|(arrival, _)| arrival + AMONG < self.arrivals) {
            self.pauses.pop_front();
        }
    }

    /// From when on nothing is expected any more, if nothing comes.
    pub(crate) fn overdue_from(&self) -> Option<Timestamp> {
        self.last.map(|last| last + self.limit())
    }

    /// Has nothing come for so long that nothing is expected, whether that has been told or not?
    pub(crate) fn nothing_comes(&self, clock: Timestamp) -> bool {
        self.overdue_from().is_some_and(|from| from <= clock)
    }

    /// Is the machine overdue at `clock`? Of one that has hardly begun nobody knows when to expect more.
    fn is_overdue(&self, clock: Timestamp) -> bool {
        !self.open && self.came.len() >= FEWEST && self.nothing_comes(clock)
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
        let Some(last) = self.last.filter(|_| self.is_overdue(clock)) else { return Verdict::Quiet };
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

/// Five of them, but no more than who pauses is given.
fn several(intervals: Span) -> Span {
    SAYS_SOMETHING.min(intervals * USUAL_INTERVALS)
}

/// The longest of sorted intervals, where several are alike and much longer than the usual one.
fn sign_of_life(sorted: &[Span]) -> Option<Span> {
    let (longest, least) = (*sorted.last()?, *sorted.get(sorted.len().checked_sub(SIGNS_OF_LIFE)?)?);
    let alike = (longest - least).as_secs_f64() <= ALIKE * longest.as_secs_f64();
    (alike && are_uneven(sorted[sorted.len() / 2], longest, UNSTEADY)).then_some(longest)
}

/// Is the longer interval so many times the shorter, and longer than being late makes it?
fn are_uneven(shorter: Span, longer: Span, times: i64) -> bool {
    longer >= shorter * times && longer >= shorter + LATE
}

/// Looks ahead along a sender's arrivals, as long as they change nothing but when the last one was: the sender stays steady and its limit
/// [`SHORTEST`].
///
/// That is so while all intervals but three of any [`REMEMBERED`] lie between [`Steady::low`] and [`Steady::high`]: then the median lies there,
/// and those by which it is judged whether a sender is steady.
#[derive(Debug)]
pub(crate) struct Steady {
    last: Timestamp,
    low: Span,
    high: Span,
    /// From here on two alike may be signs of life.
    pause: Span,
    seen: usize,
    /// Which intervals lay outside, the newest last.
    outside: [Option<usize>; OUTLIERS],
}

/// So many of [`REMEMBERED`] lie above nine in ten.
const OUTLIERS: usize = 3;

impl Steady {
    /// `None` if the sender is not steady yet, or reports too seldom.
    fn ahead_of(silent: &Silent) -> Option<Steady> {
        let (last, usual) = (silent.last?, silent.usual?);
        let learned = silent.intervals.len() == REMEMBERED && silent.came == silent.intervals;
        let (low, high) = (usual * 3 / 4, usual * 7 / 5);
        let calm = !silent.open && !silent.is_unsteady && !silent.is_pausing();
        if !learned || !calm || high * USUAL_INTERVALS > SHORTEST || low < BUNDLED {
            return None;
        }
        let pause = (usual * UNSTEADY).max(usual + LATE);
        let mut steady = Steady { last, low, high, pause, seen: 0, outside: [None; OUTLIERS] };
        silent.intervals.iter().all(|interval| steady.is_usual(*interval)).then_some(steady)
    }

    /// Before this moment the next reading has to come.
    #[inline]
    pub(crate) fn due(&self) -> Timestamp {
        self.last + SHORTEST
    }

    /// The limit that stays.
    pub(crate) fn limit(&self) -> Span {
        SHORTEST
    }

    /// Is the next arrival, before [`Steady::due`], as steady as all before it?
    #[inline]
    pub(crate) fn goes_on(&mut self, at: Timestamp) -> bool {
        let interval = at - self.last;
        self.last = at;
        self.is_usual(interval)
    }

    #[inline]
    fn is_usual(&mut self, interval: Span) -> bool {
        self.seen += 1;
        if self.low <= interval && interval <= self.high {
            return true;
        }
        let oldest = self.outside[0];
        self.outside.rotate_left(1);
        self.outside[OUTLIERS - 1] = Some(self.seen);
        (BUNDLED..self.pause).contains(&interval)
            && oldest.is_none_or(|oldest| oldest + REMEMBERED <= self.seen)
    }
}

fn sorted(intervals: &[Span]) -> Vec<Span> {
    let mut sorted = intervals.to_vec();
    sorted.sort_unstable();
    sorted
}

#[cfg(test)]
mod tests {
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
            silent.arrived(at(i * 5));
        }
        assert_eq!(silent.step(at(154), Phase::Working), Verdict::Quiet);
        let verdict = silent.step(at(500), Phase::Working);
        assert_eq!(raised(verdict), (at(155), Priority::High));
        assert_eq!(silent.step(at(600), Phase::Working), Verdict::Quiet, "told once");
        assert_eq!(silent.arrived(at(700)), Verdict::Over(at(700)));
    }

    #[test]
    fn a_slow_logger_is_given_five_intervals_and_idle_none_of_it() {
        let mut silent = Silent::default();
        for i in 0..20 {
            silent.arrived(at(i * 60));
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
                silent.arrived(at(now));
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
            silent.arrived(at(now));
        }
        let mut uneven = silent.clone();
        let missed = raised(uneven.step(at(now + 900), Phase::Working)).0 - at(now);
        assert!((150.0..230.0).contains(&missed.as_secs_f64()), "five long intervals: {missed:?}");
        silent.tells_moves(at(now));
        assert_eq!(silent.step(at(now + 600), Phase::Working), Verdict::Quiet);
        assert_eq!(raised(silent.step(at(now + 900), Phase::Working)).0, at(now + 900));
    }

    /// It melts, and tells of a move every quarter of a minute; then it stands, and every two minutes comes a sign of life: by five usual intervals it
    /// is silent twice, and then that is known to be usual.
    #[test]
    fn who_reports_on_change_is_missed_by_its_signs_of_life() {
        let mut silent = Silent::default();
        for i in 0..40 {
            silent.arrived(at(i * 15));
        }
        silent.tells_moves(at(585));
        let told: Vec<i64> = (1..=6)
            .filter(|sign| {
                let verdict = silent.step(at(585 + 120 * sign), Phase::Soak);
                silent.arrived(at(585 + 120 * sign));
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
            arrivals.into_iter().for_each(|second| drop(silent.arrived(at(second))));
            assert_eq!((silent.limit(), silent.steady_limit()), (SHORTEST, Some(SHORTEST)), "{interval} s");
        }
    }

    /// What may be a sign of life has to be looked at by itself.
    #[test]
    fn a_pause_ends_what_is_taken_at_once() {
        let mut silent = Silent::default();
        (0..40).for_each(|i| drop(silent.arrived(at(i * 5))));
        let mut steady = silent.steady().expect("a steady sender");
        assert!(steady.goes_on(at(200)) && steady.goes_on(at(214)) && !steady.goes_on(at(235)));
    }

    #[test]
    fn a_queue_that_comes_in_a_bundle_says_nothing_of_the_interval() {
        let mut silent = Silent::default();
        for i in 0..40 {
            silent.arrived(at(i * 5));
        }
        for i in 0..20 {
            silent.arrived(Timestamp::from_millis(400_000 + 4 * i));
        }
        silent.arrived(at(405));
        assert_eq!((silent.limit(), silent.is_pausing()), (SHORTEST, false));
    }

    #[test]
    fn who_reports_on_change_is_given_half_as_much_again_as_its_pauses() {
        assert_eq!(pausing(&[5, 10, 40, 5, 30]).limit(), Span::from_millis(1_500 * (600 + 5)));
    }

    #[test]
    fn a_logger_of_two_minutes_is_not_silent_from_its_first_reading() {
        let mut silent = Silent::default();
        for second in (0..3_600).step_by(120) {
            silent.arrived(at(second));
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
            silent.arrived(at(now));
        }
        assert!(told.iter().all(|nth| *nth <= SHOWN_BY), "told of again after {told:?}");
        assert!(!told.is_empty(), "nothing is known of it at first");
    }

    #[test]
    fn after_two_readings_nobody_knows_when_to_expect_more() {
        let mut silent = Silent::default();
        silent.arrived(at(0));
        silent.arrived(at(5));
        assert_eq!(silent.step(at(4_000), Phase::Melting), Verdict::Quiet);
        silent.arrived(at(4_000));
        silent.arrived(at(4_005));
        assert_eq!(raised(silent.step(at(4_065), Phase::Melting)).0, at(4_065));
    }
}
