//! The way down from the soak: did seed make it steeper for a while?
//!
//! Seed cools by its own cold within a minute and by what melts of it for three to fifteen (domain brief, 2.3); then the charge goes on as before or
//! warms again. So minutes that fall by more than as many before them are a dip, and by more than as many behind them too: a jacket that turns
//! colder makes a fall steeper that stays steep. It is looked for in windows of several lengths. Where a cooling has only
//! just begun, its first minutes fall by more than those before them without any seed; there the fall has to ease off clearly behind a dip, by more
//! than the fall of a small, quick charge does by itself.

use model::{Span, Timestamp};

use crate::history::extremes;

/// A dip is seed from here on, °C within a window beyond what cooling explains (start value, common practice, no source).
const DIP: f64 = 0.7;
/// ... and from so many deviations of the levels on: what is compared has 2.4 of them, and some ninety places are looked at (start value).
const OUT_OF_NOISE: f64 = 8.0;
/// A way down without any seed shows no more than this, °C, or hardly more than a step of its display; what lies between that and a dip may have been a
/// little seed, or noise (start values, from made-up days).
const SMOOTH: f64 = 0.5;
const STEPS_SMOOTH: f64 = 1.2;
/// The windows: pieces that melt at once, and those that take their time.
const WINDOWS: [Span; 3] = [Span::from_mins(3), Span::from_mins(6), Span::from_mins(10)];
/// Fine pieces in a small, quick charge are through within a minute; so short a window says nothing of what it does not clearly show: more than one
/// step of a display of half degrees, °C.
const SHARP: Span = Span::from_mins(1);
const SHARP_DIP: f64 = 0.55;
/// A fall alone does not gather way by so much from one minute to the next once it has (start value, from made-up days): it may be a dip that a slow
/// probe blurs.
const SHARP_SMOOTH: f64 = 0.35;
/// A shorter window dates a dip better: it is taken where it shows so much of what the clearest one does.
const SHOWS: f64 = 0.7;
/// The lowest point of a dip comes within this.
const BOTTOM: Span = Span::from_mins(20);
/// A cooling goes on evenly as long as its fall of a window grows by no more than this share, or so many °C.
const GROWS: f64 = 0.3;
const GROWS_C: f64 = 0.35;
/// What follows a dip counts as usual for so much: a fall that eases off by itself does so by less.
const EASED: f64 = 0.8;
/// The same while the cooling gathers way: a charge of a time constant of ten minutes falls by three quarters as much in the next three.
const EASED_AT_FIRST: f64 = 2.0;
/// A fall by itself keeps more than this of itself from one window to the next.
const EASES_MOST: f64 = 0.5;

/// When seed went in, and what it did.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Dip {
    pub(crate) from: Timestamp,
    /// °C below what cooling alone would have reached by then.
    pub(crate) depth: f64,
}

/// By how much a window falls, and those before and behind it, °C.
struct Falls {
    fall: f64,
    before: f64,
    after: f64,
    /// The cooling had gathered way.
    is_even: bool,
}

impl Falls {
    fn beyond_usual(&self) -> f64 {
        self.fall - self.before.max(self.after * if self.is_even { EASED } else { EASED_AT_FIRST })
    }
}

/// Levels from the beginning of the cooling on, until some minutes behind its end.
#[derive(Debug)]
pub(crate) struct WayDown {
    levels: Vec<(Timestamp, f64)>,
    scatter: f64,
    steepest: Option<Steepest>,
    /// By how much the fall of a sharp window is beyond the usual at most, °C.
    sharpest: f64,
}

/// Where the fall of a window is farthest beyond the usual.
#[derive(Debug, Clone, Copy)]
struct Steepest {
    window: Span,
    place: usize,
    /// By so much, °C.
    beyond: f64,
}

impl WayDown {
    /// A dip may begin until `to`, and where `is_near` allows it; the levels should go on for [`WayDown::looks_beyond`].
    pub(crate) fn new(
        levels: Vec<(Timestamp, f64)>,
        to: Timestamp,
        is_near: impl Fn(Timestamp) -> bool,
    ) -> WayDown {
        let values: Vec<f64> = levels.iter().map(|(_, level)| *level).collect();
        let mut way =
            WayDown { levels, scatter: maths::statistics::scatter(&values), steepest: None, sharpest: 0.0 };
        let places: Vec<usize> = (0..way.levels.len())
            .filter(|&place| way.levels[place].0 <= to && is_near(way.levels[place].0))
            .collect();
        let sharp = way.steepest_of(SHARP, &places);
        way.sharpest = sharp.map_or(0.0, |sharp| sharp.beyond);
        let sharp = sharp.filter(|sharp| sharp.beyond >= way.least(SHARP));
        let wider = WINDOWS.iter().filter_map(|&window| way.steepest_of(window, &places));
        let steepest: Vec<Steepest> = sharp.into_iter().chain(wider).collect();
        let clearest = steepest.iter().map(|steepest| steepest.beyond).fold(f64::NEG_INFINITY, f64::max);
        way.steepest = steepest.into_iter().find(|steepest| steepest.beyond >= SHOWS * clearest);
        way
    }

    /// So much behind its end has to be known.
    pub(crate) fn looks_beyond() -> Span {
        WINDOWS[WINDOWS.len() - 1] * 2
    }

    fn steepest_of(&self, window: Span, places: &[usize]) -> Option<Steepest> {
        let mut looked_from = [0; 4];
        let beyond = |&place: &usize| {
            let falls = self.falls(place, window, &mut looked_from)?;
            Some(Steepest { window, place, beyond: falls.beyond_usual() })
        };
        places.iter().filter_map(beyond).max_by(|a, b| a.beyond.total_cmp(&b.beyond))
    }

    /// The falls about a level; `None` while the window behind it is not over. `looked_from`: as in [`WayDown::level_at`].
    fn falls(&self, place: usize, window: Span, looked_from: &mut [usize; 4]) -> Option<Falls> {
        let (from, _) = *self.levels.first()?;
        let (at, level) = self.levels[place];
        let [long_before, just_before, just_after, long_after] = looked_from;
        let later = self.level_at(at + window, just_after)?;
        let earlier = self.level_at(at - window, just_before)?;
        let before = (earlier - level).max(0.0);
        let end = self.level_at(at + window * 2, long_after).or(self.levels.last().map(|last| last.1))?;
        let after = later - end;
        let sooner = self.level_at(at - window * 2, long_before)? - earlier;
        let is_even = at - from >= window * 2 && before - sooner <= GROWS_C.max(GROWS * before);
        // A long window that begins with the cooling holds all its gathering of way.
        (is_even || window == WINDOWS[0]).then_some(Falls { fall: level - later, before, after, is_even })
    }

    /// The level at a moment, straight between two readings; before the first of them it is that one. It is looked for from a place on at which levels
    /// are not behind `at` yet: who asks for later and later moments goes through them once.
    fn level_at(&self, at: Timestamp, looked_from: &mut usize) -> Option<f64> {
        while self.levels.get(*looked_from).is_some_and(|level| level.0 < at) {
            *looked_from += 1;
        }
        let place = *looked_from;
        let (behind, level) = *self.levels.get(place)?;
        let Some(&(before, earlier)) = place.checked_sub(1).and_then(|place| self.levels.get(place)) else {
            return Some(level);
        };
        Some(level - (level - earlier) * ((behind - at).as_secs_f64() / (behind - before).as_secs_f64()))
    }

    /// From here on a fall of a window beyond the usual is a dip, °C.
    fn least(&self, window: Span) -> f64 {
        let dip = if window == SHARP { SHARP_DIP } else { DIP };
        dip.max(OUT_OF_NOISE * self.scatter)
    }

    /// The dip, if one stands out.
    pub(crate) fn dip(&self) -> Option<Dip> {
        let Steepest { window, place, beyond } =
            self.steepest.filter(|steepest| steepest.beyond >= self.least(steepest.window))?;
        let (at, level) = self.levels[place];
        let falls = self.falls(place, window, &mut [0; 4])?;
        if !falls.is_even {
            return Some(Dip { from: at, depth: falls.fall - falls.before.max(falls.after) });
        }
        let usual = self.usual_from(at, level, window)?;
        let below = |&(t, value): &(Timestamp, f64)| level - value - usual(t);
        let dip = self.levels[place..].iter().take_while(|(t, _)| *t - at <= BOTTOM).map(below);
        extremes(dip).map(|(_, deepest)| Dip { from: at, depth: deepest.max(beyond) })
    }

    /// How far a cooling would have gone on by a later moment, °C: its falls of a window become less as the last two did (Newton).
    fn usual_from(
        &self,
        at: Timestamp,
        level: f64,
        window: Span,
    ) -> Option<impl Fn(Timestamp) -> f64 + use<>> {
        let before = self.level_at(at - window, &mut 0)?;
        let (fall, sooner) = ((before - level).max(0.0), self.level_at(at - window * 2, &mut 0)? - before);
        let share = if 0.0 < sooner { (fall / sooner).clamp(EASES_MOST, 1.0) } else { 1.0 };
        Some(move |t: Timestamp| {
            let windows = (t - at).as_secs_f64() / window.as_secs_f64();
            if share < 1.0 {
                fall * share * (1.0 - share.powf(windows)) / (1.0 - share)
            } else {
                fall * windows
            }
        })
    }

    /// Is it so smooth that there was no seed? Between this and a dip nobody can tell. `grain`: the display's step, °C.
    pub(crate) fn is_smooth(&self, grain: f64) -> bool {
        let smooth = SMOOTH.max(STEPS_SMOOTH * grain).min(DIP);
        let sharp = SHARP_SMOOTH.max(STEPS_SMOOTH * grain).max(OUT_OF_NOISE * self.scatter);
        self.sharpest < sharp
            && self.steepest.is_none_or(|steepest| steepest.window != SHARP && steepest.beyond < smooth)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Minutes between two levels.
    const STEP: f64 = 0.25;

    /// A charge of 46 °C and `tau` minutes whose jacket turns to 20 °C with a time constant of `lag` minutes; `seed`, at its minute and of its depth in °C, melts with
    /// one of a minute and a half. From the beginning of the cooling to 31.7 °C, and two windows on.
    fn way(tau: f64, lag: f64, seed: Option<(f64, f64)>) -> WayDown {
        let (mut levels, mut charge, mut jacket, mut to) = (Vec::new(), 46.0, 46.0, None);
        for i in 0..4_000 {
            let minute = f64::from(i) * STEP;
            let dip = seed
                .filter(|(at, _)| *at < minute)
                .map_or(0.0, |(at, depth)| depth * (1.0 - (-(minute - at) / 1.5).exp()));
            let at = Timestamp::from_millis((minute * 60_000.0) as i64);
            levels.push((at, charge - dip));
            if charge - dip < 31.7 && to.is_none() {
                to = Some(at);
            }
            if to.is_some_and(|to| at - to > WayDown::looks_beyond()) {
                break;
            }
            jacket += (20.0 - jacket) / lag * STEP;
            charge += (jacket - charge) / tau * STEP;
        }
        WayDown::new(levels, to.unwrap(), |_| true)
    }

    /// From six kilograms in a water jacket (13 min) to half a ton (70 min), and beyond either (domain brief 2.5, calculated there).
    #[test]
    fn a_cooling_alone_is_smooth_however_brisk() {
        for tau in [10.0, 13.0, 14.0, 18.0, 22.0, 26.0, 32.0, 60.0, 70.0, 80.0] {
            for lag in [0.3, 1.0, 2.0, 4.0, 8.0, 12.0] {
                let way = way(tau, lag, None);
                assert!(way.dip().is_none() && way.is_smooth(0.0), "{tau} {lag}: {:?}", way.steepest);
            }
        }
    }

    #[test]
    fn seed_is_seen_with_its_own_depth() {
        for (tau, at) in [(22.0, 12.0), (30.0, 16.0), (60.0, 30.0)] {
            for depth in [1.5, 2.5, 4.0] {
                let dip = way(tau, 1.5, Some((at, depth))).dip().unwrap_or_else(|| panic!("{tau} {depth}"));
                assert!((dip.depth - depth).abs() < 0.3 * depth, "{tau} {depth}: {}", dip.depth);
                assert!((dip.from.as_millis() as f64 / 60_000.0 - at).abs() < 1.5, "{tau} {depth}");
            }
        }
    }

    /// Pieces that take their time: four degrees in a quarter of an hour.
    #[test]
    fn seed_that_melts_slowly_is_seen() {
        let slide = |minute: f64| 4.0 * ((minute - 50.0) / 12.0).clamp(0.0, 1.0);
        let level = |minute: f64| 33.0 + 10.0 * (-minute / 60.0).exp() - slide(minute);
        let levels = (0..320).map(|i| {
            let minute = f64::from(i) * STEP;
            (Timestamp::from_millis((minute * 60_000.0) as i64), level(minute))
        });
        let way = WayDown::new(levels.collect(), Timestamp::from_millis(70 * 60_000), |_| true);
        let dip = way.dip().unwrap();
        assert!((dip.depth - 4.0).abs() < 0.8, "{dip:?}");
        assert!((dip.from.as_millis() as f64 / 60_000.0 - 50.0).abs() < 2.5, "{dip:?}");
    }

    /// A quarter of solid pieces in a charge that has not been set down yet.
    #[test]
    fn seed_right_out_of_the_soak_is_seen() {
        let way = way(30.0, 3.0, Some((0.5, 8.0)));
        assert!(way.dip().is_some_and(|dip| dip.depth > 5.0), "{:?}", way.steepest);
    }

    /// Fine pieces that are through in a minute, in a charge that falls by more than a degree in each.
    #[test]
    fn seed_in_a_small_quick_charge_is_seen() {
        for depth in [1.0, 1.6] {
            let slide = |minute: f64| depth * ((minute - 9.0) / 1.0).clamp(0.0, 1.0);
            let level = |minute: f64| 18.0 + 28.0 * (-minute / 17.0).exp() - slide(minute);
            let levels = (0..160).map(|i| {
                let minute = f64::from(i) * STEP;
                (Timestamp::from_millis((minute * 60_000.0) as i64), level(minute))
            });
            let way = WayDown::new(levels.collect(), Timestamp::from_millis(12 * 60_000), |_| true);
            assert!(way.dip().is_some() && !way.is_smooth(0.1), "{depth}: {:?}", way.steepest);
        }
    }

    /// A logger a minute, none of whose minutes is exactly one: what falls within a minute is not what falls within two.
    #[test]
    fn uneven_minutes_make_no_dip() {
        for seed in [0.0, 2.0] {
            let level = |minute: f64| 46.0 - 0.9 * minute - seed * (minute - 12.0).clamp(0.0, 1.0);
            let levels = (0..40).map(|i| {
                let jitter = [0.02, -0.02, 0.0, -0.01, 0.01, -0.02, 0.02][i as usize % 7];
                let minute = f64::from(i) + jitter;
                (Timestamp::from_millis((minute * 60_000.0) as i64), level(minute))
            });
            let way = WayDown::new(levels.collect(), Timestamp::from_millis(16 * 60_000), |_| true);
            let depth = way.dip().map_or(0.0, |dip| dip.depth);
            assert!((depth - seed).abs() < 0.2, "{depth} {seed}: {:?}", way.steepest);
        }
    }

    /// Half a degree within a minute, of which a slow probe shows less.
    #[test]
    fn a_blurred_dip_of_a_quick_charge_is_neither() {
        let slide = |minute: f64| 0.5 * (minute - 9.0).clamp(0.0, 1.0);
        let levels = (0..160).map(|i| {
            let minute = f64::from(i) * STEP;
            let level = 18.0 + 28.0 * (-minute / 17.0).exp() - slide(minute);
            (Timestamp::from_millis((minute * 60_000.0) as i64), level)
        });
        let way = WayDown::new(levels.collect(), Timestamp::from_millis(12 * 60_000), |_| true);
        assert!(way.dip().is_none() && !way.is_smooth(0.1), "{:?} {}", way.steepest, way.sharpest);
    }

    #[test]
    fn a_little_seed_is_neither() {
        let way = way(30.0, 1.5, Some((16.0, 0.8)));
        assert!(way.dip().is_none() && !way.is_smooth(0.0), "{:?}", way.steepest);
        assert!(way.is_smooth(0.5), "of a display of half degrees that is but a step");
    }
}
