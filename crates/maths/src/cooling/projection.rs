//! When will a temperature be reached?
//!
//! From the last reading on, the fitted curve is `T(v) = m + s·φ(k, v)`, with the covariance C of (m, s, k). At every time v the
//! curve's height has the standard error `σ(v) = √(gᵀ C g)`, `g = (1, φ, s·∂φ/∂k)`. The interval is the set of times at which
//! the target lies within `q·σ(v)` of the curve, q being Student's quantile for the coverage asked for. This is the inverse
//! regression of Fieller (1954): it is not symmetric, it grows with the distance looked ahead, and it has no upper end while the
//! readings allow a level above the target. That is the truth about such readings, and it is reported as `high: None`.
//!
//! *Coverage.* Claimed for the time at which the true mean curve crosses the target, when the law holds and the surroundings stay
//! as they were at the last reading. The tests count it over simulated coolings with a fixed seed: see the table at the
//! head of the crate. What the interval does *not* know: someone will open a valve.

use super::fitting::{NewtonFit, quadratic_form};
use super::growth::growth;
use crate::statistics::student_quantile;

/// Coverage of [`time_to`].
pub const COVERAGE: f64 = 0.95;

/// A time, and the interval that covers it. All on the time axis of the readings that were fitted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Projection {
    /// Time at which the curve reaches the target.
    pub seconds: f64,
    /// Lower end of the interval; not before the first reading.
    pub low: f64,
    /// Upper end; `None` when the readings do not exclude that the target is never reached.
    pub high: Option<f64>,
    /// Share of such intervals that cover the true time.
    pub coverage: f64,
}

/// A height of the curve, and the interval that covers it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// Height of the curve.
    pub value: f64,
    /// Lower end of the interval.
    pub low: f64,
    /// Upper end of the interval.
    pub high: f64,
    /// Share of such intervals that cover the true height.
    pub coverage: f64,
}

/// The curve as it goes on after the last reading, v seconds later.
struct Ahead<'a> {
    fit: &'a NewtonFit,
    quantile: f64,
}

impl Ahead<'_> {
    fn new(fit: &NewtonFit, coverage: f64) -> Option<Ahead<'_>> {
        let quantile = student_quantile(fit.degrees_of_freedom, (1.0 + coverage) / 2.0)?;
        Some(Ahead { fit, quantile })
    }

    /// Height and half width of the interval.
    fn at(&self, v: f64) -> (f64, f64) {
        let [m, s, k] = self.fit.end;
        let (grown, grown_by_k) = growth(k, v);
        let variance = quadratic_form(&self.fit.end_covariance, &[1.0, grown, s * grown_by_k]);
        (m + s * grown, self.quantile * variance.max(0.0).sqrt())
    }

    /// The interval about an arrival v seconds ahead, where the curve has the given slope.
    fn expected(
        &self,
        v: f64,
        slope_there: f64,
        coverage: f64,
        past: impl Fn(f64, f64) -> f64,
    ) -> Option<Projection> {
        let first = self.fit.first_s - self.fit.last_s;
        let low = if 0.0 < past(first, 1.0) { first } else { crossing(|v| past(v, 1.0), first, v) };
        let half_width = self.at(v).1;
        let high = first_rise(|v| past(v, -1.0), v, (half_width / slope_there).abs());
        let seconds = self.fit.last_s + v;
        seconds.is_finite().then_some(Projection {
            seconds,
            low: self.fit.last_s + low,
            high: high.map(|v| self.fit.last_s + v),
            coverage,
        })
    }
}

/// What the curve says of a target.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Arrival {
    /// The curve passed it before the last reading.
    Passed,
    /// The curve will reach it.
    Expected(Projection),
    /// The curve tends to a level short of it.
    NotExpected {
        /// From when on the interval still allows it; `None` when it allows it at no time.
        earliest: Option<f64>,
    },
}

/// When the curve reaches `target`, with an interval of coverage [`COVERAGE`].
///
/// `None` when the target lies behind the curve at the last reading, or at or beyond the level that it tends to; [`arrival`] tells
/// the two apart.
pub fn time_to(fit: &NewtonFit, target: f64) -> Option<Projection> {
    time_to_with(fit, target, COVERAGE)
}

/// As [`time_to`], with a coverage between 0 and 1 of the caller's choice.
pub fn time_to_with(fit: &NewtonFit, target: f64, coverage: f64) -> Option<Projection> {
    match arrival(fit, target, coverage)? {
        Arrival::Expected(projection) => Some(projection),
        Arrival::Passed | Arrival::NotExpected { .. } => None,
    }
}

/// Whether and when the curve reaches `target`. `None` for a target that is not finite, a coverage that is not between 0 and 1,
/// or a curve that does not move.
pub fn arrival(fit: &NewtonFit, target: f64, coverage: f64) -> Option<Arrival> {
    let ahead = Ahead::new(fit, coverage)?;
    let [m, s, k] = fit.end;
    // Share of the way from the last reading to the level.
    let share = k * (target - m) / s;
    if !share.is_finite() {
        return None;
    }
    // How far the curve, and the edge of its band, are past the target in their own direction.
    let past = |v: f64, edge: f64| {
        let (height, half_width) = ahead.at(v);
        s.signum() * (height - target) + edge * half_width
    };
    if share < 0.0 {
        Some(Arrival::Passed)
    } else if share < 1.0 {
        let v = -(-share).ln_1p() / k;
        let slope_there = s * (1.0 - share);
        ahead.expected(v, slope_there, coverage, past).map(Arrival::Expected)
    } else {
        let near_edge = |v: f64| past(v, 1.0);
        let earliest = if 0.0 <= near_edge(0.0) {
            Some(0.0)
        } else {
            first_rise(near_edge, 0.0, (fit.last_s - fit.first_s) / FIRST_LOOKS)
        };
        Some(Arrival::NotExpected { earliest: earliest.map(|v| fit.last_s + v) })
    }
}

/// Height of the curve at a time not before the last reading, if the surroundings stay as they are.
/// `None` for an earlier time or a coverage that is not between 0 and 1.
pub fn value_at(fit: &NewtonFit, seconds: f64, coverage: f64) -> Option<Band> {
    let (value, half_width) = Ahead::new(fit, coverage)?.at(seconds - fit.last_s);
    (fit.last_s <= seconds && half_width.is_finite()).then_some(Band {
        value,
        low: value - half_width,
        high: value + half_width,
        coverage,
    })
}

/// Halvings that bring any interval to the last bit.
const HALVINGS: usize = 60;
/// Strides of the first look ahead, in shares of the time that was read.
const FIRST_LOOKS: f64 = 50.0;
/// Each step ahead is longer by this factor,
const STRIDE_GROWTH: f64 = 1.25;
/// and after this many steps (some 30,000 half widths) there is no upper end worth a name.
const STRIDES: usize = 40;

/// Where `f` passes zero between `below` (f ≤ 0) and `above` (f ≥ 0).
fn crossing(f: impl Fn(f64) -> f64, mut below: f64, mut above: f64) -> f64 {
    for _ in 0..HALVINGS {
        let middle = below + (above - below) / 2.0;
        if f(middle) < 0.0 {
            below = middle;
        } else {
            above = middle;
        }
    }
    below + (above - below) / 2.0
}

/// First place after `from` at which `f` rises to zero, in growing strides.
fn first_rise(f: impl Fn(f64) -> f64, from: f64, stride: f64) -> Option<f64> {
    let mut before = from;
    let mut length = stride;
    for _ in 0..STRIDES {
        let here = from + length;
        if 0.0 <= f(here) {
            return Some(crossing(&f, before, here));
        }
        before = here;
        length *= STRIDE_GROWTH;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::super::fitting::{Surroundings, fit};
    use super::*;
    use crate::error::MathsError;

    /// 45 °C towards 20 °C with τ = 40 min, one reading each 10 s.
    fn cooling(minutes: usize) -> (Vec<f64>, Vec<f64>) {
        let seconds: Vec<f64> = (0..minutes * 6).map(|i| i as f64 * 10.0).collect();
        let values = seconds.iter().map(|s| 20.0 + 25.0 * (-s / 2_400.0).exp()).collect();
        (seconds, values)
    }

    #[test]
    fn finds_again_what_it_was_made_of() {
        let (seconds, values) = cooling(30);
        let fitted = fit(&seconds, &values, Surroundings::Unknown).unwrap();
        assert!((fitted.tau_s - 2_400.0).abs() < 1e-6 && (fitted.ambient - 20.0).abs() < 1e-8);
        let arrival = time_to(&fitted, 30.0).unwrap();
        let expected = super::super::seconds_to(45.0, 20.0, 2_400.0, 30.0).unwrap();
        assert!((arrival.seconds - expected).abs() < 1e-6);
    }

    #[test]
    fn says_nothing_of_what_is_past_or_never_comes() {
        let (seconds, values) = cooling(30);
        let fitted = fit(&seconds, &values, Surroundings::Unknown).unwrap();
        assert_eq!(time_to(&fitted, 44.0), None);
        assert_eq!(time_to(&fitted, 19.0), None);
        assert_eq!(time_to(&fitted, f64::NAN), None);
        assert_eq!(time_to_with(&fitted, 32.0, 1.0), None);
        assert_eq!(value_at(&fitted, 0.0, 0.95), None);
    }

    /// Thirty spikes, one in six readings, move the arrival by less than a second of 30 minutes.
    #[test]
    fn spikes_do_not_move_it() {
        let (seconds, mut values) = cooling(30);
        for (i, value) in values.iter_mut().enumerate() {
            *value += 0.02 * ((i * 7) % 5) as f64 - 0.04;
        }
        let clean = time_to(&fit(&seconds, &values, Surroundings::Unknown).unwrap(), 30.0).unwrap();
        for i in (3..values.len()).step_by(6) {
            values[i] = if i % 4 == 1 { 80.0 } else { -20.0 };
        }
        let fitted = fit(&seconds, &values, Surroundings::Unknown).unwrap();
        assert_eq!(fitted.left_out, 30);
        assert!((time_to(&fitted, 30.0).unwrap().seconds - clean.seconds).abs() < 1.0);
    }

    #[test]
    fn a_level_short_of_the_target_is_named() {
        let (seconds, mut values) = cooling(30);
        for (i, value) in values.iter_mut().enumerate() {
            *value += 0.02 * ((i * 7) % 5) as f64 - 0.04;
        }
        let fitted = fit(&seconds, &values, Surroundings::Unknown).unwrap();
        assert_eq!(arrival(&fitted, 44.0, 0.95), Some(Arrival::Passed));
        assert_eq!(arrival(&fitted, 15.0, 0.95), Some(Arrival::NotExpected { earliest: None }));
        let barely = fitted.ambient - 0.5 * fitted.ambient_se;
        let Some(Arrival::NotExpected { earliest: Some(earliest) }) = arrival(&fitted, barely, 0.95) else {
            panic!("half a standard error below the level is not excluded");
        };
        assert!(fitted.last_s + fitted.tau_s < earliest);
        assert_eq!(arrival(&fitted, f64::NAN, 0.95), None);
    }

    #[test]
    fn a_line_has_no_level() {
        let seconds: Vec<f64> = (0..40).map(f64::from).collect();
        let falling_faster: Vec<f64> = seconds.iter().map(|s| 45.0 - s * s / 100.0).collect();
        assert_eq!(fit(&seconds, &falling_faster, Surroundings::Unknown), Err(MathsError::NoBend));
        assert!(fit(&seconds, &[31.5; 40], Surroundings::Unknown).is_err());
        assert_eq!(
            fit(&seconds[..5], &[31.5; 5], Surroundings::Unknown),
            Err(MathsError::TooFew { given: 5, needed: 8 })
        );
    }
}
