//! Where a charge came to rest before it moved for good: what it did before that, an overshoot or a door left open, is no part of the move, however
//! far it went the same way. To a hinge it would be.

use model::{Span, Timestamp};

use super::View;
use super::departure::Move;

/// A charge that moves no faster than this, °C/min, for so long is at rest ...
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
    if !(view.slope_known_to(RESTS, RESTS * 2) <= AT_REST / 2.0) {
        return None;
    }
    let mut end = view.now;
    while from.max(view.now - WITHIN) <= end - RESTS {
        let line = view.history.line(end, RESTS)?;
        let moves = view.history.line(end + MOVES_FOR, MOVES_FOR).map_or(0.0, |next| way.sign() * next.slope);
        if way.sign() * line.slope < (BESIDE_MOVE * moves).clamp(AT_REST, NEARLY_AT_REST) {
            return on_level(line.mean).then_some(end - RESTS);
        }
        end = end - STEP;
    }
    None
}
