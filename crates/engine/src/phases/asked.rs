//! Where a move began that the set-point asked for: the step says when to look, the chocolate says when it left its level.
//!
//! A controller's swing is part of the level: without the step, the swing's last half would pass for the beginning of the move. The level
//! of a fall is the chocolate at the step, or the top to which a wall that is still hot carries it; that of a rise its lowest since then. It is
//! left at the last moment within a tenth of a degree of it. A probe that flickers passes that bound more than once: the date is half-way between
//! the first time and the last. A probe that does not show so little dates a fall by the clock ([`driven`]); its rises are no truer by the step than
//! by their own foot (from made-up days). Through much noise the moment is no better seen by the step than by the whole curve, and is left to that.

use maths::statistics::scatter_with_jumps;
use model::{Channel, Span, Timestamp};

use super::View;
use super::departure::{FALL_SHOWN_LATE, LEFT, Move, smoothed};
use super::driven;
use crate::history::{History, mean};

/// A single reading flickers; so long a mean does not.
const SMOOTH: Span = Span::from_secs(40);
/// Noise that is left in it may be so large, °C (start value, from made-up days): what hides in more is not seen by the moment ...
const CLEAR: f64 = 0.4 * LEFT;
/// ... and is taken from so long before the step.
const NOISE_SEEN: Span = Span::from_mins(20);
/// The chocolate at the step, taken from so long before it: a set-point is often told once a minute only.
const AT_STEP: Span = Span::from_secs(60);
/// The top of a charge that still rises is the mean of so long before and behind its warmest reading.
const AROUND_TOP: Span = Span::from_secs(60);

/// A step of the set-point: it was told at one moment, and made at `earliest` or later.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Step {
    pub(super) earliest: Timestamp,
    pub(super) told: Timestamp,
}

impl Step {
    /// Nobody knows when in between.
    fn about(&self) -> Timestamp {
        self.earliest + (self.told - self.earliest) / 2
    }
}

/// What shows so shortly before the step that asked for it came after it: a slow start is dated back by what a usual probe shows it late.
const SHORTLY: Span = Span::from_mins(5);

/// `left`, where the chocolate seems to have left its level, but not shortly before anybody asked, nor before that where nothing was heard of it
/// when somebody did.
pub(super) fn not_before(view: &View<'_>, step: Option<Step>, left: Timestamp) -> Timestamp {
    let before = SHORTLY.max(view.pace.longest_gap());
    let unheard = |asked: Timestamp| view.history.chocolate(asked - before, asked).next().is_none();
    let asked = step.map(|step| step.earliest).filter(|asked| *asked - left <= SHORTLY || unheard(*asked));
    asked.map_or(left, |asked| left.max(asked))
}

/// Since when the set-point has asked for what it asks for now; `None` where it was never seen to ask for something else, or is not known.
pub(super) fn asked_since(view: &View<'_>, earliest: Timestamp, asks: impl Fn(f64) -> bool) -> Option<Step> {
    let told = told_since(view.history, earliest, view.now, asks)?;
    Some(Step { earliest: (told - view.setpoint_told.unsaid_before(told)).max(earliest), told })
}

fn told_since(
    history: &History,
    earliest: Timestamp,
    now: Timestamp,
    asks: impl Fn(f64) -> bool,
) -> Option<Timestamp> {
    // A set-point holds, so the newest tick has one if any has.
    history.newest()?.other(Channel::Setpoint)?;
    let mut since = None;
    for tick in history.between(earliest, now + Span::from_millis(1)).rev() {
        match tick.other(Channel::Setpoint) {
            Some(setpoint) if asks(setpoint) => since = Some(tick.at),
            Some(_) => return since,
            None => {}
        }
    }
    None
}

/// When the chocolate left its level on the move that the set-point asked for at `step`; `None` while too little of it is there, and where
/// the step does not help.
pub(super) fn left_level(view: &View<'_>, way: Move, step: Step) -> Option<Timestamp> {
    if view.pace.is_by_the_minute() && view.pace.is_fine() {
        let seen = || seen_to_leave(view.history, way, step.earliest, view.now);
        return if noise(view.history, step.earliest) <= CLEAR { seen() } else { None };
    }
    match way {
        Move::Rise => None,
        Move::Fall => left_level_by_clock(view, way, step),
    }
}

/// When a restless charge, or one whose probe is coarse, left it by the clock.
pub(super) fn left_level_by_clock(view: &View<'_>, way: Move, step: Step) -> Option<Timestamp> {
    driven::left_level_by_clock(view.history, way, step.about(), view.now)
}

/// The same for a probe that shows a tenth of a degree.
fn seen_to_leave(history: &History, way: Move, step: Timestamp, now: Timestamp) -> Option<Timestamp> {
    let sign = way.sign();
    let points: Vec<_> =
        history.chocolate(step - AT_STEP, now).map(|(at, value)| (at, sign * value)).collect();
    let points = smoothed(&points, SMOOTH);
    let (before, after) = points.split_at(points.partition_point(|(at, _)| *at < step));
    let level = match way {
        Move::Rise => points.iter().map(|&(_, value)| value).min_by(f64::total_cmp)?,
        Move::Fall => {
            let there = mean(before.iter().map(|&(_, value)| value)).or(points.first().map(|&(_, v)| v))?;
            top(after).map_or(there, |top| top.min(there))
        }
    };
    let lowest = (0..after.len()).min_by(|&a, &b| after[a].1.total_cmp(&after[b].1)).unwrap_or(0);
    let beyond = |&(_, value): &(Timestamp, f64)| value > level + LEFT;
    let first = after[lowest..].iter().find(|p| beyond(p)).map_or(step, |p| p.0);
    let last = after.iter().rfind(|p| !beyond(p)).map_or(step, |p| p.0);
    let left = last - (last - first).max(Span::ZERO) / 2;
    Some(match way {
        Move::Rise => left,
        Move::Fall => (left - FALL_SHOWN_LATE).max(step),
    })
}

/// What noise is left of the chocolate before `step` in a mean of [`SMOOTH`].
fn noise(history: &History, step: Timestamp) -> f64 {
    let (at, values): (Vec<Timestamp>, Vec<f64>) = history.chocolate(step - NOISE_SEEN, step).unzip();
    let (Some(first), Some(last)) = (at.first(), at.last()) else { return 0.0 };
    let in_a_mean = SMOOTH.as_secs_f64() / (*last - *first).as_secs_f64() * (at.len() - 1) as f64;
    scatter_with_jumps(&values) / in_a_mean.max(1.0).sqrt()
}

/// Mean around the warmest of some points, which fall where their values go up.
fn top(points: &[(Timestamp, f64)]) -> Option<f64> {
    let warmest = points.iter().min_by(|a, b| a.1.total_cmp(&b.1))?.0;
    let around = points.iter().filter(|(at, _)| *at - warmest <= AROUND_TOP && warmest - *at <= AROUND_TOP);
    mean(around.map(|&(_, value)| value))
}

#[cfg(test)]
mod tests {
    use frames::Ticker;

    use super::*;

    /// A soak that swings by half a degree, and a set-point that is lowered in the falling half of a swing.
    #[test]
    fn the_falling_half_of_a_swing_is_not_the_cooling() {
        let (mut history, mut ticker) = (History::default(), Ticker::new(Span::from_secs(5)));
        let step = 65 * 60;
        for second in (0..90 * 60).step_by(5) {
            let minutes = f64::from(second) / 60.0;
            let swing = 46.0 + 0.5 * (minutes * std::f64::consts::TAU / 20.0).cos();
            let fallen = 0.3 * (minutes - 65.0).max(0.0);
            let at = Timestamp::from_millis(i64::from(second) * 1000);
            let setpoint = if second < step { 46.0 } else { 31.5 };
            let readings =
                [(Channel::Chocolate, swing.max(46.0 - fallen) - fallen), (Channel::Setpoint, setpoint)];
            for (channel, value) in readings {
                if let Some(tick) = ticker.insert(channel, at, value) {
                    history.push(tick);
                }
            }
        }
        let (from, now) = (Timestamp::default(), Timestamp::from_millis(80 * 60_000));
        let asked = told_since(&history, from, now, |setpoint| setpoint < 42.0);
        assert_eq!(asked, Some(Timestamp::from_millis(i64::from(step) * 1000)));
        let at_once = told_since(&history, from, asked.unwrap(), |setpoint| setpoint < 42.0);
        assert_eq!(at_once, asked, "known in the very tick in which it is told");
        assert_eq!(told_since(&history, from, now, |setpoint| setpoint < 50.0), None, "never anything else");
        let left = seen_to_leave(&history, Move::Fall, asked.unwrap(), now).unwrap();
        let after = (left - asked.unwrap()).as_mins_f64();
        assert!((0.0..2.0).contains(&after), "{after}");
    }

    /// Set down at minute 60 beside a wall that is still hot: it rises by six tenths for a quarter of an hour, and comes back to where it was at the
    /// step only at minute 90.
    #[test]
    fn what_still_rises_when_it_is_set_down_falls_from_its_top() {
        let (mut history, mut ticker) = (History::default(), Ticker::new(Span::from_secs(5)));
        for second in (50 * 60..120 * 60).step_by(5) {
            let minute = f64::from(second) / 60.0;
            let flutter = [0.02, -0.03, 0.01, 0.03, -0.01, -0.02, 0.0][second as usize / 5 % 7];
            let value = 46.6 - 0.6 * ((minute - 75.0) / 15.0).powi(2) + flutter;
            let at = Timestamp::from_millis(i64::from(second) * 1000);
            ticker.insert(Channel::Chocolate, at, value).into_iter().for_each(|tick| history.push(tick));
        }
        let minute = |minute: i64| Timestamp::from_millis(minute * 60_000);
        let left = seen_to_leave(&history, Move::Fall, minute(60), minute(110)).unwrap();
        let left = (left - Timestamp::default()).as_mins_f64();
        // A tenth below the top after √(0.1/0.6) of a quarter of an hour.
        assert!((left - 81.1).abs() < 1.0, "{left}");
    }
}
