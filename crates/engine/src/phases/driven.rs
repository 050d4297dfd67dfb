//! Where a rise began, when the chocolate itself is too restless to say: cold pieces around a probe make it wander by a degree.
//!
//! The jacket says it then. A charge warms no sooner than its wall is warmer, and the heat it has taken up by `t` goes with
//! `S(t) = ∫(jacket − chocolate) dt`, counted from where the jacket passed the chocolate (Newton). A stirred charge then rises in
//! proportion to `S`, one whose layer at the wall has to warm first with its square; cold pieces are in between, and `T − T₀ = k·S^1.5` is taken. One
//! rise of a few degrees gives `k`, wander or not, and with it the moment at which the level was left.

use frames::Tick;
use model::{Channel, Span, Timestamp};

use super::departure::{LEFT, Move};
use crate::history::{History, mean};

/// A jacket so much warmer than the chocolate heats it, °C ...
const WARMER: f64 = 1.0;
/// ... or by this share of the most that it ever is: at rest a jacket stands near the room, and a cold charge below that.
const WARMER_SHARE: f64 = 0.1;
/// `k` is taken from a rise of this much: more than any wander, little enough that not all has begun to melt, °C.
const RISE_USED: f64 = 3.0;
/// The power with which a charge of cold pieces warms, between 1 (stirred) and 2 (through a layer at the wall) (assumed).
const WARMS_AS: f64 = 1.5;
/// Where no jacket says how warm the wall is, it warms evenly from the step of the set-point on, and the charge with the square of the time (assumed).
const WARMS_BY_CLOCK: f64 = 2.0;
/// Means that even out the wander.
const BLOCK: Span = Span::from_mins(4);
/// Level before the jacket became warmer.
const LEVEL: Span = Span::from_mins(15);
/// A chocolate whose blocks scatter by more than this around their own trend is restless, °C.
const RESTLESS: f64 = 0.15;
/// ... and falls from one to the next by more than noise does, °C.
const TURNS_BACK: f64 = 0.1;
/// When the jacket became warmer than the chocolate on the way to the rise that is on at `risen`; `None` without a jacket, or
/// where it has been warmer all the time.
pub(super) fn heated_from(history: &History, earliest: Timestamp, risen: Timestamp) -> Option<Timestamp> {
    let warmer_by = |tick: &Tick| Some(tick.other(Channel::Jacket)? - tick.chocolate()?);
    let (mut warmer, mut most) = (None, 0.0_f64);
    for tick in history.between(earliest, risen).rev() {
        let Some(by) = warmer_by(&tick) else { continue };
        most = most.max(by);
        if by <= WARMER.max(WARMER_SHARE * most) {
            return warmer;
        }
        warmer = Some(tick.at);
    }
    None
}

/// When a chocolate that has risen since the jacket became warmer left its level.
pub(super) fn left_level(history: &History, heated: Timestamp, now: Timestamp) -> Option<Timestamp> {
    let level = mean(history.chocolate(heated - LEVEL, heated + Span::from_mins(1)).map(|(_, value)| value))?;
    let (mut sum, mut sums, mut before) = (0.0, Vec::new(), heated);
    for tick in history.between(heated, now) {
        let (Some(chocolate), Some(jacket)) = (tick.chocolate(), tick.other(Channel::Jacket)) else {
            continue;
        };
        let minutes = (tick.at - before).as_mins_f64();
        before = tick.at;
        sum += (jacket - chocolate) * minutes;
        sums.push((tick.at, sum));
    }
    let blocks = blocks(history, heated, now);
    let &(risen, block) = blocks.iter().find(|(_, block)| *block >= level + RISE_USED).or(blocks.last())?;
    let rise = Some(block - level).filter(|rise| *rise >= RISE_USED / 2.0)?;
    let middle = risen + BLOCK / 2;
    let &(_, taken) = sums.iter().take_while(|(at, _)| *at <= middle).last()?;
    let share = (LEFT / rise).powf(1.0 / WARMS_AS);
    sums.iter().find(|(_, sum)| *sum >= share * taken).map(|&(at, _)| at)
}

/// The same where only the moment is known at which the set-point asked for heat, or for less of it.
pub(super) fn left_level_by_clock(
    history: &History,
    way: Move,
    step: Timestamp,
    now: Timestamp,
) -> Option<Timestamp> {
    let level = mean(history.chocolate(step - LEVEL, step + Span::from_mins(1)).map(|(_, value)| value))?;
    let gone = |block: f64| match way {
        Move::Rise => block - level,
        Move::Fall => level - block,
    };
    let blocks = blocks(history, step, now);
    let place = blocks.iter().position(|(_, block)| gone(*block) >= RISE_USED)?;
    let (at, block) = blocks[place];
    // A charge that was still rising when it was set down falls from its top, which is long at a coarse display.
    let warmest =
        blocks[..place].iter().min_by(|a, b| gone(a.1).total_cmp(&gone(b.1))).map(|&(_, block)| block);
    let top = warmest.filter(|&warmest| way == Move::Fall && gone(warmest) < -2.0 * LEFT);
    let (from, fallen) = match top {
        None => (step, gone(block)),
        Some(top) => {
            let mut there = blocks[..place].iter().filter(|(_, block)| *block > top - LEFT / 2.0);
            let first = there.next()?.0;
            let last = there.next_back().map_or(first, |&(last, _)| last);
            (first + (last - first) / 2 + BLOCK / 2, top - block)
        }
    };
    let minutes = (at + BLOCK / 2 - from).as_mins_f64();
    let share = (LEFT / fallen).powf(1.0 / WARMS_BY_CLOCK);
    Some(from + Span::from_mins_f64(share * minutes))
}

/// Does the chocolate, which rises from `from` on, wander around its own trend? A smooth rise may grow steeper and flatter, but it does not turn back.
pub(super) fn is_restless(history: &History, from: Timestamp, to: Timestamp) -> bool {
    let blocks = blocks(history, from, to);
    let steps: Vec<f64> = blocks.windows(2).map(|pair| pair[1].1 - pair[0].1).collect();
    let turns_back = steps.iter().filter(|step| **step < -TURNS_BACK).count();
    let Some(trend) = maths::statistics::median(&steps) else { return false };
    let off_trend: Vec<f64> = steps.iter().map(|step| (step - trend).abs()).collect();
    turns_back > 0 && maths::statistics::median(&off_trend).is_some_and(|scatter| scatter > RESTLESS)
}

fn blocks(history: &History, from: Timestamp, to: Timestamp) -> Vec<(Timestamp, f64)> {
    let mut blocks = Vec::new();
    let mut at = from;
    while at + BLOCK <= to {
        if let Some(mean) = mean(history.chocolate(at, at + BLOCK).map(|(_, value)| value)) {
            blocks.push((at, mean));
        }
        at += BLOCK;
    }
    blocks
}

#[cfg(test)]
mod tests {
    use frames::Ticker;

    use super::*;

    /// Cold pieces that wander by some tenths, heated from minute 60 on; a tenth is left after `10·√(0.1/0.3)` = 5.8 min.
    #[test]
    fn a_restless_rise_is_dated_by_the_step_that_asked_for_it() {
        let (mut history, mut ticker) = (History::default(), Ticker::new(Span::from_secs(5)));
        for second in (0..120 * 60).step_by(5) {
            let minute = f64::from(second) / 60.0;
            let heated = (minute - 60.0).max(0.0);
            let wander = if heated > 0.0 { 0.3 * (minute * 0.9).sin() } else { 0.0 };
            let at = Timestamp::from_millis(i64::from(second) * 1000);
            if let Some(tick) = ticker.insert(Channel::Chocolate, at, 20.0 + 0.003 * heated.powi(2) + wander)
            {
                history.push(tick);
            }
        }
        let at = |minute: i64| Timestamp::from_millis(minute * 60_000);
        let left = left_level_by_clock(&history, Move::Rise, at(60), at(120)).unwrap();
        assert!(((left - at(60)).as_mins_f64() - 5.8).abs() < 1.0, "{left}");
        assert_eq!(
            left_level_by_clock(&history, Move::Rise, at(60), at(70)),
            None,
            "not enough of a rise to tell"
        );
    }

    /// A display of half degrees, set down at minute 60: at once it falls by the square of the time, or it still rises to 47 °C until minute 75
    /// and falls from there.
    #[test]
    fn a_coarse_fall_is_dated_by_the_step_or_by_the_top_that_comes_after_it() {
        let recorded = |falls_from: f64, rises: f64| {
            let (mut history, mut ticker) = (History::default(), Ticker::new(Span::from_secs(5)));
            for second in (0..150 * 60).step_by(5) {
                let minute = f64::from(second) / 60.0;
                let still = (minute - 60.0).clamp(0.0, falls_from - 60.0) * rises;
                let value = 46.0 + still - 0.01 * (minute - falls_from).max(0.0).powi(2);
                let at = Timestamp::from_millis(i64::from(second) * 1000);
                if let Some(tick) = ticker.insert(Channel::Chocolate, at, (value * 2.0).round() / 2.0) {
                    history.push(tick);
                }
            }
            history
        };
        let at = |minute: i64| Timestamp::from_millis(minute * 60_000);
        let after = |history: &History| {
            (left_level_by_clock(history, Move::Fall, at(60), at(120)).unwrap() - at(60)).as_mins_f64()
        };
        assert!((after(&recorded(60.0, 0.0)) - 3.2).abs() < 1.5, "0.01·h² is a tenth at 3.2 min");
        let late = after(&recorded(75.0, 1.0 / 15.0));
        assert!((late - 18.2).abs() < 2.0, "{late}");
    }
}
