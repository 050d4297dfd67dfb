//! How a sender reports: how long may pass between two of its readings before something is missing.

use std::collections::VecDeque;

use model::{Span, Timestamp};
use serde::{Deserialize, Serialize};

use crate::bounded::remember;

/// Five usual intervals, or this if it is longer (contract, section 6).
pub(super) const SHORTEST: Span = Span::from_secs(60);
pub(super) const USUAL_INTERVALS: i64 = 5;
/// Messages may be so late by default (contract, section 6), and then intervals differ by that though the sender has but one.
pub(super) const LATE: Span = Span::from_secs(15);
/// Enough for a median that neither a burst nor a pause moves.
pub(super) const REMEMBERED: usize = 31;
/// A sender is unsteady where nine in ten of its intervals are not below this many usual ones.
pub(super) const UNSTEADY: i64 = 2;
/// ... or, of at least so many, where the shortest of the longest quarter is not below this many times the longest of the shortest quarter.
pub(super) const SHOWN_BY: usize = 12;
const UNEVEN: i64 = 3;
/// Fewer intervals say nothing of what is usual.
pub(super) const FEWEST: usize = 3;
/// So many pauses over the limit among so many arrivals are an unsteady sender's way, not a fault each time ...
const PAUSES: usize = 4;
const AMONG: u64 = 1_000;
/// ... and more than the longest of them by this much is missing something, up to this length.
const OVER_PAUSES: i64 = 3;
const LONGEST: Span = Span::from_mins(30);
/// A logger on change goes on being one (start value).
const ON_CHANGE_FOR: Span = Span::from_hours(24);
/// So many of its longest intervals, alike within this share, are its signs of life (start values).
const SIGNS_OF_LIFE: usize = 2;
const ALIKE: f64 = 0.02;
/// A logger that reports on change says something every ten minutes as a rule (common practice, no source), and half as much again.
pub(super) const SAYS_SOMETHING: Span = Span::from_mins(15);
/// Arrivals closer than this come in a bundle, or twice, and are no interval.
pub(super) const BUNDLED: Span = Span::from_millis(500);

/// What is known of a sender.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Habit {
    pub(super) last: Option<Timestamp>,
    /// When the newest came that told something newer than all before it.
    pub(super) last_news: Option<Timestamp>,
    /// How long the newest had been on its way.
    pub(super) way: Span,
    pub(super) intervals: Vec<Span>,
    /// The same, with the silences that were told among them.
    pub(super) came: Vec<Span>,
    pub(super) usual: Option<Span>,
    /// Its intervals are uneven now, and the arrival at which they last were.
    pub(super) is_unsteady: bool,
    unsteady_at: Option<u64>,
    /// Its readings were those of a logger on change, then.
    pub(super) on_change_at: Option<Timestamp>,
    /// How far apart its signs of life were.
    sign_of_life: Option<Span>,
    /// Arrivals so far, and those of the newest that ended a pause, with its length.
    arrivals: u64,
    pauses: VecDeque<(u64, Span)>,
}

impl Habit {
    /// A reading came, so long on its `way`; `is_newer` than all before it; `was_told`: it ends a silence that had been told. The same once more, or what
    /// was kept during an outage and is on its way less and less long, shows that the sender is alive, and nothing of how often it measures.
    pub(super) fn arrived(&mut self, at: Timestamp, way: Span, is_newer: bool, was_told: bool) {
        let before = std::mem::replace(&mut self.way, way);
        let is_news = is_newer && (way <= SHORTEST || (-LATE <= way - before && way - before <= LATE));
        self.arrivals += 1;
        if let Some(last) = self.last.replace(at) {
            self.note_pause(at - last);
        }
        if is_news
            && let Some(last) = self.last_news.replace(at)
            && at - last >= BUNDLED
        {
            self.note_interval(at - last, was_told);
        }
    }

    /// [`Habit::arrived`] for each of these arrivals, which [`Steady`](super::Steady) has found to be steady.
    pub(super) fn arrived_steadily(&mut self, times: impl IntoIterator<Item = Timestamp>) {
        let before = self.arrivals;
        for at in times {
            self.arrivals += 1;
            let interval = self.last.replace(at).map(|last| at - last);
            (self.last_news, self.way) = (Some(at), Span::ZERO);
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

    fn note_interval(&mut self, interval: Span, was_told: bool) {
        remember(&mut self.came, interval, REMEMBERED);
        let came = sorted(&self.came);
        let is_uneven =
            came.len() >= SHOWN_BY && are_uneven(came[came.len() / 4], came[came.len() * 3 / 4], UNEVEN);
        // A silence that was told is not an interval of a steady sender, unless most of its intervals were told.
        if !was_told {
            remember(&mut self.intervals, interval, REMEMBERED);
            let intervals = sorted(&self.intervals);
            // Of a few the longest counts: two gateways that pass on the same, one after the other, have short ones among them.
            let few = self.intervals.len() < SHOWN_BY;
            let usual = if few { intervals[intervals.len() - 1] } else { intervals[intervals.len() / 2] };
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
    pub(super) fn limit(&self) -> Span {
        self.usual_limit().max(self.pausing_limit())
    }

    pub(super) fn usual_limit(&self) -> Span {
        self.usual.map_or(SHORTEST, |usual| SHORTEST.max(usual * USUAL_INTERVALS))
    }

    /// Has it lately had no one interval?
    pub(super) fn is_pausing(&self) -> bool {
        self.unsteady_at.is_some_and(|arrival| arrival + AMONG >= self.arrivals)
    }

    fn is_on_change(&self) -> bool {
        self.on_change_at.zip(self.last).is_some_and(|(then, last)| last - then <= ON_CHANGE_FOR)
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

fn sorted(intervals: &[Span]) -> Vec<Span> {
    let mut sorted = intervals.to_vec();
    sorted.sort_unstable();
    sorted
}
