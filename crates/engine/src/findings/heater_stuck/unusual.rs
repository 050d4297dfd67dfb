//! Is what the jacket does none of the ways of the hold that it is in?

use frames::Tick;
use model::{Channel, Span, Timestamp};

use super::minutes::{MINUTE, near_seldom};
use super::{CHARGE_CALM, CHARGE_THERE, JACKET_CALM, JACKET_MINUTES, is_asked};
use crate::findings::around::Around;

/// Hotter than before in this hold by so much; looked back on for so long, from so much of it on.
const JACKET_UNUSUAL: f64 = 2.0;
/// ... where it has ever gone further above the set-point than this.
const JACKET_QUIET: f64 = 2.5;
const HOLD_REMEMBERED: Span = Span::from_hours(3);
const HOLD_KNOWN: Span = Span::from_mins(20);
/// Walked back in such steps, a slow rise goes on while it makes so much of each, °C.
const RISE_STEP: Span = Span::from_mins(2);
const STILL_RISES: f64 = 0.15;

/// Is the jacket hotter than it was in this hold before? A two-point controller with much heat takes its jacket far up again and again. At the
/// beginning of a hold, when nothing is known of that yet, the charge must have come through the set-point; and so it must where the jacket was never
/// calm, which has to be hotter than in the last minutes then.
pub(super) fn is_unusual(a: &Around<'_>, setpoint: f64, jacket: f64, charge_above: f64) -> bool {
    let same = |tick: &Tick| is_asked(tick, setpoint);
    let before = a.history.between(a.known - HOLD_REMEMBERED, rises_since(a));
    let mut hold = before.rev().take_while(same).peekable();
    let lasts = hold.peek().map(|newest| newest.at);
    let (mut there, mut since, mut highest) = (None, None, None::<f64>);
    // Newer than a moment at which the jacket was calm: what is older than all of those was still the heating up.
    let mut swings_to = f64::NEG_INFINITY;
    // The newest minutes speak for a jacket that was never calm.
    let mut lately = f64::NEG_INFINITY;
    for tick in hold {
        there = tick
            .chocolate()
            .map_or(there, |chocolate| Some((-CHARGE_THERE..=CHARGE_CALM).contains(&(chocolate - setpoint))));
        if there != Some(true) {
            continue;
        }
        since = Some(tick.at);
        let Some(value) = tick.other(Channel::Jacket) else { continue };
        swings_to = swings_to.max(value);
        if lasts.is_some_and(|newest| newest - tick.at <= HOLD_KNOWN) {
            lately = swings_to;
        }
        if value <= setpoint + JACKET_CALM {
            highest = Some(swings_to);
        }
    }
    let known_for = lasts.zip(since).map(|(newest, oldest)| newest - oldest);
    match (highest, known_for.is_some_and(|known_for| known_for >= HOLD_KNOWN)) {
        (Some(highest), true) => highest <= setpoint + JACKET_QUIET || jacket > highest + JACKET_UNUSUAL,
        (None, true) => charge_above >= CHARGE_THERE && jacket > lately + JACKET_UNUSUAL,
        (Some(_) | None, false) => charge_above >= CHARGE_THERE,
    }
}

/// Since when the jacket has been rising that has done so for the last minutes: a slow rise was none of the hold's ways either when it began.
fn rises_since(a: &Around<'_>) -> Timestamp {
    let jacket = |at: Timestamp| near_seldom(a, at, |tick| tick.other(Channel::Jacket));
    let mut since = a.known - MINUTE * JACKET_MINUTES as i64;
    let mut lowest = jacket(since);
    while let (Some(now), Some(before)) = (lowest, jacket(since - RISE_STEP)) {
        if now - before < STILL_RISES || a.known - since >= HOLD_REMEMBERED {
            break;
        }
        (since, lowest) = (since - RISE_STEP, Some(before));
    }
    since
}
