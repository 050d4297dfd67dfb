//! Around the working range: settling, rewarming, working.

use model::{Phase, Span, Timestamp};

use super::departure::{Ground, Move, left_level};
use super::{IDLE_BELOW, Stage, Tracker, Turn, View, WORKING_MARGIN, soak_from};
use crate::timeline::Timeline;

/// Working: so long in the range (contract, section 5) ...
const STAYED: Span = Span::from_mins(5);
/// ... with a slope below this, °C/min.
const STEADY: f64 = 0.05;
/// Rewarming starts this far below the working range (contract, section 5) ...
const REWARMED_FROM: f64 = 1.0;
/// ... and is one when it comes back by this much: less is the rebound of a seed dip (contract, section 5).
const REWARMED_BY: f64 = 2.0;
/// A probe that stood in seed comes back faster than any wall can warm a charge.
const REWARMED_IN: Span = Span::from_mins(2);
/// Idle by the clock (contract, section 5).
const COLD_FOR: Span = Span::from_mins(60);

impl Tracker {
    pub(super) fn settling(
        &mut self,
        view: &View<'_>,
        timeline: &mut Timeline,
        mut lowest: f64,
        mut lowest_at: Timestamp,
    ) -> (Stage, Option<Turn>) {
        if let Some(turn) = self.new_rise(view, timeline, None) {
            return turn;
        }
        if self.is_steady(view) {
            timeline.change(Phase::Working, view.now);
            return (Stage::Working { rise_from: None, cold_since: None }, None);
        }
        if view.level < lowest {
            (lowest, lowest_at) = (view.level, view.now);
        }
        let low = view.limits.working.low();
        let rewarmed = lowest < low - REWARMED_FROM
            && view.level - lowest >= REWARMED_BY
            && view.now - lowest_at >= REWARMED_IN;
        if rewarmed {
            timeline.change(Phase::Rewarming, lowest_at);
            if view.level < low - WORKING_MARGIN {
                return (Stage::Rewarming, None);
            }
            timeline.change(Phase::Settling, self.in_range_since.unwrap_or(view.now));
            (lowest, lowest_at) = (view.level, view.now);
        }
        (Stage::Settling { lowest, lowest_at }, None)
    }

    pub(super) fn rewarming(&mut self, view: &View<'_>, timeline: &mut Timeline) -> (Stage, Option<Turn>) {
        if let Some(turn) = self.new_rise(view, timeline, None) {
            return turn;
        }
        if view.level < view.limits.working.low() - WORKING_MARGIN {
            return (Stage::Rewarming, None);
        }
        timeline.change(Phase::Settling, view.now);
        (Stage::Settling { lowest: view.level, lowest_at: view.now }, None)
    }

    pub(super) fn working(
        &mut self,
        view: &View<'_>,
        timeline: &mut Timeline,
        rise_from: Option<Timestamp>,
        cold_since: Option<Timestamp>,
    ) -> (Stage, Option<Turn>) {
        if let Some(turn) = self.new_rise(view, timeline, rise_from) {
            return turn;
        }
        if view.setpoint.is_some_and(|setpoint| setpoint < IDLE_BELOW) {
            self.becomes_idle(view.now, timeline);
            return (Stage::Idle, Some(Turn::Ends(view.now)));
        }
        let cold_since = match cold_since {
            _ if view.level >= IDLE_BELOW => None,
            Some(since) => Some(since),
            None => Some(self.crossed(view, IDLE_BELOW)),
        };
        if let Some(since) = cold_since
            && view.setpoint.is_none()
            && view.now - since >= COLD_FOR
        {
            self.becomes_idle(since, timeline);
            return (Stage::Idle, Some(Turn::Ends(since)));
        }
        (Stage::Working { rise_from: self.asked_rise(view, timeline, rise_from), cold_since }, None)
    }

    fn is_steady(&self, view: &View<'_>) -> bool {
        self.in_range_since.is_some_and(|since| view.now - since >= STAYED)
            && view.history.line(view.now, STAYED).is_some_and(|line| line.slope.abs() < STEADY)
    }

    /// A set-point in the melt range only makes the rise noticed earlier; it is a batch when the soak is reached.
    fn asked_rise(
        &self,
        view: &View<'_>,
        timeline: &Timeline,
        rise_from: Option<Timestamp>,
    ) -> Option<Timestamp> {
        if view.setpoint.is_none_or(|setpoint| setpoint < soak_from(view.next_limits)) {
            return None;
        }
        let leaves = view.history.line(view.now, Span::from_mins(3)).is_some_and(|line| line.slope > STEADY)
            || view.level > view.limits.working.high() + WORKING_MARGIN;
        rise_from.or_else(|| leaves.then(|| out_of_hold(view, timeline)))
    }

    fn new_rise(
        &self,
        view: &View<'_>,
        timeline: &Timeline,
        rise_from: Option<Timestamp>,
    ) -> Option<(Stage, Option<Turn>)> {
        let soak = soak_from(view.next_limits);
        if view.level < soak {
            return None;
        }
        let at = self.crossed(view, soak);
        let from = rise_from.unwrap_or_else(|| out_of_hold(view, timeline)).min(at);
        Some((Stage::Soak { from: at }, Some(Turn::Begins(vec![(Phase::Melting, from), (Phase::Soak, at)]))))
    }
}

/// Where a rise left the hold: not before the hold began, or the batch would end before it did.
fn out_of_hold(view: &View<'_>, timeline: &Timeline) -> Timestamp {
    let ground = Ground {
        quiet: Span::from_mins(20),
        noise: 0.3,
        before: Span::from_mins(8),
        smooth: Span::ZERO,
        tilted: false,
        pause_beyond: Some(view.limits.working.high() + REWARMED_FROM),
    };
    let hold = timeline.last_of(Phase::Settling).or(timeline.last_of(Phase::Working));
    let earliest = hold.map(|span| span.from).or(view.history.first_at()).unwrap_or(view.now);
    left_level(view.history, Move::Rise, ground, earliest, view.now).unwrap_or(view.now)
}
