//! Where the chocolate left its level: the moment to which a rise or a fall is dated.
//!
//! Two steps. Walking back from where the move was noticed, the foot is the last significant extreme (lowest for a rise,
//! highest for a fall): nothing in the minutes before it is more extreme by more than the noise. Around the foot a hinge is then
//! fitted, level before and a parabola after, `y = a + s·t + b·h + c·h²` with `h = max(0, t − t₀)`, at the `t₀` with the least sum of squares.
//! The parabola lets a wall warm up first; the slope `s` is there only where the level itself was moving. The date is where the parabola is a
//! tenth of a degree away from the level: what the finest display would show.

use maths::statistics::{median, scatter};
use model::{Span, Timestamp};

use super::hinge::hinge;
use super::pace::Pace;
use crate::history::{History, mean};

/// Which way the chocolate goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Move {
    Rise,
    Fall,
}

impl Move {
    /// Times this, every move goes up.
    pub(super) fn sign(self) -> f64 {
        match self {
            Move::Rise => 1.0,
            Move::Fall => -1.0,
        }
    }

    /// Readings are averaged over so long where one of them must not speak alone. What rises has mostly a restless level, of which a longer mean
    /// says no more.
    fn flickers(self, pace: &Pace) -> Span {
        match self {
            Move::Rise => FLICKERS,
            Move::Fall => FLICKERS.max(pace.of_readings(FLICKERING)),
        }
    }

    /// So many readings beyond the level make a move, or as many as there are.
    fn beyond(self) -> usize {
        match self {
            Move::Rise => 1,
            Move::Fall => 2,
        }
    }
}

/// What counts as level on the way back.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Ground {
    /// A foot is a foot when so long before it ...
    pub(crate) quiet: Span,
    /// ... nothing lies beyond it by more than this, °C.
    pub(crate) noise: f64,
    /// Level that is fitted before the move.
    pub(crate) before: Span,
    /// Readings are averaged over this on the way back: cold pieces around a probe make it jump.
    pub(crate) smooth: Span,
    /// Was the level itself on the move?
    pub(crate) tilted: bool,
    /// Beyond this temperature (above for a rise, below for a fall) a foot is only a pause on the way.
    pub(crate) pause_beyond: Option<f64>,
    /// The move is fitted until it has gone this far, °C.
    pub(crate) fitted: f64,
}

/// The level is left when the fitted move is so far from it, °C.
pub(super) const LEFT: f64 = 0.1;
/// A probe shows a slow start so much later than it is: its sheath is some half a minute behind (bare 10–40 s, in a well 60–180 s, from memory),
/// and a tenth of a degree has to stand out of noise (start value, from made-up days).
const SHOWN_LATE: Span = Span::from_secs(70);
/// A rise is brisk if it stands this far above its level within twice [`SHOWN_LATE`], °C (start value, from made-up days).
const BRISK: f64 = 0.5;
/// A cooling begins more briskly: its tenth of a degree is shown later by hardly more than a bare sheath (start value, from made-up days).
pub(super) const FALL_SHOWN_LATE: Span = Span::from_secs(20);
/// Readings are averaged over at least this where one of them must not speak alone.
const FLICKERS: Span = Span::from_secs(40);
/// ... and over so many of them.
const FLICKERING: i64 = 6;
/// How far a move is usually fitted, °C: further on it bends with the wall's temperature.
pub(crate) const FITTED_MOVE: f64 = 2.0;
/// ... and over so many steps of a coarse display.
const STEPS_FITTED: f64 = 8.0;
/// A move is no slower than this, °C/min.
const SLOWEST: f64 = 0.025;
/// Where it stood so many times the noise beyond its foot it was on its way there, and not at its level.
const FELL: f64 = 2.0;
/// A staircase stands out of the scatter of its readings by so many of its deviations (start value).
const OUT_OF_NOISE: f64 = 4.0;
/// Drift is no more than this share of how it moves for so long afterwards (start value).
const DRIFT: f64 = 0.1;
const MOVES_FOR: Span = Span::from_mins(5);
/// A few readings have left their level where they stand out of its scatter by so many deviations (start value).
const STANDS_OUT: f64 = 3.0;
/// Fewer points than this do not carry a hinge; a corner of two straight lines is the answer.
pub(super) const FEWEST_POINTS: usize = 12;
/// A move of which fewer readings than this are seen carries none either: a hinge is fitted to four behind it.
const FEWEST_MOVED: usize = 4;

/// When the chocolate left its level on the move that was noticed at `noticed`; not before `earliest`.
pub(crate) fn left_level(
    history: &History,
    way: Move,
    ground: Ground,
    earliest: Timestamp,
    noticed: Timestamp,
    pace: &Pace,
) -> Option<Timestamp> {
    let ground = Ground {
        quiet: pace.widened(ground.quiet).max(pace.stands_still(SLOWEST)),
        before: pace.widened(ground.before),
        noise: pace.coarsened(ground.noise),
        fitted: ground.fitted.max(STEPS_FITTED * pace.grain()),
        ..ground
    };
    let sign = way.sign();
    let (foot, foot_value) = foot(history, sign, ground, earliest, noticed)?;
    let mut points = Vec::new();
    let begins = (foot - ground.before).max(earliest);
    let came_down = fell_until(history, sign, begins, foot, foot_value + sign * FELL * ground.noise);
    for (at, value) in history.chocolate(came_down.unwrap_or(begins), noticed) {
        points.push(((at - foot).as_mins_f64(), sign * value));
        if at > foot && sign * (value - foot_value) > ground.fitted {
            break;
        }
    }
    let bursts = ground.before == Span::ZERO;
    if bursts
        && pace.is_by_the_minute()
        && pace.is_fine()
        && let Some(left) = before_the_stairs(history, sign, foot, earliest, noticed)
    {
        return Some(left.floor(Span::from_secs(1)));
    }
    let few = pace.is_sparse() || points.len() < FEWEST_POINTS;
    let moved_to = sign * foot_value + ground.noise + ground.noise.max(LEFT);
    let stood = points.iter().rposition(|&(t, y)| t <= 0.0 || y <= moved_to).unwrap_or(0);
    let brisk = !bursts && points.len() - stood <= FEWEST_MOVED;
    let minutes = if brisk {
        out_of_where_it_stood(&points, stood, ground.before, way)
    } else if few && bursts {
        between(&points)
    } else if few {
        corner(&points, way.beyond())
    } else {
        hinge(points, ground.tilted && came_down.is_none())
    };
    let left = minutes.map_or(foot, |minutes| foot + Span::from_mins_f64(minutes));
    // A staircase bends more than once: whatever the hinge says, a charge that is clearly beyond its foot has left it.
    let points: Vec<_> = history.chocolate(foot, left).map(|(at, value)| (at, sign * value)).collect();
    let at_foot = smoothed(&points, ground.smooth.max(way.flickers(pace)));
    let values: Vec<f64> = points.iter().map(|(_, value)| *value).collect();
    // The foot is the farthest of many readings, by some deviations of their noise. Few readings say little of that noise.
    let flicker =
        if pace.is_by_the_minute() && pace.is_fine() { OUT_OF_NOISE * scatter(&values) } else { 0.0 };
    let clearly = ground.noise + ground.noise.max(flicker);
    let stairs = at_foot.iter().any(|(_, value)| *value > sign * foot_value + clearly);
    let stairs = stairs && !drifted(history, way, foot, left, pace);
    let left = match stairs {
        true => last_near(&at_foot, sign * foot_value + ground.noise).unwrap_or(foot),
        false => left,
    };
    // A tick's width is all that the date is good for.
    Some(left.floor(Span::from_secs(1)))
}

/// When bursts of heat made a charge leave the level that it had before its foot, for a probe that shows a tenth of a degree: its last moment near it.
fn before_the_stairs(
    history: &History,
    sign: f64,
    foot: Timestamp,
    earliest: Timestamp,
    noticed: Timestamp,
) -> Option<Timestamp> {
    let begins = (foot - MOVES_FOR).max(earliest);
    let points: Vec<_> = history.chocolate(begins, noticed).map(|(at, value)| (at, sign * value)).collect();
    let before: Vec<f64> = points.iter().take_while(|(at, _)| *at < foot).map(|(_, value)| *value).collect();
    let level = median(&before).filter(|_| before.len() >= FEWEST_POINTS)?;
    let near = (2.0 * LEFT).max(OUT_OF_NOISE * scatter(&before));
    let near = |(_, value): &&(Timestamp, f64)| *value <= level + near;
    smoothed(&points, FLICKERS).iter().rfind(near).map(|(at, _)| *at)
}

/// What a probe shows late of a rise that seems to have left its level at `left`: a slow start [`SHOWN_LATE`], a brisk one less.
pub(super) fn shown_late(history: &History, left: Timestamp, now: Timestamp) -> Span {
    let before = || history.chocolate(left - MOVES_FOR, left);
    // A rise with which the history begins has left no level that was seen.
    let seen = before().next().is_some_and(|(first, _)| SHOWN_LATE <= left - first);
    let Some(level) = mean(before().map(|(_, value)| value)).filter(|_| seen) else { return SHOWN_LATE };
    // One reading must not speak alone: the next one says so, too.
    let mut risen = None;
    let brisk = history.chocolate(left, now).find_map(|(at, value)| {
        let beyond = Some(at).filter(|_| value > level + BRISK);
        std::mem::replace(&mut risen, beyond).filter(|_| beyond.is_some())
    });
    brisk.map_or(SHOWN_LATE, |at| SHOWN_LATE.min((at - left) / 2))
}

/// Was what a charge did between two moments only drift, beside what it did from then on? A cold one warms with its room.
pub(super) fn drifted(history: &History, way: Move, from: Timestamp, to: Timestamp, pace: &Pace) -> bool {
    let around = FLICKERS.max(pace.of_readings(1));
    let value_at = |at: Timestamp| mean(history.chocolate(at - around, at + around).map(|(_, value)| value));
    let goes = |from: Timestamp, to: Timestamp| {
        Some(way.sign() * (value_at(to)? - value_at(from)?) / (to - from).as_mins_f64())
    };
    let (drifts, moves) = (goes(from, to), goes(to, to + MOVES_FOR).filter(|moves| *moves > 0.0));
    drifts.zip(moves).is_some_and(|(drifts, moves)| drifts <= DRIFT * moves)
}

/// Until when, after `from` and before `foot`, the chocolate was beyond `limit`: what it came from is not the level that it left.
fn fell_until(
    history: &History,
    sign: f64,
    from: Timestamp,
    foot: Timestamp,
    limit: f64,
) -> Option<Timestamp> {
    let points = smoothed(&history.chocolate(from, foot).collect::<Vec<_>>(), FLICKERS);
    points.iter().rfind(|(_, value)| sign * value > sign * limit).map(|&(at, _)| at)
}

fn last_near(points: &[(Timestamp, f64)], most: f64) -> Option<Timestamp> {
    points.iter().take_while(|(_, value)| *value <= most).last().map(|&(at, _)| at)
}

/// Where a few readings leave their level, minutes from the foot (which lies at zero), for points whose move goes up: the straight line
/// through the first two that have clearly left it, carried back to [`LEFT`] above the level, but not behind the reading before them; where some lie
/// between, it is the line from the last that had not left it.
fn corner(points: &[(f64, f64)], beyond: usize) -> Option<f64> {
    let before = &points[..points.partition_point(|(t, _)| *t <= 0.0)];
    let mut level: Vec<f64> = before.iter().map(|&(_, y)| y).collect();
    let clearly = (2.0 * LEFT).max(STANDS_OUT * scatter(&level));
    level.sort_by(f64::total_cmp);
    let level = *level.get(level.len() / 2)?;
    let has_left = |&(t, y): &(f64, f64)| t > 0.0 && y > level + clearly;
    let noisy = clearly > 2.0 * LEFT;
    let beyond = if noisy { beyond.max(2) } else { beyond };
    let stays = |place: &usize| points[*place..].iter().take(beyond).all(has_left);
    let first = (0..points.len()).find(stays)?;
    let near = |&(_, y): &(f64, f64)| !noisy || y <= level + LEFT;
    let last = points[..first].iter().rposition(near)?;
    let ((before, lower), (t, y)) = (points[last], points[last + 1]);
    let next = points.get(first + 1).filter(|next| last + 1 == first && next.1 > y).copied();
    let slope = match next {
        Some((later, higher)) => (higher - y) / (later - t),
        None => (y - lower) / (t - before),
    };
    let back = (y - level - LEFT) / slope;
    Some(if back.is_finite() { (t - back).clamp(before, t) } else { before })
}

/// The corner of a move too brisk for a hinge, minutes from the foot: out of where it stood last, to which it may have drifted since its foot.
fn out_of_where_it_stood(points: &[(f64, f64)], stood: usize, before: Span, way: Move) -> Option<f64> {
    let (last, _) = *points.get(stood)?;
    let since = last - before.as_mins_f64();
    let around: Vec<_> = points.iter().filter(|(t, _)| since <= *t).map(|&(t, y)| (t - last, y)).collect();
    corner(&around, way.beyond()).map(|minutes| last + minutes)
}

/// Bursts of heat begin anywhere between two readings: in the middle, minutes from the foot.
fn between(points: &[(f64, f64)]) -> Option<f64> {
    let level = points.first()?.1;
    let risen = points.iter().position(|&(_, y)| y > level + 2.0 * LEFT)?;
    Some((points[risen.checked_sub(1)?].0 + points[risen].0) / 2.0)
}

fn foot(
    history: &History,
    sign: f64,
    ground: Ground,
    earliest: Timestamp,
    noticed: Timestamp,
) -> Option<(Timestamp, f64)> {
    let readings = history.chocolate(earliest, noticed);
    if ground.smooth == Span::ZERO {
        // A soak may have lasted all night, of which only the end is looked at.
        return foot_of(readings.rev(), sign, ground);
    }
    foot_of(smoothed(&readings.collect::<Vec<_>>(), ground.smooth).into_iter().rev(), sign, ground)
}

/// The foot of points from the newest backwards.
fn foot_of(
    mut points: impl Iterator<Item = (Timestamp, f64)>,
    sign: f64,
    ground: Ground,
) -> Option<(Timestamp, f64)> {
    let (mut foot, first) = points.next()?;
    let mut lowest = sign * first;
    for (at, value) in points {
        if sign * value < lowest - ground.noise {
            (foot, lowest) = (at, sign * value);
        }
        let paused = ground.pause_beyond.is_some_and(|limit| lowest > sign * limit);
        if foot - at > ground.quiet && !paused {
            break;
        }
    }
    Some((foot, sign * lowest))
}

/// Each reading averaged with those within half of `over` before and behind it.
pub(super) fn smoothed(points: &[(Timestamp, f64)], over: Span) -> Vec<(Timestamp, f64)> {
    let reach = over / 2;
    let (mut first, mut behind, mut sum) = (0, 0, 0.0);
    let mut mean_around = |&(at, _): &(Timestamp, f64)| {
        while behind < points.len() && points[behind].0 - at <= reach {
            sum += points[behind].1;
            behind += 1;
        }
        while at - points[first].0 > reach {
            sum -= points[first].1;
            first += 1;
        }
        (at, sum / (behind - first) as f64)
    };
    points.iter().map(&mut mean_around).collect()
}

#[cfg(test)]
mod tests {
    use frames::Ticker;
    use model::Channel;

    use super::*;

    const SOAK: Ground = Ground {
        quiet: Span::from_mins(10),
        noise: 0.15,
        before: Span::from_mins(8),
        smooth: Span::ZERO,
        tilted: false,
        pause_beyond: None,
        fitted: FITTED_MOVE,
    };

    const IDLE: Ground = Ground {
        quiet: Span::from_mins(45),
        noise: 0.2,
        before: Span::from_mins(15),
        smooth: Span::from_mins(4),
        tilted: true,
        ..SOAK
    };

    /// A curve drawn every five seconds, with a small regular flutter for noise.
    fn drawn(minutes: i64, curve: impl Fn(f64) -> f64) -> History {
        let (mut history, mut ticker) = (History::default(), Ticker::new(Span::from_secs(5)));
        for i in 0..minutes * 12 {
            let flutter = [0.02, -0.03, 0.01, 0.03, -0.01, -0.02, 0.0][i as usize % 7];
            let value = curve(i as f64 / 12.0) + flutter;
            let at = Timestamp::from_millis(i * 5_000);
            if let Some(tick) = ticker.insert(Channel::Chocolate, at, value) {
                history.push(tick);
            }
        }
        history
    }

    /// The pace of a machine that reports all the time.
    fn often() -> Pace {
        Pace::default()
    }

    fn minutes(at: Option<Timestamp>) -> f64 {
        at.unwrap().as_millis() as f64 / 60_000.0
    }

    #[test]
    fn a_newton_cooling_is_dated_within_a_minute() {
        let history = drawn(90, |t| if t < 60.0 { 46.0 } else { 20.0 + 26.0 * (-(t - 60.0) / 40.0).exp() });
        let noticed = Timestamp::from_millis(66 * 60_000);
        let found =
            minutes(left_level(&history, Move::Fall, SOAK, Timestamp::from_millis(0), noticed, &often()));
        assert!((found - 60.0).abs() < 1.0, "{found}");
    }

    #[test]
    fn a_rise_whose_wall_warms_first_is_dated_where_it_shows() {
        let history =
            drawn(200, |t| if t < 120.0 { 31.5 } else { 31.5 + 0.02 * (t - 120.0).powi(2).min(400.0) });
        let ground = Ground { quiet: Span::from_mins(20), noise: 0.3, ..SOAK };
        let noticed = Timestamp::from_millis(138 * 60_000);
        let found =
            minutes(left_level(&history, Move::Rise, ground, Timestamp::from_millis(0), noticed, &often()));
        assert!((found - 122.2).abs() < 1.0, "0.02·h² is a tenth of a degree at 2.2 min: {found}");
    }

    #[test]
    fn a_rise_out_of_a_cooling_charge_is_dated_to_its_turn() {
        let history = drawn(300, |t| if t < 200.0 { 26.0 - 0.02 * t } else { 22.0 + 0.3 * (t - 200.0) });
        let noticed = Timestamp::from_millis(270 * 60_000);
        let found =
            minutes(left_level(&history, Move::Rise, IDLE, Timestamp::from_millis(0), noticed, &often()));
        assert!((found - 200.0).abs() < 1.0, "{found}");
    }

    /// What it was warmer before it stood for ten minutes is not the level that it left.
    #[test]
    fn a_rise_soon_after_a_fall_is_dated_to_its_own_foot() {
        for rate in [0.1, 0.16, 0.3] {
            let fallen = |t: f64| 22.0 + rate * (60.0 - t).clamp(0.0, 20.0);
            let history = drawn(140, |t| fallen(t) + 0.6 * (t - 70.0).max(0.0));
            let (earliest, noticed) = (Timestamp::from_millis(0), Timestamp::from_millis(90 * 60_000));
            let found = minutes(left_level(&history, Move::Rise, IDLE, earliest, noticed, &often()));
            assert!((found - 70.0).abs() < 1.0, "{rate}: {found}");
        }
    }

    #[test]
    fn bursts_begin_between_two_readings() {
        assert_eq!(between(&[(0.0, 20.0), (4.0, 20.1), (9.0, 22.0), (13.0, 24.0)]), Some(6.5));
        assert_eq!(between(&[(0.0, 20.0), (4.0, 20.1)]), None);
    }

    #[test]
    fn too_little_is_dated_to_its_foot() {
        let mut history = History::default();
        let mut ticker = Ticker::new(Span::from_secs(5));
        for (minute, value) in [(0, 20.0), (1, 20.0), (2, 25.0), (3, 31.0), (4, 31.0)] {
            history.push_some(ticker.insert(
                Channel::Chocolate,
                Timestamp::from_millis(minute * 60_000),
                value,
            ));
        }
        let found = left_level(
            &history,
            Move::Rise,
            SOAK,
            Timestamp::from_millis(0),
            Timestamp::from_millis(240_000),
            &often(),
        );
        // 6 °C/min from the third reading back to a tenth above the level, which is just behind the second.
        assert_eq!(found, Some(Timestamp::from_millis(61_000)));
    }

    impl History {
        fn push_some(&mut self, tick: Option<frames::Tick>) {
            tick.into_iter().for_each(|tick| self.push(tick));
        }
    }
}
