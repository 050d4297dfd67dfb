//! Readings and events back in the order of their own times, as far as they came within the lateness allowance.
//!
//! The watermark is the newest time seen less the allowance; what is older than something already let through is late.
//! One wrong clock value in the future must not make everything after it late, so a time far ahead of its arrival
//! moves the watermark only when the sender's clock is steadily ahead.

use std::collections::VecDeque;
use std::ops::Range;

use frames::Rows;
use model::{Channel, Event, Span, Timestamp};
use serde::{Deserialize, Serialize};

use crate::bounded::remember;

/// A time this far ahead of its arrival is doubted.
const AHEAD: Span = Span::from_secs(60);
/// So many messages in a row ...
const STEADY_MESSAGES: usize = 5;
/// ... whose offset lies within this make a clock that is steadily wrong.
const STEADY_WITHIN: Span = Span::from_secs(10);
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
    offsets: Vec<Span>,
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
            offsets: Vec::new(),
        }
    }

    pub(crate) fn push_reading(
        &mut self,
        channel: Channel,
        at: Timestamp,
        value: Option<f64>,
        arrived: Timestamp,
    ) -> Pushed {
        self.note_offset(at - arrived);
        if self.let_through.is_some_and(|through| at <= through) {
            return Pushed::Late;
        }
        if at - arrived <= AHEAD || self.clock_is_steady() {
            self.newest = self.newest.max(Some(at));
        }
        self.insert((at, channel.index() as u32), Sorted::Reading(channel, value))
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
            && self.waiting.back().is_none_or(|((last, _), _)| *last < at);
        let ready = in_order && self.waiting.len() <= MOST_BEFORE && self.waiting.iter().all(is_reading);
        let reading = |((at, _), sorted): &((Timestamp, u32), Sorted)| match sorted {
            Sorted::Reading(channel, value) => Some((*at, *channel, *value)),
            Sorted::Event(_) => None,
        };
        ready.then(|| self.waiting.iter().filter_map(reading))
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
        let offsets = came.clone().rev().flat_map(|row| rows.readings(row)).take(STEADY_MESSAGES).count();
        (0..offsets).for_each(|_| self.note_offset(Span::ZERO));
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

    /// The next thing, whether its time has come or not: at the end of a stream, or when the machine has gone silent.
    pub(crate) fn pop(&mut self) -> Option<(Timestamp, Sorted)> {
        let ((at, _), sorted) = self.waiting.pop_front()?;
        self.let_through = self.let_through.max(Some(at));
        Some((at, sorted))
    }

    fn note_offset(&mut self, offset: Span) {
        remember(&mut self.offsets, offset, STEADY_MESSAGES);
    }

    fn clock_is_steady(&self) -> bool {
        let (low, high) = (self.offsets.iter().min(), self.offsets.iter().max());
        self.offsets.len() == STEADY_MESSAGES
            && matches!((low, high), (Some(&low), Some(&high)) if high - low <= STEADY_WITHIN)
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
        for seconds in 0..30 {
            sorter.push_reading(Channel::Chocolate, at(3600 + seconds), Some(31.0), at(seconds));
        }
        assert_eq!(due(&mut sorter).len(), 15);
    }
}
