//! A rise that may be one to melt is held back. On chocolate alone, where a machine has neither set-point nor events, one that is faster than
//! 0.1 °C/min out of a quiet hold, until it stops or has lasted 20 min (contract, section 6). Where a charge was told, such a rise is
//! most likely its melt, and slow where cold pieces have to be warmed: it is held back until it stops, an hour and a half at most; and so is what
//! those pieces make of the old charge meanwhile, which is cold.

use model::{Phase, Span, Timestamp};
use serde::{Deserialize, Serialize};

use crate::history::History;
use crate::phases::Pace;

const FAST: f64 = 0.1;
/// Contract, section 6.
const HELD_ALONE: Span = Span::from_mins(20);
/// Pieces that take what was left down with them and are melted take as long (common practice, no source).
const HELD_AFTER_CHARGE: Span = Span::from_mins(90);
/// Window of the slope: long enough for a noisy probe ...
const WINDOW: Span = Span::from_mins(3);
/// ... and behind a pause.
const WIDER: Span = Span::from_mins(6);

/// Cold pieces have taken what was left down with them by then (common practice, no source) ...
const PIECES_COOL_FOR: Span = Span::from_mins(10);
/// ... and it is being brought up again when it is so much above its lowest, °C: lumps that float by the probe swing less.
const BROUGHT_UP: f64 = 0.5;
/// Being warmed, through the noise of a probe, °C/min.
const WARMED: f64 = 0.02;

/// What may lead to a rise to melt.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Reason {
    /// The machine has neither set-point nor events: anything may.
    Unknown,
    /// Somebody told of a new charge.
    Charge,
    /// Nothing that would not have been told.
    None,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct HeldRise {
    rising_since: Option<Timestamp>,
}

impl HeldRise {
    /// Is a decision about the rise still out? A hold that never became steady enough for `working` is one, too. A rise that nobody can see
    /// has not stopped, unless its logger would have told how it goes on.
    pub(crate) fn step(
        &mut self,
        now: Timestamp,
        phase: Phase,
        reason: Reason,
        history: &History,
        pace: &Pace,
    ) -> bool {
        let holds = matches!(phase, Phase::Settling | Phase::Working);
        let held = match reason {
            Reason::Unknown => Some((FAST, HELD_ALONE)),
            Reason::Charge => Some((WARMED, HELD_AFTER_CHARGE)),
            Reason::None => None,
        };
        let rises = |faster_than: f64| {
            let unseen = self.rising_since.is_some() && !pace.is_on_change();
            slope(now, history, pace).map_or(unseen, |slope| slope > faster_than)
        };
        let rising = held.filter(|&(faster_than, _)| holds && rises(faster_than));
        let Some((_, longest)) = rising else {
            self.rising_since = None;
            return false;
        };
        now - *self.rising_since.get_or_insert(now) < longest
    }
}

/// Is it the cold pieces of a charge, which somebody told at `charged_at`, that make it cold? They take down what was left, and the jacket
/// brings both up again.
pub(crate) fn takes_up_pieces(now: Timestamp, charged_at: Option<Timestamp>, history: &History) -> bool {
    let Some(since) = charged_at.map(|charged| now - charged) else { return false };
    let brought_up = || {
        let lowest = history.extremes(now, since).map(|(lowest, _)| lowest);
        history.level(now).zip(lowest).is_some_and(|(level, lowest)| level > lowest + BROUGHT_UP)
    };
    since < PIECES_COOL_FOR || (since < HELD_AFTER_CHARGE && brought_up())
}

/// °C/min; `None` where too little was seen of it.
fn slope(now: Timestamp, history: &History, pace: &Pace) -> Option<f64> {
    let over = |window: Span| history.line_through(now, pace.widened(window), pace.fewest());
    over(WINDOW).or_else(|| over(WIDER)).map(|line| line.slope)
}
