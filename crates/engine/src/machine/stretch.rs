//! The quick way of readings that lie still: many rows at once, where nothing is unusual in them.
//!
//! A row has its turn like a reading that came at the moment at which it was measured, and everything is as if each reading had come by itself:
//! what that would change at every arrival (who is silent, whose clock is wrong, what waits) is worked out once for the whole stretch, and the
//! readings go into their ticks by the column. A stretch ends before whatever needs a closer look: a chocolate reading that is missing,
//! impossible, a jump, late, or has not changed for long. Then, and while anything is held back or doubted, readings go one by one.

use std::ops::Range;

use frames::Rows;
use model::{Channel, Finding, Span, Timestamp};

use super::{MachineWatch, Setting};
use crate::findings::clock_off::MESSAGES;
use crate::findings::probe_fault::ProbeFault;
use crate::findings::spikes::SpikeFilter;
use crate::sorter::MOST_ROWS;

/// Fewer rows are not worth looking ahead.
const FEWEST_ROWS: usize = 30;

/// A finding of a stretch, with the arrival that led to it.
#[derive(Debug)]
pub(crate) struct Found {
    pub(crate) arrived: Timestamp,
    pub(crate) finding: Finding,
}

impl MachineWatch {
    /// Takes rows from the first of `range` on as far as nothing is unusual in them; says how many, which may be none.
    pub(crate) fn take_stretch(
        &mut self,
        setting: &Setting<'_>,
        rows: &Rows,
        range: Range<usize>,
        found: &mut Vec<Found>,
    ) -> usize {
        let from = range.start;
        let most = range.end.min(from + MOST_ROWS);
        let Some((came, limit)) =
            self.usual_ahead(rows, from..most).filter(|(came, _)| came.len() >= FEWEST_ROWS)
        else {
            return 0;
        };
        self.hear(rows, came.clone());
        let due = self.sorter.due_at(rows.at(came.end - 1));
        while let Some((at, sorted)) = self.sorter.pop_until(due) {
            self.take(setting, at, sorted);
            self.hand_on(rows, &came, at, found);
        }
        let waiting = rows.first_from(due + Span::from_millis(1), from).min(came.end);
        self.take_rows(setting, rows, &came, waiting, limit, found);
        self.sorter.came_in_order(rows, came.clone(), waiting);
        came.len()
    }

    /// The rows, from the first of `range` on, in which nothing is unusual, and how far apart chocolate readings may be in them.
    fn usual_ahead(&self, rows: &Rows, range: Range<usize>) -> Option<(Range<usize>, Span)> {
        let calm = self.probe_fault.is_calm() && self.spikes.is_calm() && self.clock_off.is_right();
        let (mut good, mut run) = self.sieve.calm_at().filter(|_| calm)?;
        let mut is_usual = |at: Timestamp, value: Option<f64>| {
            let Some(value) = value.filter(|_| ProbeFault::is_possible(value)) else { return false };
            let before = std::mem::replace(&mut good, value);
            SpikeFilter::goes_on(before, value) && run.goes_on(at, value) && self.process.ignores(value)
        };
        let mut waiting = self.sorter.readings_before(rows.at(range.start))?;
        let mut steady = self.silent.steady()?;
        if !waiting.all(|(at, channel, value)| channel != Channel::Chocolate || is_usual(at, value)) {
            return None;
        }
        let end = range.clone().find(|&row| {
            let at = rows.at(row);
            let chocolate = rows.slot(row, Channel::Chocolate);
            steady.due() <= at || chocolate.is_some_and(|value| !is_usual(at, value) || !steady.goes_on(at))
        });
        Some((range.start..end.unwrap_or(range.end), steady.limit()))
    }

    /// What the arrivals of a stretch leave behind.
    fn hear(&mut self, rows: &Rows, came: Range<usize>) {
        for channel in Channel::ALL {
            let held = came.clone().rev().filter_map(|row| Some((rows.at(row), rows.slot(row, channel)?)));
            let newest: Vec<_> = held.take(MESSAGES).collect();
            if let Some(&(at, value)) = newest.first() {
                self.newest.note(channel, (at, value), at);
            }
            self.clock_off.arrived_at_once(channel, newest.into_iter().rev().map(|(at, _)| at));
        }
        self.look_at_clock(rows.at(came.end - 1));
        let chocolate = |row: &usize| rows.value(*row, Channel::Chocolate).is_some();
        self.silent.arrived_steadily(came.filter(chocolate).map(|row| rows.at(row)));
    }

    /// The rows before `waiting` have their turn.
    fn take_rows(
        &mut self,
        setting: &Setting<'_>,
        rows: &Rows,
        came: &Range<usize>,
        waiting: usize,
        limit: Span,
        found: &mut Vec<Found>,
    ) {
        let mut row = came.start;
        while row < waiting {
            if !rows.has_value(row) {
                row += 1;
                continue;
            }
            let at = rows.at(row);
            let next = at.floor(self.sieve.step()) + self.sieve.step();
            let end = (row + 1..waiting).find(|&row| next <= rows.at(row)).unwrap_or(waiting);
            // The reading that closes a tick is looked at before that is.
            self.look_at(rows, row, limit);
            if let Some(tick) = self.sieve.turn(at) {
                self.tick(setting, tick);
                self.hand_on(rows, came, at, found);
            }
            for row in row + 1..end {
                self.look_at(rows, row, limit);
            }
            self.sieve.fill(rows, row..end);
            if rows.last_value(row..end, Channel::Setpoint).is_some() {
                self.setpoint_told.note(at.floor(self.sieve.step()));
            }
            row = end;
        }
    }

    /// A chocolate reading with which nothing is wrong: what is learned from it.
    fn look_at(&mut self, rows: &Rows, row: usize, limit: Span) {
        if let Some(value) = rows.value(row, Channel::Chocolate) {
            let at = rows.at(row);
            self.sieve.look_on(at, value, &self.history, limit);
            self.pace.note_reading(at, value);
        }
    }

    /// What was found when a reading of `at` had its turn is told with the arrival that gave it its turn.
    fn hand_on(&mut self, rows: &Rows, came: &Range<usize>, at: Timestamp, found: &mut Vec<Found>) {
        if self.ledger.has_changed() {
            let turn = rows.first_from(self.sorter.turn_of(at), came.start).min(came.end - 1);
            let arrived = rows.at(turn);
            found.extend(self.ledger.take_changed().into_iter().map(|finding| Found { arrived, finding }));
        }
    }
}
