//! Where a charge came to rest before it moved for good: what it did before that, an overshoot or a door left open, is no part of the move, however
//! far it went the same way. To a hinge it would be.

use maths::statistics::straight_line;
use model::{Span, Timestamp};

use super::View;
use super::departure::Move;
use crate::history::Line;

/// A charge that moves no faster than this, °C/min, for so long, or for twice as long where a slope over that is not known, is at rest ...
const AT_REST: f64 = 0.02;
const RESTS: Span = Span::from_mins(5);
/// ... and so is one that moves no faster than by this share of how it moves in the next minutes, and no faster than this: beside what seed or a slab
/// does to it, a cooling alone is slow.
const BESIDE_MOVE: f64 = 0.06;
const NEARLY_AT_REST: f64 = 0.07;
const MOVES_FOR: Span = Span::from_mins(2);
/// Looked for in such steps, so far back.
const STEP: Span = Span::from_secs(30);
const WITHIN: Span = Span::from_mins(45);

/// Since when the charge had been at rest `on_level` before the move that is on now; not before `from`. `None` where it did not rest for long enough,
/// or where the probe cannot tell.
pub(super) fn rested_since(
    view: &View<'_>,
    way: Move,
    from: Timestamp,
    on_level: impl Fn(f64) -> bool,
) -> Option<Timestamp> {
    let mut end = view.now;
    while from.max(view.now - WITHIN) <= end - RESTS {
        let moves = view.history.line(end + MOVES_FOR, MOVES_FOR).map_or(0.0, |next| way.sign() * next.slope);
        let at_rest = (BESIDE_MOVE * moves).clamp(AT_REST, NEARLY_AT_REST);
        for rests in [RESTS, RESTS * 2].into_iter().filter(|rests| from <= end - *rests) {
            let is_slow = |line: &Line| line.slope.abs() < at_rest;
            let Some(line) = view.history.line(end, rests).filter(is_slow) else { break };
            if error_of_slope(view, end, rests).is_some_and(|error| error <= at_rest / 2.0) {
                return on_level(line.mean).then_some(end - rests);
            }
        }
        end = end - STEP;
    }
    None
}

/// The standard error of the slope up to `end` about its own line, °C/min: noise, and what bends.
fn error_of_slope(view: &View<'_>, end: Timestamp, rests: Span) -> Option<f64> {
    let minutes = |(at, value): (Timestamp, f64)| ((at - end).as_mins_f64(), value);
    let (at, values): (Vec<f64>, Vec<f64>) = view.history.chocolate(end - rests, end).map(minutes).unzip();
    straight_line(&at, &values).ok().map(|line| line.slope_se)
}
