//! Where a hot charge left its level because its jacket was cooled: sooner than a noisy or coarse probe can show it, the jacket has said it.
//!
//! The charge follows its jacket, `dT/dt = k·(jacket − T) − loss` (Newton), so that `T = T₀ + k·∫(jacket − T) dt − loss·t`. Fitted to half an hour of the
//! hold and the first degrees of the fall, this is the chocolate's own course without the noise, swings of the control included; the level
//! is its last turn, and is left a tenth of a degree below that.

use maths::least_squares::{CurvePoint, fit_curve};
use model::{Channel, Span, Timestamp};

use super::departure::LEFT;
use crate::history::{History, extremes};
use crate::jacket;

/// So much of the hold before the fall is fitted.
const HELD: Span = Span::from_mins(30);
/// The fall is fitted until it has gone this far, °C: further on seed or a person may have joined in.
const FALLEN: f64 = 2.0;
/// Fewer points than this do not carry three parameters.
const FEWEST: usize = 20;
/// A fitted course that has moved by less than this in so long has come to rest, °C.
const RESTS: Span = Span::from_mins(5);
const RESTS_WITHIN: f64 = 0.02;
/// Chocolate that keeps this close to the fitted course follows its jacket, °C; so does a noisier one whose fall is many times its scatter.
const FOLLOWS: f64 = 0.05;
const FOLLOWS_SHARE: f64 = 0.15;
/// A course whose top lies at its very beginning shows no level.
const LEVEL_SEEN: Span = Span::from_mins(2);
/// A fitted course turns where it comes back by so much, °C.
const TURNS: f64 = 0.005;

/// When a charge whose fall seems to begin at `falls` left its level; `now` lies in the fall, and the charge is held since `earliest`.
/// `None` where the jacket is not known or does not explain the fall.
pub(super) fn left_level(
    history: &History,
    earliest: Timestamp,
    falls: Timestamp,
    now: Timestamp,
) -> Option<Timestamp> {
    let beside = Beside::read(history, (falls - HELD).max(earliest), falls, now)?;
    let course = beside.course()?;
    let (mut top, mut place) = (f64::NEG_INFINITY, course.len());
    for (i, &celsius) in course.iter().enumerate().rev() {
        if celsius > top {
            (top, place) = (celsius, i);
        } else if celsius < top - TURNS {
            break;
        }
        if beside.rests_before(&course, i) {
            break;
        }
    }
    if beside.at.get(place).is_none_or(|top| *top - beside.at[0] < LEVEL_SEEN) {
        return None;
    }
    let left = (place..course.len()).find(|&i| course[i] < top - LEFT)?;
    Some(beside.at[left])
}

/// Chocolate beside its jacket, over a stretch.
#[derive(Default)]
struct Beside {
    at: Vec<Timestamp>,
    celsius: Vec<f64>,
    /// `[1, ∫(jacket − T) dt, t]`, °C·min and minutes since the first.
    terms: Vec<[f64; 3]>,
}

impl Beside {
    fn read(history: &History, from: Timestamp, falls: Timestamp, now: Timestamp) -> Option<Beside> {
        let mut beside = Beside::default();
        let (mut jacket, mut level) = (None, f64::NEG_INFINITY);
        let (mut sum, mut last) = (0.0, None);
        for tick in history.between(from, now) {
            jacket = tick.other(Channel::Jacket).map(|celsius| (tick.at, celsius)).or(jacket);
            let Some(chocolate) = tick.chocolate() else { continue };
            let Some((_, warmth)) = jacket.filter(|(told, _)| tick.at - *told <= jacket::HOLDS) else {
                continue;
            };
            let minutes = last.replace(tick.at).map_or(0.0, |last| (tick.at - last).as_mins_f64());
            sum += (warmth - chocolate) * minutes;
            let since = beside.at.first().map_or(0.0, |first| (tick.at - *first).as_mins_f64());
            beside.at.push(tick.at);
            beside.celsius.push(chocolate);
            beside.terms.push([1.0, sum, since]);
            if tick.at <= falls {
                level = chocolate;
            } else if chocolate < level - FALLEN {
                break;
            }
        }
        (beside.at.len() >= FEWEST).then_some(beside)
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
    fn course(&self) -> Option<Vec<f64>> {
        let line = |p: &[f64; 3], points: &mut [CurvePoint<3>]| {
            for (point, terms) in points.iter_mut().zip(&self.terms) {
                *point = CurvePoint { value: sum(p, terms), slopes: *terms };
            }
        };
        let fit = fit_curve(line, &self.celsius, None, [*self.celsius.first()?, 0.0, 0.0]).ok()?;
        let course: Vec<f64> = self.terms.iter().map(|terms| sum(&fit.parameters, terms)).collect();
        let fall = course.first()? - course.last()?;
        let follows = fit.parameters[1] > 0.0 && fit.residual_sd <= FOLLOWS.max(FOLLOWS_SHARE * fall);
        follows.then_some(course)
    }
}

fn sum(parameters: &[f64; 3], terms: &[f64; 3]) -> f64 {
    parameters.iter().zip(terms).map(|(p, t)| p * t).sum()
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
            let left = left_level(&history, Timestamp::default(), at(falls), at(120)).unwrap();
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
        let left = left_level(&history, Timestamp::default(), at(62), at(120)).unwrap();
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
        assert_eq!(left_level(&history, Timestamp::default(), at(62), at(120)), None);
    }
}
