//! Where a hot charge left its level because its jacket was cooled: sooner than a noisy or coarse probe can show it, the jacket has said it.
//!
//! The charge follows its jacket, `dT/dt = k·(jacket − T) − loss` (Newton), so that `T = T₀ + k·∫(jacket − T) dt − loss·t`. Fitted to half an hour of the
//! hold and the first degrees of the fall, this is the chocolate's own course without the noise, swings of the control included; the level
//! is its last turn, and is left a tenth of a degree below that. The wall, and the probe, follow with a lag of their own: of a few, the one that
//! fits best. Without a lag the fit would tilt the hold to explain why the fall begins late.

use std::ops::Range;

use maths::least_squares::fit_terms;
use maths::statistics::scatter_with_jumps;
use model::{Channel, Span, Timestamp};

use super::departure::LEFT;
use crate::history::{History, extremes, mean};
use crate::jacket;

/// So much of the hold before the fall is fitted; less where a charge that was still melting did not follow its jacket as it does in the fall.
const HELD: [Span; 4] = [Span::from_mins(30), Span::from_mins(20), Span::from_mins(12), Span::from_mins(8)];
/// The fall is fitted until it has gone this far, °C: further on seed or a person may have joined in.
const FALLEN: f64 = 2.0;
/// Fewer points than this do not carry three parameters ...
const FEWEST: usize = 20;
/// ... and more than this show no more: of neighbours their mean is taken.
const MOST: usize = 160;
/// Lags of the wall and the probe that are tried, minutes (bare probes 10–40 s, in a well 60–180 s, from memory; walls add to that).
const LAGS_MIN: [f64; 6] = [0.0, 0.5, 1.0, 2.0, 4.0, 8.0];
/// A hold leans where its course fits so many times better than a level one (start value, from made-up days).
const LEANS: f64 = 1.15;
/// The jacket is cooled at most so long before the fall is seen (start value).
const NOT_YET_COOLED: Span = Span::from_mins(5);
/// What was just before it left its level is looked at for so long (start value).
const BEFORE_IT_LEFT: Span = Span::from_mins(8);
/// A fitted course that has moved by less than this in so long has come to rest, °C.
const RESTS: Span = Span::from_mins(5);
const RESTS_WITHIN: f64 = 0.02;
/// Chocolate that keeps this close to the fitted course follows its jacket, °C; noise and the steps of a display come on top.
const FOLLOWS: f64 = 0.02;
/// So many deviations of the readings from one to the next, which is what noise leaves of a good fit and a little more.
const NOISE: f64 = 1.25;
/// So much of a step: even values within one scatter by 1/√12 of it.
const STEPS: f64 = 0.35;
/// A course whose top lies at its very beginning shows no level.
const LEVEL_SEEN: Span = Span::from_mins(2);
/// A fitted course turns where it comes back by so much, °C.
const TURNS: f64 = 0.005;

/// When a charge whose fall seems to begin at `falls` left its level; `now` lies in the fall, and the charge is held since `earliest`. Its
/// probe shows it in steps of `grain`. `None` where the jacket is not known or does not explain the fall.
pub(super) fn left_level(
    history: &History,
    grain: f64,
    earliest: Timestamp,
    falls: Timestamp,
    now: Timestamp,
) -> Option<Timestamp> {
    HELD.into_iter().find_map(|held| {
        let beside = Beside::read(history, (falls - held).max(earliest), falls, now)?;
        let course = beside.course(grain)?;
        beside.left_level(&course)
    })
}

/// Chocolate beside its jacket, over a stretch.
#[derive(Default)]
struct Beside {
    /// When the chocolate is seen to fall.
    falls: Timestamp,
    at: Vec<Timestamp>,
    celsius: Vec<f64>,
    jacket: Vec<f64>,
}

impl Beside {
    fn read(history: &History, from: Timestamp, falls: Timestamp, now: Timestamp) -> Option<Beside> {
        let mut beside = Beside { falls, ..Beside::default() };
        let (mut jacket, mut level) = (None, f64::NEG_INFINITY);
        for tick in history.between(from, now) {
            jacket = tick.other(Channel::Jacket).map(|celsius| (tick.at, celsius)).or(jacket);
            let Some(chocolate) = tick.chocolate() else { continue };
            let Some((_, warmth)) = jacket.filter(|(told, _)| tick.at - *told <= jacket::HOLDS) else {
                continue;
            };
            beside.at.push(tick.at);
            beside.celsius.push(chocolate);
            beside.jacket.push(warmth);
            if tick.at <= falls {
                level = chocolate;
            } else if chocolate < level - FALLEN {
                break;
            }
        }
        (beside.at.len() >= FEWEST).then(|| beside.thinned())
    }

    fn thinned(self) -> Beside {
        let together = self.at.len().div_ceil(MOST).max(1);
        let means = |values: &[f64]| -> Vec<f64> {
            values.chunks(together).map(|of| of.iter().sum::<f64>() / of.len() as f64).collect()
        };
        let middle = |of: &[Timestamp]| of[0] + (of[of.len() - 1] - of[0]) / 2;
        Beside {
            falls: self.falls,
            at: self.at.chunks(together).map(middle).collect(),
            celsius: means(&self.celsius),
            jacket: means(&self.jacket),
        }
    }

    /// `[1, ∫(jacket − T) dt, t]`, °C·min and minutes since the first; the jacket as a wall feels it that follows with this lag.
    fn terms(&self, lag_min: f64) -> Vec<[f64; 3]> {
        let (mut wall, mut sum, mut last) = (self.jacket[0], 0.0, self.at[0]);
        let felt = self.at.iter().zip(&self.jacket).zip(&self.celsius);
        felt.map(|((at, jacket), chocolate)| {
            let minutes = (*at - last).as_mins_f64();
            last = *at;
            wall += (jacket - wall) * if lag_min > 0.0 { 1.0 - (-minutes / lag_min).exp() } else { 1.0 };
            sum += (wall - chocolate) * minutes;
            [1.0, sum, (*at - self.at[0]).as_mins_f64()]
        })
        .collect()
    }

    fn left_level(&self, course: &[f64]) -> Option<Timestamp> {
        let (mut top, mut place) = (f64::NEG_INFINITY, course.len());
        for (i, &celsius) in course.iter().enumerate().rev() {
            if celsius > top {
                (top, place) = (celsius, i);
            } else if celsius < top - TURNS {
                break;
            }
            if self.rests_before(course, i) {
                break;
            }
        }
        if self.at.get(place).is_none_or(|top| *top - self.at[0] < LEVEL_SEEN) {
            return None;
        }
        let left = (place..course.len()).find(|&i| course[i] < top - LEFT)?;
        (!self.is_belied(course, left)).then(|| self.crossed(course, left, top - LEFT))
    }

    /// When the course went below `level`; it is below at `place` first, which lies behind its top.
    fn crossed(&self, course: &[f64], place: usize, level: f64) -> Timestamp {
        let before = place - 1;
        let minutes = (self.at[place] - self.at[before]).as_mins_f64();
        let share = (course[before] - level) / (course[before] - course[place]);
        (self.at[before] + Span::from_mins_f64(share * minutes)).floor(Span::from_secs(1))
    }

    /// Where the course falls from `left` on, before the chocolate is seen to: has the chocolate not gone half of that way? Noise
    /// counts against it: what noise hides, the chocolate does not show.
    fn is_belied(&self, course: &[f64], left: usize) -> bool {
        let seen = self.at.partition_point(|at| *at <= self.falls);
        let before = self.at.partition_point(|at| *at < self.at[left] - BEFORE_IT_LEFT);
        let fell = |values: &[f64]| {
            let part = |places: Range<usize>| mean(values.get(places)?.iter().copied());
            Some(part(before..left)? - part(left..seen)?)
        };
        let Some((chocolate, course)) = fell(&self.celsius).zip(fell(course)) else { return false };
        let unsure = self.noise() * (1.0 / (left - before) as f64 + 1.0 / (seen - left) as f64).sqrt();
        chocolate < (course + unsure) / 2.0
    }

    /// Had the course come to rest by this place? What it sank by before that, from the top of a melt that went too far, is no part of the fall.
    fn rests_before(&self, course: &[f64], place: usize) -> bool {
        if self.at[place] - self.at[0] < RESTS {
            return false;
        }
        // From the last reading before those minutes on: a gap is no rest.
        let earlier = self.at.partition_point(|at| *at <= self.at[place] - RESTS).saturating_sub(1);
        extremes(course[earlier..=place].iter().copied()).is_some_and(|(low, high)| high - low < RESTS_WITHIN)
    }

    /// The fitted course, °C, where the chocolate follows its jacket.
    fn course(&self, grain: f64) -> Option<Vec<f64>> {
        let level_to = self.level_to();
        let fits = LAGS_MIN.into_iter().filter_map(|lag_min| {
            let leaning = self.terms(lag_min);
            let (sum, minutes) = (leaning[level_to][1], leaning[level_to][2]);
            let share = if minutes > 0.0 { sum / minutes } else { return self.fit(&leaning) };
            let level = leaning.iter().map(|terms| [1.0, terms[1] - share * terms[2]]).collect::<Vec<_>>();
            match (self.fit(&level), self.fit(&leaning)) {
                (Some(level), Some(leaning)) if LEANS * leaning.scatter < level.scatter => Some(leaning),
                (level, leaning) => level.or(leaning),
            }
        });
        let fit = fits.min_by(|a, b| a.scatter.total_cmp(&b.scatter))?;
        (fit.scatter <= FOLLOWS + (NOISE * self.noise()).max(STEPS * grain)).then_some(fit.course)
    }

    fn noise(&self) -> f64 {
        scatter_with_jumps(&self.celsius)
    }

    /// The place up to which the jacket has not gone below where it was in the hold.
    fn level_to(&self) -> usize {
        let hold = self.at.partition_point(|at| *at <= self.falls - NOT_YET_COOLED);
        let lowest = extremes(self.jacket[..hold.max(1)].iter().copied()).map(|(lowest, _)| lowest);
        self.jacket.iter().rposition(|jacket| Some(*jacket) >= lowest).unwrap_or(0)
    }

    fn fit<const N: usize>(&self, terms: &[[f64; N]]) -> Option<Fit> {
        let fit = fit_terms(terms, &self.celsius).ok()?;
        let height = |row: &[f64; N]| row.iter().zip(&fit.parameters).map(|(term, p)| term * p).sum();
        (fit.parameters[1] > 0.0)
            .then(|| Fit { scatter: fit.residual_sd, course: terms.iter().map(height).collect() })
    }
}

/// A fitted course and the scatter around it, °C.
struct Fit {
    scatter: f64,
    course: Vec<f64>,
}

#[cfg(test)]
mod tests {
    use frames::Ticker;

    use super::*;

    /// A charge of `start` °C beside a jacket, τ = 40 min, seen by a probe that flickers by so much. With the true course.
    fn beside(
        jacket: impl Fn(f64) -> f64,
        start: f64,
        flicker: f64,
        knows_jacket: bool,
    ) -> (History, Vec<(f64, f64)>) {
        let (mut history, mut ticker) = (History::default(), Ticker::new(Span::from_secs(5)));
        let (mut charge, mut course) = (start, Vec::new());
        for i in 0..150 * 12_i64 {
            let t = i as f64 / 12.0;
            // The room takes as much as one degree of the jacket gives.
            charge += (jacket(t) - charge - 1.0) / 40.0 / 12.0;
            course.push((t, charge));
            let at = Timestamp::from_millis(i * 5_000);
            let noise = flicker * [1.0, -1.2, 0.3, 0.9, -0.7, -0.9, 0.6][i as usize % 7];
            let told = [(Channel::Chocolate, charge + noise), (Channel::Jacket, jacket(t))];
            for (channel, value) in told.into_iter().take(if knows_jacket { 2 } else { 1 }) {
                ticker.insert(channel, at, value).into_iter().for_each(|tick| history.push(tick));
            }
        }
        (history, course)
    }

    fn cooled(minutes_since: f64, from: f64) -> f64 {
        (from - 2.0 * minutes_since).max(20.0)
    }

    /// It swings by a degree in twelve minutes and is cooled from minute 60 on.
    fn swings(t: f64) -> f64 {
        if t < 60.0 { 46.0 + 0.5 * (t * std::f64::consts::TAU / 12.0).sin() } else { cooled(t - 60.0, 46.0) }
    }

    /// Minutes at which the level of minute 60 is left.
    fn truly_left(course: &[(f64, f64)]) -> f64 {
        let level = course[60 * 12].1;
        course.iter().find(|(t, c)| *t > 60.0 && *c < level - LEFT).unwrap().0
    }

    fn at(minute: i64) -> Timestamp {
        Timestamp::from_millis(minute * 60_000)
    }

    /// The probe flickers by more than the swing moves the charge.
    #[test]
    fn a_fall_that_the_jacket_drives_is_dated_through_the_noise() {
        let (history, course) = beside(swings, 45.0, 0.2, true);
        let truly = truly_left(&course);
        for falls in [50, 62, 68] {
            let left = left_level(&history, 0.0, Timestamp::default(), at(falls), at(120)).unwrap();
            let left = (left - Timestamp::default()).as_mins_f64();
            assert!((left - truly).abs() < 1.0, "{left}, truly {truly}, seemed to fall at {falls}");
        }
    }

    /// A charge that came down from too hot, was warmed again, and is then set down: its level is where it turned last.
    #[test]
    fn what_it_was_before_its_last_turn_is_not_its_level() {
        let jacket = |t: f64| match t {
            t if t < 48.0 => 44.0,
            t if t < 60.0 => 47.0,
            t => cooled(t - 60.0, 47.0),
        };
        let (history, course) = beside(jacket, 50.0, 0.02, true);
        let top = course[60 * 12 - 60..].iter().map(|(_, c)| *c).fold(f64::NEG_INFINITY, f64::max);
        assert!(course[36 * 12].1 > top + 0.2, "it was hotter within the half hour before");
        let turned = course[60 * 12..].iter().rfind(|(_, c)| *c >= top - LEFT).unwrap().0;
        let left = left_level(&history, 0.0, Timestamp::default(), at(62), at(120)).unwrap();
        let left = (left - Timestamp::default()).as_mins_f64();
        assert!((left - turned).abs() < 1.0, "{left}, truly {turned}");
    }

    /// A reading behind twenty minutes without any is no rest.
    #[test]
    fn a_gap_is_no_rest() {
        let course = [46.0, 46.0, 45.0, 44.9];
        let beside = Beside { at: [0, 10, 30, 31].map(at).to_vec(), ..Beside::default() };
        assert!(beside.rests_before(&course, 1));
        assert!(!beside.rests_before(&course, 2) && !beside.rests_before(&course, 3));
        assert!(!beside.rests_before(&course, 0), "nothing is known before");
    }

    #[test]
    fn without_a_jacket_it_says_nothing() {
        let (history, _) = beside(swings, 45.0, 0.02, false);
        assert_eq!(left_level(&history, 0.0, Timestamp::default(), at(62), at(120)), None);
    }
}
