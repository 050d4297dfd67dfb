//! Up to the soak: the beginning of a history, idle, melting.

use maths::statistics::median;
use model::{Method, Phase, Span, Timestamp};

use super::asked;
use super::departure::{FITTED_MOVE, Ground, LEFT, Move, drifted, left_level, shown_late};
use super::driven;
use super::{
    CHARGE_FORGOTTEN, IDLE_BELOW, STEADY_WINDOW, Stage, Tracker, Turn, View, WORKING_MARGIN, soak_from,
};
use crate::timeline::Timeline;

/// A history is looked at for so long before its first phase is named, and so many ticks have to be in it.
const FIRST_LOOK: Span = Span::from_mins(5);
const FIRST_LOOK_TICKS: usize = 3;
/// Slopes that tell a move from a hold at the beginning of a history, °C/min.
const MOVES: f64 = 0.05;
/// What rises through the range by more is not settling yet (contract, section 6), °C/min.
const PASSES: f64 = 0.1;
/// A rise out of idle is believed when the chocolate stands this far above the lowest of the last hour, °C ...
const RISE: f64 = 2.0;
/// ... or this far when the set-point asks for the melt range.
const RISE_ASKED: f64 = 0.5;
/// Partial melt: working once first in the range and staying so long (contract, section 5). It is dated where it came in, as every
/// change is dated where it happened; only the steadiness of `working` after a settling is dated at its end.
pub(super) const PARTIAL_MELT_STAY: Span = Span::from_mins(2);
/// So many readings show a level.
const LEVEL_SEEN_BY: usize = 2;
/// Whether a probe wanders is looked for over this long.
const RESTLESSNESS_SEEN: Span = Span::from_hours(1);
/// A rise that has not gone on for so long has ended.
const RISE_STOPPED: Span = Span::from_hours(2);

/// Out of idle: slow night melts, with a pause while the crystals melt.
const OUT_OF_IDLE: Ground = Ground {
    quiet: Span::from_mins(45),
    noise: 0.2,
    before: Span::from_mins(15),
    smooth: Span::from_mins(4),
    tilted: true,
    pause_beyond: None,
    fitted: FITTED_MOVE,
};

/// Out of idle in bursts, which make a staircase that no hinge fits: the foot alone.
pub(super) const STAIRCASE: Ground =
    Ground { before: Span::ZERO, smooth: Span::ZERO, noise: 0.5, ..OUT_OF_IDLE };
/// Out of idle, with pieces that make the probe wander.
const RESTLESS: Ground = Ground {
    quiet: Span::from_mins(150),
    noise: 0.4,
    before: Span::from_mins(60),
    smooth: Span::from_mins(16),
    fitted: 3.0,
    ..OUT_OF_IDLE
};

/// Does a bowl stay at one level between two moments, so that it is seen to? Not if it was clearly colder just before: then it warms already.
fn waits(view: &View<'_>, from: Timestamp, to: Timestamp) -> bool {
    let values: Vec<f64> = view.history.chocolate(from, to).map(|(_, value)| value).collect();
    let (early, late) = values.split_at(values.len() / 2);
    let rises = median(early).zip(median(late)).is_none_or(|(early, late)| late - early > 2.0 * LEFT);
    let before = view.history.mean_over(from, STEADY_WINDOW);
    let warmed = before.zip(median(&values)).is_some_and(|(before, now)| now - before > 2.0 * LEFT);
    values.len() >= LEVEL_SEEN_BY && !rises && !warmed
}

impl Tracker {
    /// The history may begin in the middle of anything, but where a charge was reported it begins with that.
    pub(super) fn begin(
        &mut self,
        view: &View<'_>,
        timeline: &mut Timeline,
        since: Timestamp,
    ) -> (Stage, Option<Turn>) {
        let unknown = (Stage::Unknown { since }, None);
        let limits = view.limits;
        let seen = view.history.chocolate(since, view.now).count();
        if seen + 1 < FIRST_LOOK_TICKS {
            return unknown;
        }
        let charged = self.charged_at.filter(|charged| since - *charged <= CHARGE_FORGOTTEN);
        let top = limits.working.high() + WORKING_MARGIN;
        let first = view.history.chocolate(since, view.now).map(|(_, first)| first).next();
        // Of a bowl that somebody has filled it is known what it is about.
        let came_up = first.filter(|first| *first < limits.working.low() - WORKING_MARGIN);
        if let (Some(charged), Some(first)) = (charged, came_up)
            && view.method == Method::PartialMelt
            && view.level <= top
        {
            timeline.change(Phase::Melting, charged);
            return self.melting(view, timeline, charged, first);
        }
        let Some(line) = view.line(FIRST_LOOK) else { return unknown };
        if view.now - since < FIRST_LOOK - Span::from_secs(10) {
            return unknown;
        }
        let since = charged.unwrap_or(since);
        if view.level < IDLE_BELOW && line.slope < MOVES {
            self.idle_since = Some(since);
            timeline.change(Phase::Idle, since);
            return (Stage::Idle, None);
        }
        if view.level >= soak_from(limits) && line.slope > -MOVES {
            return (Stage::Soak { from: since }, Some(Turn::Begins(vec![(Phase::Soak, since)])));
        }
        if view.level > top && line.slope <= -MOVES {
            let stage =
                Stage::Cooling { from: since, noticed: view.now, lowest: view.level, lowest_at: view.now };
            return (stage, Some(Turn::Begins(vec![(Phase::Cooling, since)])));
        }
        if self.in_range_since.is_some() && line.slope > PASSES {
            // It comes up from the cold: to its range, or through it on its way to a melt.
            return unknown;
        }
        if self.in_range_since.is_some() {
            let stage = Stage::settling(view);
            return (stage, Some(Turn::Begins(vec![(Phase::Settling, since)])));
        }
        if line.slope > MOVES {
            timeline.change(Phase::Melting, since);
            return (Stage::Melting { from: since, from_level: view.level.min(line.mean) }, None);
        }
        unknown
    }

    pub(super) fn idle(&mut self, view: &View<'_>, timeline: &mut Timeline) -> (Stage, Option<Turn>) {
        self.idle_low = self.idle_low.min(view.level);
        let soak = soak_from(view.next_limits);
        let asked = view.setpoint.is_some_and(|setpoint| setpoint >= soak);
        let rise = if asked { RISE_ASKED } else { RISE };
        let from_below = self.idle_low < soak - 1.0;
        // The last hour's lowest is not below the lowest since idle, so most ticks end here.
        if !from_below || (view.level - self.idle_low < rise && view.level < soak) {
            return (Stage::Idle, None);
        }
        let low = view.extremes(Span::from_hours(1)).map_or(view.level, |(low, _)| low);
        let rises = view.slope(Span::from_mins(10)).is_some_and(|slope| slope > 0.0);
        let risen = view.level - low.max(self.idle_low) >= rise;
        if !(risen && rises || view.level >= soak) {
            return (Stage::Idle, None);
        }
        let from = self.out_of_cold(view);
        timeline.change(Phase::Melting, from);
        let melting = Stage::Melting { from, from_level: self.idle_low.max(low) };
        if view.level >= soak { self.melting(view, timeline, from, low) } else { (melting, None) }
    }

    fn out_of_cold(&self, view: &View<'_>) -> Timestamp {
        let earliest = self.idle_since.or(view.history.first_at()).unwrap_or(view.now);
        let left = |ground| {
            left_level(view.history, Move::Rise, ground, earliest, view.now, view.pace).unwrap_or(view.now)
        };
        if view.method == Method::PartialMelt {
            return left(STAIRCASE);
        }
        let rough = left(RESTLESS);
        let soak = soak_from(view.next_limits);
        let step = asked::asked_since(view, earliest, |setpoint| setpoint >= soak);
        if !driven::is_restless(view.history, rough, (rough + RESTLESSNESS_SEEN).min(view.now)) {
            let asked = step.and_then(|step| asked::left_level(view, Move::Rise, step));
            let left = asked.unwrap_or_else(|| left(OUT_OF_IDLE));
            let left = left - shown_late(view.history, left, view.now);
            return asked::not_before(view, step, left).max(earliest);
        }
        let heated = driven::heated_from(view.history, earliest, view.now);
        let driven = heated.and_then(|heated| driven::left_level(view.history, heated, view.now));
        let by_clock = || step.and_then(|step| asked::left_level_by_clock(view, Move::Rise, step));
        driven.or_else(by_clock).unwrap_or(rough)
    }

    pub(super) fn melting(
        &mut self,
        view: &View<'_>,
        timeline: &mut Timeline,
        from: Timestamp,
        from_level: f64,
    ) -> (Stage, Option<Turn>) {
        let soak = soak_from(view.next_limits);
        if view.level >= soak {
            let at = self.crossed(view, soak);
            // Now that the whole rise is there, its foot is clearer than when it was noticed; a history may have begun with mere drift.
            let dated = self.out_of_cold(view).min(at);
            let drifted = || drifted(view.history, Move::Rise, from, dated, view.pace);
            let from = if self.idle_since.is_some() || drifted() { dated } else { from };
            let begins = Turn::Begins(vec![(Phase::Melting, from), (Phase::Soak, at)]);
            return (Stage::Soak { from: at }, Some(begins));
        }
        let stayed = self.in_range_since.filter(|since| view.now - *since >= PARTIAL_MELT_STAY);
        if let Some(since) = stayed.filter(|_| view.method == Method::PartialMelt) {
            // A bowl that was filled is melting only from where it leaves its level, if that was seen.
            let foot = left_level(view.history, Move::Rise, STAIRCASE, from, since, view.pace);
            let foot = foot.filter(|foot| waits(view, from, *foot));
            let from = foot.map_or(from, |foot| foot.clamp(from, since));
            let begins = Turn::Begins(vec![(Phase::Melting, from), (Phase::Working, since)]);
            return (Stage::working(), Some(begins));
        }
        let fallen_back = view.level < from_level + RISE_ASKED && view.now - from > Span::from_mins(30);
        let stopped = view.now - from > RISE_STOPPED
            && view.slope(Span::from_hours(1)).is_some_and(|slope| slope.abs() < 0.005);
        if fallen_back || (stopped && view.setpoint.is_none_or(|setpoint| setpoint < soak)) {
            // A restless probe may only have seemed to fall back: the rise that follows may have begun before.
            let since = self.idle_since;
            self.becomes_idle(from, timeline);
            self.idle_low = view.level;
            self.idle_since = since.or(Some(from));
            return (Stage::Idle, None);
        }
        (Stage::Melting { from, from_level }, None)
    }
}
