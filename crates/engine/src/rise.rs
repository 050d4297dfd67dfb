//! A rise on chocolate alone: where a machine has neither set-point nor events, a rise faster than 0.1 °C/min out of a quiet hold is held
//! back until it stops or has lasted 20 min (contract, section 6). It may be the evening's rise to melt, which is no trouble.

use model::{Phase, Span, Timestamp};
use serde::{Deserialize, Serialize};

use crate::history::History;

const FAST: f64 = 0.1;
const HELD_FOR: Span = Span::from_mins(20);
/// Window of the slope: long enough for a noisy probe.
const WINDOW: Span = Span::from_mins(3);

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct HeldRise {
    rising_since: Option<Timestamp>,
}

impl HeldRise {
    /// Is a decision about the rise still out? `blind`: the machine has neither set-point nor events. A hold that never became steady enough
    /// for `working` is one, too.
    pub(crate) fn step(&mut self, now: Timestamp, phase: Phase, blind: bool, history: &History) -> bool {
        let holds = matches!(phase, Phase::Settling | Phase::Working);
        let rises = || history.line(now, WINDOW).is_some_and(|line| line.slope > FAST);
        if !(blind && holds && rises()) {
            self.rising_since = None;
            return false;
        }
        now - *self.rising_since.get_or_insert(now) < HELD_FOR
    }
}
