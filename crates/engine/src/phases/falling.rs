//! Soak and cooling: when does a fall out of the soak begin, and was it one.

use model::{Channel, Phase, Span, Timestamp};

use super::asked::{self, Step};
use super::cooled;
use super::departure::{FALL_SHOWN_LATE, FITTED_MOVE, Ground, Move, left_level};
use super::rest;
use super::turn;
use super::{Stage, Tracker, Turn, View, WORKING_MARGIN, soak_from};
use crate::history::History;
use crate::timeline::Timeline;

/// Out of the soak: the controller's swing is level.
const OUT_OF_SOAK: Ground = Ground {
    quiet: Span::from_mins(12),
    noise: 0.15,
    before: Span::from_mins(8),
    smooth: Span::ZERO,
    tilted: false,
    pause_beyond: None,
    fitted: FITTED_MOVE,
};
/// A fall of this much, still going on, is taken for the cooling before it leaves the soak, °C ...
const FALL: f64 = 1.2;
/// ... or this much when the set-point asks for less than the soak.
const FALL_ASKED: f64 = 0.3;
/// Cold pieces make a charge fall so far below what it was held at, which no control's swing does, °C ...
const FELL: f64 = 2.5;
/// ... the mean of so long before the set-point follows.
const HELD: Span = Span::from_mins(20);
/// The charge when the set-point is lowered: one reading may flicker.
const AT_STEP: Span = Span::from_secs(60);
/// A charge whose set-point asks for a melt, and which stands no further below it than this, °C, is held by it, or comes back to it from above.
const HELD_WITHIN: f64 = 1.0;
/// The slope of a fall that goes on, °C/min.
const FALLS: f64 = -0.05;
/// A fall that has stopped for so long above the soak's lower limit was none.
const FALL_STOPPED: Span = Span::from_mins(10);
/// What a fall looks like so long after it was noticed tells its beginning better.
const DATED_AGAIN: [Span; 2] = [Span::from_mins(2), Span::from_mins(6)];
/// A fall that is taken back is taken back by more than a display flickers, °C.
const COMES_BACK: f64 = 1.0;
/// A charge that goes so far below the soak and comes back has to melt again, °C (contract, section 5).
const COLD_CHARGE: f64 = 3.0;
/// A cold charge pulls the chocolate down within this; a slower fall was a cooling that somebody broke off.
const COLD_CHARGE_WITHIN: Span = Span::from_mins(20);

fn out_of_soak(view: &View<'_>, from: Timestamp) -> Option<Timestamp> {
    let less = soak_from(view.limits) - 1.0;
    let step = asked::asked_since(view, from, |setpoint| setpoint < less);
    let step_first = step.filter(|step| !fell_before(view.history, from, *step));
    let asked = step_first.and_then(|step| asked::left_level(view, Move::Fall, step));
    let in_soak = |level| level >= soak_from(view.limits);
    let left = asked.or_else(|| {
        let left_since =
            |since| left_level(view.history, Move::Fall, OUT_OF_SOAK, since, view.now, view.pace);
        let (mut since, mut left) = (from, left_since(from)?);
        // What it fell by from the top of a melt that went too far, or to a set-point a little lower, was no cooling.
        let rested = rest::rested_since(view, Move::Fall, from, in_soak);
        if let Some(rested) = rested.filter(|rested| left < *rested) {
            (since, left) = (rested, left_since(rested)?);
        }
        if let Some(driven) = cooled::left_level(view.history, view.pace.grain(), since, left, view.now) {
            return Some(driven);
        }
        let left = turn::or_swing(view, Move::Fall, since, left, in_soak);
        Some((left - FALL_SHOWN_LATE).max(since))
    });
    // A probe too coarse to show where it left its level may seem to have left it before anybody asked.
    let left = left.map(|left| step_first.map_or(left, |step| left.max(step.earliest)));
    // What nobody saw of the charge before it was set down was the soak.
    let unseen = |left: Timestamp| {
        step.map(|step| step.told).filter(|told| view.history.chocolate(left, *told).nth(1).is_none())
    };
    left.map(|left| unseen(left).map_or(left, |step| left.max(step)))
}

/// Was the charge on its way down before anybody asked for less? Who seeds first and sets the machine down afterwards makes it so. What only came back to
/// the set-point of before, from above that, was not.
fn fell_before(history: &History, from: Timestamp, step: Step) -> bool {
    let asked = history.values(from, step.told, |tick| tick.other(Channel::Setpoint)).next_back();
    let held = history.mean_over(step.earliest, HELD.min(step.earliest - from));
    let there = history.mean_over(step.earliest, AT_STEP);
    held.zip(there).is_some_and(|(held, there)| {
        held - there >= FELL && asked.is_none_or(|asked| there < asked - HELD_WITHIN)
    })
}

/// Does its set-point keep it in the melt? What comes back to that from above does not fall away.
fn is_held(view: &View<'_>, soak: f64) -> bool {
    view.setpoint.is_some_and(|setpoint| soak <= setpoint && setpoint - HELD_WITHIN < view.level)
}

impl Tracker {
    pub(super) fn soak(
        &mut self,
        view: &View<'_>,
        timeline: &mut Timeline,
        from: Timestamp,
    ) -> (Stage, Option<Turn>) {
        let soak = soak_from(view.limits);
        let slope = view.slope(Span::from_mins(3));
        let asked = view.setpoint.is_some_and(|setpoint| setpoint < soak - 1.0);
        let falls = slope.is_none_or(|slope| slope < if asked { FALLS / 5.0 } else { FALLS });
        if !falls || is_held(view, soak) {
            return (Stage::Soak { from }, None);
        }
        let top = view.extremes(Span::from_mins(20)).map_or(view.level, |(_, high)| high);
        let fallen = top - view.level >= if asked { FALL_ASKED } else { FALL };
        if !(fallen || view.level < soak) {
            return (Stage::Soak { from }, None);
        }
        let at = out_of_soak(view, from).unwrap_or(view.now);
        timeline.change(Phase::Cooling, at);
        (Stage::Cooling { from: at, noticed: view.now, lowest: view.level, lowest_at: view.now }, None)
    }

    /// Now that the whole fall is there, its top is clearer than when it was noticed: a controller's swing may have looked like it.
    fn redate_cooling(&self, view: &View<'_>, timeline: &mut Timeline) {
        let Some(soak) = timeline.last_of(Phase::Soak) else { return };
        if let Some(at) = out_of_soak(view, soak.from) {
            timeline.redate(at);
        }
    }

    pub(super) fn cooling(
        &mut self,
        view: &View<'_>,
        timeline: &mut Timeline,
        stage: Stage,
    ) -> (Stage, Option<Turn>) {
        let Stage::Cooling { mut from, noticed, mut lowest, mut lowest_at } = stage else {
            return (stage, None);
        };
        let soak = soak_from(view.limits);
        let reached = view.limits.working.high() + WORKING_MARGIN;
        if view.steady_level() <= reached {
            self.redate_cooling(view, timeline);
            timeline.change(Phase::Settling, self.reached(view, reached));
            return (Stage::settling(view), None);
        }
        if view.level < lowest {
            (lowest, lowest_at) = (view.level, view.now);
        }
        let shown = |after: Span| {
            view.now - noticed >= after && self.before.is_none_or(|(before, _)| before - noticed < after)
        };
        if DATED_AGAIN.into_iter().any(shown) {
            self.redate_cooling(view, timeline);
            from = timeline.last_of(Phase::Cooling).map_or(from, |cooling| cooling.from);
        }
        let came_back = lowest < soak && view.level >= soak && view.level - lowest >= COMES_BACK;
        if came_back && lowest < soak - COLD_CHARGE {
            let melts_from = if lowest_at - from <= COLD_CHARGE_WITHIN { from } else { lowest_at };
            timeline.change(Phase::Melting, melts_from);
            let at = self.crossed(view, soak);
            timeline.change(Phase::Soak, at);
            return (Stage::Soak { from: at }, None);
        }
        let asked = view.setpoint.is_some_and(|setpoint| setpoint < soak - 1.0);
        let stopped = view.now - noticed >= FALL_STOPPED
            && view.level >= soak
            && !asked
            && view.slope(FALL_STOPPED).is_some_and(|slope| slope > FALLS / 2.0);
        if came_back || stopped {
            timeline.change(Phase::Soak, from);
            return (Stage::Soak { from: view.now }, None);
        }
        (Stage::Cooling { from, noticed, lowest, lowest_at }, None)
    }
}
