//! Around the working range: settling, rewarming, working.

use model::{Method, Phase, PhaseSpan, Span, Timestamp};

use super::approach;
use super::asked;
use super::departure::{FITTED_MOVE, Ground, LEFT, Move, left_level, shown_late, smoothed};
use super::driven;
use super::rest;
use super::rising::{PARTIAL_MELT_STAY, STAIRCASE};
use super::turn;
use super::{IDLE_BELOW, Stage, Tracker, Turn, View, WORKING_MARGIN, soak_from};
use crate::history::{extremes, mean};
use crate::timeline::Timeline;

/// Working: so long in the range (contract, section 5) ...
const STAYED: Span = Span::from_mins(5);
/// ... with a slope below this, °C/min.
const STEADY: f64 = 0.05;
/// A low point is looked at with so much either way.
const FLICKERS: Span = Span::from_secs(60);
/// The slope that makes a hold is known to so much, °C/min.
const SLOPE_KNOWN_TO: f64 = 0.012;
/// A slope is told by a window in which it moves a coarse display by a step; one longer than this is no help.
const LONGEST_WINDOW: Span = Span::from_mins(10);
/// Rewarming starts this far below the working range (contract, section 5) ...
const REWARMED_FROM: f64 = 1.0;
/// ... and is one when it comes back by this much: less is the rebound of a seed dip (contract, section 5).
const REWARMED_BY: f64 = 2.0;
/// A probe that stood in seed comes back faster than any wall can warm a charge.
const REWARMED_IN: Span = Span::from_mins(2);
/// A bowl this far below its range, and below where a machine can be idle, sets, °C, and has set after so long, or where it is as cold as pieces out of a
/// bag (common practice, no source) ...
const BOWL_SETS: f64 = 3.0;
const BOWL_SETS_IN: Span = Span::from_mins(20);
const AS_COLD_AS_PIECES: f64 = 23.5;
/// ... and is being warmed again when it has risen by so much, °C.
const BOWL_RISES: f64 = 1.0;
/// Whether a charge follows a set-point that asks for a melt is seen in so long; noise looks like a rise in it, where that is not steeper by so many of
/// its standard errors ...
const FOLLOWS_AT_ONCE: Span = Span::from_mins(3);
const OUT_OF_NOISE: f64 = 4.0;
/// ... and not in so long.
const FOLLOWS: Span = Span::from_mins(10);
/// It does not where it has been falling like that, °C/min, for so many times as long, which is longer than any cold pieces take.
const FALLS: f64 = -0.02;
const FALLS_FOR: i64 = 3;
/// A charge that was at rest so long after it seems to have left its level had only been colder for a while: a door was open. That takes so much, °C,
/// and cold pieces take more.
const LONG_BEFORE: Span = Span::from_mins(5);
const DOOR_TAKES: f64 = 1.0;
/// So much of the way into a hold is looked at.
const WAY_IN: Span = Span::from_mins(30);
/// Less than this above its lowest, °C, a charge has only flickered.
const CAME_UP: f64 = 0.4;
/// Idle by the clock where nobody says what is wanted (contract, section 5); a charge that is asked to work and is cold sets in its machine.
const COLD_FOR: Span = Span::from_mins(60);

impl Tracker {
    pub(super) fn settling(
        &mut self,
        view: &View<'_>,
        timeline: &mut Timeline,
        stage: Stage,
    ) -> (Stage, Option<Turn>) {
        let Stage::Settling { mut lowest, mut lowest_at, rise_from } = stage else { return (stage, None) };
        if let Some(turn) = self.new_rise(view, timeline) {
            return turn;
        }
        if let Some(rise_from) = self.asked_rise(view, timeline, rise_from) {
            return (Stage::Settling { lowest, lowest_at, rise_from: Some(rise_from) }, None);
        }
        if let Some(at) = self.steady_at(view, (lowest, lowest_at)) {
            timeline.change(Phase::Working, at);
            return (Stage::working(), None);
        }
        if view.level < lowest {
            (lowest, lowest_at) = (view.level, view.now);
        }
        let low = view.limits.working.low();
        let rewarmed = lowest < low - REWARMED_FROM
            && view.level - lowest >= REWARMED_BY
            && view.now - lowest_at >= REWARMED_IN;
        if rewarmed {
            timeline.change(Phase::Rewarming, left_low_point(view, lowest_at));
            if view.level < low - WORKING_MARGIN {
                return (Stage::Rewarming, None);
            }
            timeline.change(Phase::Settling, self.in_range_since.unwrap_or(view.now));
            (lowest, lowest_at) = (view.level, view.now);
        }
        (Stage::Settling { lowest, lowest_at, rise_from: None }, None)
    }

    pub(super) fn rewarming(&mut self, view: &View<'_>, timeline: &mut Timeline) -> (Stage, Option<Turn>) {
        if let Some(turn) = self.new_rise(view, timeline) {
            return turn;
        }
        if view.level < view.limits.working.low() - WORKING_MARGIN {
            return (Stage::Rewarming, None);
        }
        timeline.change(Phase::Settling, view.now);
        (Stage::settling(view), None)
    }

    pub(super) fn working(
        &mut self,
        view: &View<'_>,
        timeline: &mut Timeline,
        stage: Stage,
    ) -> (Stage, Option<Turn>) {
        let Stage::Working { rise_from, cold_since, coldest } = stage else { return (stage, None) };
        if let Some(turn) = self.new_rise(view, timeline) {
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
        if view.method == Method::PartialMelt {
            return self.bowl(view, timeline, rise_from, cold_since, coldest);
        }
        (Stage::Working { rise_from: self.asked_rise(view, timeline, rise_from), cold_since, coldest }, None)
    }

    /// A bowl that is melted in part never sees a soak. One that has set and comes back into its range is another charge; nobody
    /// may have said that the old one was used up, and nobody measures a bowl that nobody works with.
    fn bowl(
        &self,
        view: &View<'_>,
        timeline: &Timeline,
        rise_from: Option<Timestamp>,
        cold_since: Option<Timestamp>,
        coldest: f64,
    ) -> (Stage, Option<Turn>) {
        let coldest = coldest.min(view.level);
        let sets = coldest < IDLE_BELOW && coldest < view.limits.working.low() - BOWL_SETS;
        let set_in_time = || cold_since.is_some_and(|since| view.now - since >= BOWL_SETS_IN);
        // A probe that is read seldom may not have seen how cold the pieces were.
        let set = sets && (coldest < AS_COLD_AS_PIECES || view.pace.is_sparse() || set_in_time());
        let back = self.in_range_since.filter(|since| view.now - *since >= PARTIAL_MELT_STAY);
        if let Some(since) = back {
            let from = rise_from.map(|from| from.min(since));
            let begins = from.map(|from| Turn::Begins(vec![(Phase::Melting, from), (Phase::Working, since)]));
            return (Stage::working(), begins);
        }
        let rises = set && view.level - coldest >= BOWL_RISES;
        let rise_from = rise_from.or_else(|| rises.then(|| bowl_rise(view, timeline)));
        (Stage::Working { rise_from, cold_since, coldest }, None)
    }

    /// The end of five steady minutes in the range, if they are over. Between two sparse readings the chocolate is taken to move
    /// straight: then the minutes may have ended before the newest of them.
    fn steady_at(&self, view: &View<'_>, low: (f64, Timestamp)) -> Option<Timestamp> {
        let since = self.in_range_since.filter(|since| view.now - *since >= STAYED)?;
        let (before, value) = self.before?;
        let apart = view.now - before;
        if apart >= STAYED {
            let slope = (view.chocolate - value) / apart.as_mins_f64();
            return (slope.abs() < STEADY).then(|| (before.max(since) + STAYED).min(view.now));
        }
        let (slope, window) = telling_slope(view)?;
        // Five minutes in the middle of a longer window.
        let ended = view.now - (window - STAYED).max(Span::ZERO) / 2;
        if slope.abs() >= STEADY || ended - since < STAYED {
            return None;
        }
        // A longer window is steady later than five minutes are, by no more than half of what it is longer.
        let not_before = (ended - (window - STAYED).max(Span::ZERO) / 2).max(since + STAYED);
        let noisy = told_from_noise(view) > STAYED;
        let steady = noisy.then(|| steady_through_noise(view, since, low)).flatten();
        let plain = if view.pace.is_sparse() { (before.max(since) + STAYED).min(ended) } else { ended };
        Some(steady.map_or(plain, |steady| steady.clamp(not_before, ended)))
    }

    /// A set-point in the melt range only makes the rise noticed earlier; it is a batch when the soak is reached.
    fn asked_rise(
        &self,
        view: &View<'_>,
        timeline: &Timeline,
        rise_from: Option<Timestamp>,
    ) -> Option<Timestamp> {
        let is_asked = view.setpoint.is_some_and(|setpoint| setpoint >= soak_from(view.next_limits));
        if !is_asked || falls_against_it(view) {
            return None;
        }
        rise_from.or_else(|| follows(view).then(|| out_of_hold(view, timeline)))
    }

    fn new_rise(&self, view: &View<'_>, timeline: &Timeline) -> Option<(Stage, Option<Turn>)> {
        let soak = soak_from(view.next_limits);
        if view.level < soak {
            return None;
        }
        let at = self.crossed(view, soak);
        // Now that the whole rise is there, its foot is clearer than when it was noticed.
        let from = out_of_hold(view, timeline).min(at);
        Some((Stage::Soak { from: at }, Some(Turn::Begins(vec![(Phase::Melting, from), (Phase::Soak, at)]))))
    }
}

/// Does a charge follow a set-point that asks for a melt? Above its range it does as soon as it rises. Below that what may be noise has to show in a longer
/// window, too.
fn follows(view: &View<'_>) -> bool {
    let slope = view.slope(FOLLOWS_AT_ONCE).unwrap_or_default();
    if is_above(view) {
        return slope > 0.0;
    }
    let out_of_noise = || OUT_OF_NOISE * view.slope_known_to(FOLLOWS_AT_ONCE, FOLLOWS_AT_ONCE * 2);
    slope > STEADY && (slope_until(view, view.now) > STEADY || slope > STEADY + out_of_noise())
}

/// Has it been falling for longer than cold pieces make it? The power may be out, whatever is asked for.
fn falls_against_it(view: &View<'_>) -> bool {
    !is_above(view) && (0..FALLS_FOR).all(|back| slope_until(view, view.now - FOLLOWS * back) < FALLS)
}

fn is_above(view: &View<'_>) -> bool {
    view.level > view.limits.working.high() + WORKING_MARGIN
}

/// The slope of so many minutes before `end`, °C/min; none where too little is known of them.
fn slope_until(view: &View<'_>, end: Timestamp) -> f64 {
    let line = view.history.line_through(end, view.pace.widened(FOLLOWS), view.pace.fewest());
    line.map_or(0.0, |line| line.slope)
}

/// The slope of the newest minutes, and of how many: five, or as many more as a coarse or noisy probe takes. A display that stood still for five
/// minutes may only have been between two of its steps, and a few noisy readings of a slow fall may lie level.
fn telling_slope(view: &View<'_>) -> Option<(f64, Span)> {
    let step = Span::from_mins_f64(view.pace.grain() / STEADY);
    let window = STAYED.max(step).max(told_from_noise(view)).min(LONGEST_WINDOW);
    view.slope(window).map(|slope| (slope, window))
}

/// How long a window has to be for the slope of its line to be known to [`SLOPE_KNOWN_TO`]: its standard error falls with the length to the power of
/// one and a half.
fn told_from_noise(view: &View<'_>) -> Span {
    let known_to = view.slope_known_to(LONGEST_WINDOW, LONGEST_WINDOW);
    Span::from_mins_f64(LONGEST_WINDOW.as_mins_f64() * (known_to / SLOPE_KNOWN_TO).powf(2.0 / 3.0))
}

/// When a charge that is in its range since then was steady for five minutes, by the way it came; `low` is the lowest that it was before it came up.
fn steady_through_noise(view: &View<'_>, since: Timestamp, low: (f64, Timestamp)) -> Option<Timestamp> {
    let (lowest, lowest_at) = low;
    let came_up = view.level - lowest > CAME_UP;
    let way_in = (since - STAYED).max(view.now - WAY_IN);
    let from = if came_up { way_in.max(lowest_at) } else { way_in };
    let minutes = |at: Timestamp| (at - from).as_mins_f64();
    let points: Vec<_> = view.history.chocolate(from, view.now).map(|(at, c)| (minutes(at), c)).collect();
    let steady = approach::steady_from(&points, STAYED.as_mins_f64(), STEADY)?;
    Some(from + Span::from_mins_f64(steady))
}

/// Where a charge left its lowest point: the last moment within a tenth of it.
fn left_low_point(view: &View<'_>, lowest_at: Timestamp) -> Timestamp {
    let points: Vec<_> = view.history.chocolate(lowest_at - FLICKERS, view.now).collect();
    let points = smoothed(&points, FLICKERS * 2);
    let lowest = points.iter().map(|&(_, value)| value).fold(f64::INFINITY, f64::min);
    let left = points.iter().rfind(|(_, value)| *value <= lowest + LEFT);
    left.map_or(lowest_at, |&(at, _)| at)
}

/// Where the pieces of a new bowl began to warm: the foot of a staircase.
fn bowl_rise(view: &View<'_>, timeline: &Timeline) -> Timestamp {
    let earliest = timeline.last_of(Phase::Working).map(|span| span.from).or(view.history.first_at());
    left_level(view.history, Move::Rise, STAIRCASE, earliest.unwrap_or(view.now), view.now, view.pace)
        .unwrap_or(view.now)
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
        fitted: FITTED_MOVE,
    };
    let held = [Phase::Settling, Phase::Working].into_iter().filter_map(|phase| timeline.last_of(phase));
    let hold = held.max_by_key(|span| span.from);
    let earliest = passed_through(timeline).or(hold).map(|span| span.from);
    let earliest = earliest.or(view.history.first_at()).unwrap_or(view.now);
    let soak = soak_from(view.next_limits);
    let step = asked::asked_since(view, earliest, |setpoint| setpoint >= soak);
    let asked = step.and_then(|step| asked::left_level(view, Move::Rise, step));
    let heated =
        || step.map(|step| step.told).or_else(|| driven::heated_from(view.history, earliest, view.now));
    let poured = || heated().and_then(|heated| turn::poured_and_heated(view.history, heated));
    let left = asked.or_else(poured).or_else(|| {
        let left_since = |since| left_level(view.history, Move::Rise, ground, since, view.now, view.pace);
        let on_level = |level| view.limits.working.holds(level, REWARMED_FROM);
        let left = left_since(earliest)?;
        let rested = rest::rested_since(view, Move::Rise, earliest, on_level);
        let colder_by = |rested: Timestamp| {
            let lowest = extremes(view.history.chocolate(left, rested).map(|(_, value)| value))?.0;
            Some(mean(view.history.chocolate(rested, rested + LONG_BEFORE).map(|(_, value)| value))? - lowest)
        };
        let was_open = |rested: &Timestamp| {
            *rested - left > LONG_BEFORE && colder_by(*rested).is_some_and(|by| by <= DOOR_TAKES)
        };
        let left = rested.filter(was_open).and_then(left_since).unwrap_or(left);
        let poured = turn::poured(view.history, left);
        Some(poured.unwrap_or_else(|| turn::or_swing(view, Move::Rise, earliest, left, on_level)))
    });
    left.map_or(view.now, |left| {
        let left = left - shown_late(view.history, left, view.now);
        asked::not_before(view, step, left).max(earliest)
    })
}

/// What seemed to be brought back on purpose, where the charge never came to hold behind it: one that had set in the cold is melted again.
fn passed_through(timeline: &Timeline) -> Option<PhaseSpan> {
    let rewarming = timeline.last_of(Phase::Rewarming)?;
    let held_since = timeline.last_of(Phase::Working).is_some_and(|working| rewarming.from < working.from);
    (!held_since).then_some(rewarming)
}

#[cfg(test)]
mod tests {
    use frames::Ticker;
    use model::Channel;
    use plant::Family;

    use super::*;
    use crate::history::History;
    use crate::phases::Pace;
    use crate::regular::Regular;

    /// Lets dark couverture that has begun to settle go on as `curve` says, shown in steps of `grain`; when it is taken to work, minutes.
    fn works_at(grain: f64, minutes: i64, curve: impl Fn(f64) -> f64) -> Option<f64> {
        let limits = Family::Dark.default_limits();
        let (mut history, mut ticker, mut pace) =
            (History::default(), Ticker::new(Span::from_secs(5)), Pace::default());
        let (mut tracker, mut timeline) = (Tracker::default(), Timeline::default());
        timeline.change(Phase::Settling, Timestamp::default());
        tracker.stage =
            Some(Stage::Settling { lowest: curve(0.0), lowest_at: Timestamp::default(), rise_from: None });
        for i in 0..minutes * 12 {
            let shown = (curve(i as f64 / 12.0) / grain).round() * grain;
            let at = Timestamp::from_millis(i * 5_000);
            pace.note_reading(at, shown);
            let Some(tick) = ticker.insert(Channel::Chocolate, at, shown) else {
                continue;
            };
            history.push(tick);
            let chocolate = tick.chocolate()?;
            let gap = pace.step(tick.at);
            let view = View {
                now: tick.at,
                chocolate,
                level: history.level(tick.at).unwrap_or(chocolate),
                setpoint: None,
                setpoint_told: &Regular::default(),
                history: &history,
                limits: &limits,
                next_limits: &limits,
                method: Method::Continuous,
                gap,
                pace: &pace,
            };
            tracker.step(&view, &mut timeline);
        }
        timeline.last_of(Phase::Working).map(|span| (span.from - Timestamp::default()).as_mins_f64())
    }

    /// On its way to a low point, at 0.07 °C/min: half a degree takes longer than five minutes.
    #[test]
    fn a_coarse_display_that_stands_between_two_steps_does_not_hold() {
        let falls = |minute: f64| 36.0 - 0.07 * minute;
        assert_eq!(works_at(0.5, 100, falls), None);
        assert_eq!(works_at(0.01, 100, falls), None);
    }

    #[test]
    fn a_hold_is_one_at_a_coarse_display_too_and_dated_like_any() {
        let lands = |minute: f64| (36.0 - 0.3 * minute).max(31.5);
        let (fine, coarse) = (works_at(0.01, 60, lands).unwrap(), works_at(0.5, 60, lands).unwrap());
        assert!((fine - 19.5).abs() < 1.0, "{fine}");
        assert!((coarse - fine).abs() < 2.0, "{coarse} {fine}");
    }
}
