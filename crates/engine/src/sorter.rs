//! Readings and events back in the order of their own times, as far as they came within the lateness allowance.
//!
//! The watermark is the machine's own now, less the allowance; what is older than something already let through is late. The chocolate's clock is
//! the machine's: now is its newest time, and as much later as arrivals have gone on since. Another channel, whose sender has a clock of its own or
//! another way to come, moves the watermark no further than that, and waits for its turn where it is ahead.
//! A few wrong times in the future must not make everything after them late, so a time far ahead of its arrival moves the watermark only when the
//! clock has been steadily ahead for a while; and one that is set back is followed back ([`Sorter::is_set_back`]).

mod clock;

use std::collections::VecDeque;
use std::ops::Range;

use frames::Rows;
use model::{Channel, Event, Span, Timestamp};
use serde::{Deserialize, Serialize};

use self::clock::Clock;
pub(crate) use self::clock::is_of_no_clock;
use crate::findings::clock_off::{OFF_BY, RUNNING};

/// A time this far ahead of its arrival is doubted.
pub(crate) const AHEAD: Span = OFF_BY;
/// Waiting readings a machine: an hour of seven channels at 1 Hz. Beyond it the oldest goes through.
const MOST_WAITING: usize = 25_200;
/// So many rows are taken at once ...
pub(crate) const MOST_ROWS: usize = 3_000;
/// ... behind no more than so many readings, so that all of them could wait.
const MOST_BEFORE: usize = MOST_WAITING - MOST_ROWS * Channel::ALL.len();

/// Something let through, in the order of its own time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) enum Sorted {
    Reading(Channel, Option<f64>),
    Event(Box<Event>),
}

/// What `push` made of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Pushed {
    /// It waits for its turn.
    Waits,
    /// The same channel and time already waited; the new value counts.
    Replaced,
    /// Something newer has already been let through.
    Late,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Sorter {
    lateness: Span,
    /// In order; what comes belongs at the end nearly always.
    waiting: VecDeque<((Timestamp, u32), Sorted)>,
    events_seen: u32,
    newest: Option<Timestamp>,
    let_through: Option<Timestamp>,
    clock: Clock,
    /// Chocolate waits that is far ahead of its arrival and not believed.
    holds_doubted: bool,
}

/// Readings sort by channel within a moment, events after them.
const FIRST_EVENT: u32 = 16;

impl Sorter {
    pub(crate) fn new(lateness: Span) -> Sorter {
        Sorter {
            lateness,
            waiting: VecDeque::new(),
            events_seen: FIRST_EVENT,
            newest: None,
            let_through: None,
            clock: Clock::default(),
            holds_doubted: false,
        }
    }

    pub(crate) fn push_reading(
        &mut self,
        channel: Channel,
        at: Timestamp,
        value: Option<f64>,
        arrived: Timestamp,
    ) -> Pushed {
        if channel == Channel::Chocolate {
            self.clock.note(at, arrived);
            self.holds_doubted |= !self.clock.believes(at);
            if self.holds_doubted && self.clock.is_steadily_usual(at, arrived) {
                self.forget_doubted(at);
            }
        }
        if self.let_through.is_some_and(|through| at <= through) {
            return Pushed::Late;
        }
        let now = self.clock.at(arrived).or((at - arrived <= AHEAD).then_some(at));
        self.newest = self.newest.max(now.map(|now| now.min(at)));
        let pushed = self.insert((at, channel.index() as u32), Sorted::Reading(channel, value));
        if self.waiting.len() > MOST_WAITING {
            // What is far ahead of the chocolate has longest to wait; it is on disk. Let through, it would make all else late.
            let far = now.or(self.newest).map(|now| now + AHEAD);
            self.waiting.pop_back_if(|((last, _), _)| far.is_some_and(|far| far < *last));
        }
        pushed
    }

    fn insert(&mut self, key: (Timestamp, u32), sorted: Sorted) -> Pushed {
        if self.waiting.back().is_none_or(|(last, _)| *last < key) {
            self.waiting.push_back((key, sorted));
            return Pushed::Waits;
        }
        match self.waiting.binary_search_by(|(other, _)| other.cmp(&key)) {
            Ok(place) => {
                self.waiting[place].1 = sorted;
                Pushed::Replaced
            }
            Err(place) => {
                self.waiting.insert(place, (key, sorted));
                Pushed::Waits
            }
        }
    }

    /// An event waits for its time like a reading; one that was reported late goes through at once.
    pub(crate) fn push_event(&mut self, event: Event) {
        self.events_seen = self.events_seen.wrapping_add(1).max(FIRST_EVENT);
        self.insert((event.at, self.events_seen), Sorted::Event(Box::new(event)));
    }

    /// What waits, if all of it are readings and all were measured before `at`, when the next one is; `None` too if more waits than may.
    pub(crate) fn readings_before(
        &self,
        at: Timestamp,
    ) -> Option<impl Iterator<Item = (Timestamp, Channel, Option<f64>)>> {
        let is_reading = |(_, sorted): &((Timestamp, u32), Sorted)| matches!(sorted, Sorted::Reading(..));
        let in_order = self.newest.max(self.let_through).is_none_or(|newest| newest < at)
            && self.clock.shows.is_none_or(|(at, came)| at == came)
            && self.waiting.back().is_none_or(|((last, _), _)| *last < at);
        let ready = in_order && self.waiting.len() <= MOST_BEFORE && self.waiting.iter().all(is_reading);
        let reading = |((at, _), sorted): &((Timestamp, u32), Sorted)| match sorted {
            Sorted::Reading(channel, value) => Some((*at, *channel, *value)),
            Sorted::Event(_) => None,
        };
        ready.then(|| self.waiting.iter().filter_map(reading))
    }

    /// A clock that has gone wrong for a moment shows `now` again: what it showed meanwhile is not of the future.
    fn forget_doubted(&mut self, now: Timestamp) {
        self.holds_doubted = false;
        let of_the_chocolate = Channel::Chocolate.index() as u32;
        self.waiting.retain(|((at, kind), _)| *kind != of_the_chocolate || *at <= now + AHEAD);
    }

    /// Has the clock been set back, as far as it seems for good? All that comes now is older than what has been let through.
    pub(crate) fn is_set_back(&self, at: Timestamp, arrived: Timestamp) -> bool {
        self.let_through.is_some_and(|through| at + AHEAD < through) && self.clock.is_set_back(at, arrived)
    }

    /// Goes on from `at`, by the clock that has been set back.
    pub(crate) fn set_back(&mut self, at: Timestamp, arrived: Timestamp) {
        self.let_through = Some(at - Span::from_millis(1));
        self.newest = Some(at);
        self.clock.shows = Some((at, arrived));
        self.waiting.retain(|((waits, _), _)| *waits <= at + AHEAD);
    }

    /// How old a reading has to be when another comes at `now`, to have its turn.
    pub(crate) fn due_at(&self, now: Timestamp) -> Timestamp {
        now - self.lateness
    }

    /// When a reading has its turn at the earliest.
    pub(crate) fn turn_of(&self, at: Timestamp) -> Timestamp {
        at + self.lateness
    }

    /// Some rows came, each at its own moment, behind all that waited; those before `waiting` have had their turn.
    pub(crate) fn came_in_order(&mut self, rows: &Rows, came: Range<usize>, waiting: usize) {
        let Some(last) = came.clone().next_back() else { return };
        if let Some(through) = came.start.max(waiting).checked_sub(1).filter(|row| came.contains(row)) {
            self.let_through = Some(rows.at(through));
        }
        self.newest = Some(rows.at(last));
        let measured = |row: &usize| rows.slot(*row, Channel::Chocolate).is_some();
        let newest: Vec<usize> = came.clone().rev().filter(measured).take(RUNNING).collect();
        newest.iter().rev().for_each(|row| self.clock.note(rows.at(*row), rows.at(*row)));
        for row in waiting..came.end {
            for (channel, value) in rows.readings(row) {
                let key = (rows.at(row), channel.index() as u32);
                self.waiting.push_back((key, Sorted::Reading(channel, value)));
            }
        }
    }

    /// The next thing whose time has come.
    pub(crate) fn next_due(&mut self) -> Option<(Timestamp, Sorted)> {
        let due = self.due_at(self.newest?);
        let &((at, _), _) = self.waiting.front()?;
        (at <= due || self.waiting.len() > MOST_WAITING).then(|| self.pop()).flatten()
    }

    /// Has something newer had its turn?
    pub(crate) fn is_past(&self, at: Timestamp) -> bool {
        self.let_through.is_some_and(|through| at < through)
    }

    /// Does an event wait that has happened by `now`?
    pub(crate) fn holds_event(&self, now: Timestamp) -> bool {
        let mut happened = self.waiting.iter().take_while(|((at, _), _)| *at <= now);
        happened.any(|(_, sorted)| matches!(sorted, Sorted::Event(_)))
    }

    /// The next thing, if it is not younger than `due`.
    pub(crate) fn pop_until(&mut self, due: Timestamp) -> Option<(Timestamp, Sorted)> {
        let &((at, _), _) = self.waiting.front()?;
        (at <= due).then(|| self.pop()).flatten()
    }

    /// The next thing that the machine's clock has come to when arrivals have come to `clock`: nothing that would be before it is still expected.
    pub(crate) fn pop_measured(&mut self, clock: Timestamp) -> Option<(Timestamp, Sorted)> {
        self.pop_until(self.clock.at(clock).unwrap_or(clock))
    }

    /// By how much `at` is older than the newest that has had its turn.
    pub(crate) fn late_by(&self, at: Timestamp) -> Span {
        self.let_through.map_or(Span::ZERO, |through| (through - at).max(Span::ZERO))
    }

    /// [`Sorter::push_reading`] of what came after its turn, for the first moment that has not had its own.
    pub(crate) fn push_after_all(&mut self, channel: Channel, value: Option<f64>) {
        if let Some(through) = self.let_through {
            let first = through + Span::from_millis(1);
            self.insert((first, channel.index() as u32), Sorted::Reading(channel, value));
        }
    }

    /// The next thing, whether its time has come or not: at the end of a stream.
    pub(crate) fn pop(&mut self) -> Option<(Timestamp, Sorted)> {
        let ((at, _), sorted) = self.waiting.pop_front()?;
        self.let_through = self.let_through.max(Some(at));
        Some((at, sorted))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> Timestamp {
        Timestamp::from_millis(seconds * 1000)
    }

    fn push(sorter: &mut Sorter, seconds: i64, value: f64) -> Pushed {
        sorter.push_reading(Channel::Chocolate, at(seconds), Some(value), at(seconds))
    }

    fn due(sorter: &mut Sorter) -> Vec<i64> {
        std::iter::from_fn(|| sorter.next_due()).map(|(at, _)| at.as_millis() / 1000).collect()
    }

    #[test]
    fn what_comes_within_the_allowance_is_put_in_order() {
        let mut sorter = Sorter::new(Span::from_secs(15));
        for seconds in [10, 12, 11, 27] {
            assert_eq!(push(&mut sorter, seconds, 31.0), Pushed::Waits);
        }
        assert_eq!(push(&mut sorter, 11, 32.0), Pushed::Replaced);
        assert_eq!(due(&mut sorter), [10, 11, 12]);
        assert_eq!(push(&mut sorter, 12, 31.0), Pushed::Late);
        assert_eq!(push(&mut sorter, 13, 31.0), Pushed::Waits);
    }

    #[test]
    fn one_time_far_in_the_future_does_not_make_the_rest_late() {
        let mut sorter = Sorter::new(Span::from_secs(15));
        push(&mut sorter, 10, 31.0);
        sorter.push_reading(Channel::Chocolate, at(86_400), Some(31.0), at(11));
        push(&mut sorter, 12, 31.0);
        push(&mut sorter, 40, 31.0);
        assert_eq!(due(&mut sorter), [10, 12]);
    }

    #[test]
    fn a_clock_that_is_steadily_ahead_is_followed() {
        let mut sorter = Sorter::new(Span::from_secs(15));
        for seconds in 0..300 {
            sorter.push_reading(Channel::Chocolate, at(3600 + seconds), Some(31.0), at(seconds));
        }
        assert_eq!(due(&mut sorter), [0; 0], "it has not been wrong for long");
        sorter.push_reading(Channel::Chocolate, at(3900), Some(31.0), at(300));
        assert_eq!(due(&mut sorter).len(), 286, "up to the lateness that is allowed");
    }

    /// A logger that starts shows tomorrow for half a minute: that makes nothing late, and does not come back tomorrow.
    #[test]
    fn a_clock_that_is_wrong_for_a_moment_is_forgotten() {
        let mut sorter = Sorter::new(Span::from_secs(15));
        push(&mut sorter, 0, 31.0);
        for seconds in 1..30 {
            sorter.push_reading(Channel::Chocolate, at(86_400 + seconds), Some(31.0), at(seconds));
        }
        (30..100).for_each(|seconds| assert_eq!(push(&mut sorter, seconds, 31.0), Pushed::Waits));
        assert_eq!(due(&mut sorter).len(), 1 + 85 - 30);
        assert!(sorter.waiting.iter().all(|((waits, _), _)| *waits < at(100)));
    }

    /// The jacket's sender is half a minute ahead, and the chocolate's forty seconds behind: both have their turn in the order of their times.
    #[test]
    fn other_channels_wait_for_the_chocolate() {
        let mut sorter = Sorter::new(Span::from_secs(15));
        let mut late = 0;
        for seconds in 0..120 {
            let channels = [(Channel::Chocolate, -40), (Channel::Jacket, 30), (Channel::Stirrer, 0)];
            for (channel, ahead) in channels {
                let pushed =
                    sorter.push_reading(channel, at(100 + seconds + ahead), Some(31.0), at(100 + seconds));
                late += usize::from(pushed == Pushed::Late);
            }
            if seconds == 0 {
                due(&mut sorter);
            }
        }
        assert_eq!(late, 0);
        let order = due(&mut sorter);
        assert!(order.is_sorted() && order.last() == Some(&(100 + 119 - 40 - 15)), "{order:?}");
    }

    #[test]
    fn a_clock_that_is_set_right_is_followed_back() {
        let mut sorter = Sorter::new(Span::from_secs(15));
        for seconds in 0..400 {
            sorter.push_reading(Channel::Chocolate, at(3600 + seconds), Some(31.0), at(seconds));
        }
        due(&mut sorter);
        let told = (400..410).find(|&seconds| {
            push(&mut sorter, seconds, 31.0) == Pushed::Late && sorter.is_set_back(at(seconds), at(seconds))
        });
        assert_eq!(told, Some(404), "with its fifth message");
        sorter.set_back(at(404), at(404));
        assert_eq!(push(&mut sorter, 404, 31.0), Pushed::Waits);
    }
}
