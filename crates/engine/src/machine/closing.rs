//! A batch begins or closes. One that closes is handed on, learned from, and shown to the detectors that look over batches.

use model::{BaselineDeed, BaselineOrder, Batch, Channel, Phase, Span, Timestamp};

use plant::Limits;

use super::{LOOKED_BACK, MachineWatch, Setting};
use crate::book::{Closed, Source};
use crate::findings::Told;
use crate::findings::over_batches::Seen;
use crate::history::{extremes, mean};
use crate::measures::SETTLED;
use crate::phases::Turn;

/// A set-point that moves less has not been changed, °C.
const SAME_SETPOINT: f64 = 0.05;
/// A hand thermometer is compared with the probe's mean over so long before: a slow probe reports twice in it.
const COMPARED_OVER: Span = Span::from_mins(2);
/// ... of a charge that moves by no more than this over so long, °C/min (start value: a tenth of a degree in a probe that is a minute late).
const STANDS: f64 = 0.1;
const STANDS_OVER: Span = Span::from_mins(5);

impl MachineWatch {
    /// A batch begins or ends.
    pub(super) fn turn(&mut self, setting: &Setting<'_>, turn: Option<Turn>, limits: &Limits) {
        let Some(turn) = turn else { return };
        let source =
            Source { history: &self.history, limits, longest_gap: self.longest_gap(), now: self.known_to() };
        let (at, closed) = match &turn {
            Turn::Begins(phases) => {
                let Some(&(_, at)) = phases.first() else { return };
                (at, self.book.begin(phases, &source))
            }
            Turn::Ends(at) => (*at, self.book.close(*at, &source)),
        };
        if let Some(closed) = closed {
            self.closed(setting, closed, at.max(self.known_to()));
        }
        if let Turn::Begins(_) = turn {
            self.history.forget_before(at - LOOKED_BACK);
            self.ledger.hand_over(at, self.book.open_id());
        }
    }

    /// A batch has closed; `known` is when that was known.
    pub(super) fn closed(&mut self, setting: &Setting<'_>, closed: Closed, known: Timestamp) {
        let Closed { batch, found } = closed;
        let hold_offset_c = self.hold_offset(&batch);
        if self.baselines.learns_from(setting.machine, &batch, &found) {
            self.baselines.learn(&batch, hold_offset_c, known);
        }
        let mut told = Told::default();
        self.over_batches.step(&Seen { batch: &batch, found: &found, hold_offset_c, known }, &mut told);
        for (kind, verdict) in told.0 {
            self.ledger.enter(kind, verdict, Some(&batch.id));
        }
        self.ended.push(batch);
    }

    /// The settled hold less the set-point of those minutes, if that stood still.
    fn hold_offset(&self, batch: &Batch) -> Option<f64> {
        let settled = batch.measures.settled_c?;
        let working = batch.first(Phase::Working)?.from;
        let ticks = self.history.between(working + SETTLED.0, working + SETTLED.1);
        let (low, high) = extremes(ticks.filter_map(|tick| tick.other(Channel::Setpoint)))?;
        (high - low < SAME_SETPOINT).then_some(settled - low)
    }

    /// A hand thermometer showed `reference_c` beside the probe. The hold's offset is asked for, and only of a charge that stands still do both
    /// show the same.
    pub(super) fn compare(&mut self, reference_c: f64, at: Timestamp) {
        let until = at + self.sieve.step();
        let held = matches!(self.book.timeline.at(at), Some(Phase::Settling | Phase::Working));
        let line = self.history.line(until, STANDS_OVER);
        if !held || line.is_some_and(|line| line.slope.abs() > STANDS) {
            return;
        }
        let probe = mean(self.history.chocolate(at - COMPARED_OVER, until).map(|(_, chocolate)| chocolate));
        let Some(probe) = probe else { return };
        let mut told = Told::default();
        self.over_batches.compared(probe - reference_c, at, at.max(self.known_to()), &mut told);
        self.enter_all(told);
    }

    /// A person orders something about a baseline.
    pub(crate) fn order(&mut self, order: &BaselineOrder) {
        self.baselines.order(order);
        match order.deed {
            BaselineDeed::Freeze | BaselineDeed::Learn => {}
            BaselineDeed::Reset => {
                let mut told = Told::default();
                self.over_batches.reset(&order.couverture, order.at, &mut told);
                self.enter_all(told);
            }
        }
    }
}
