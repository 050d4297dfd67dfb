//! Fits Newton's law to noisy readings.
//!
//! The curve is `T(u) = m + s·φ(k, u)` (see `growth`): height and slope at the first reading, and the rate `k = 1/τ`. In this
//! form a curve that has hardly bent yet is an ordinary straight line, where the usual form (level, start, τ) has a level at
//! infinity. The level follows as `m + s/k`, and its standard error is as wide as the readings leave it.
//!
//! *Robust.* The fit starts from medians, weighs readings down by Huber's rule (1964, k = 1.345), and at last leaves out those
//! that stand more than four robust deviations (MAD × 1.4826) from the curve. What is left is plain least squares, whose
//! standard errors are the textbook ones. Half of the readings must be left.
//!
//! *Honest errors.* Residuals of a real probe resemble their neighbours. n readings are therefore worth n/I, with
//! `I = 1 + 2 Σ ρ_j`, the sum of the residuals' autocorrelations up to the first that is not positive. The variance about the
//! curve is taken over `n/I − P` degrees of freedom (P parameters), which leaves independent readings as they are and widens
//! everything else. Readings are taken as roughly evenly spaced for this. It is still too narrow where the resemblance reaches
//! far: see the coverage in the head of the crate.
//!
//! *Range of validity.* As the law's: see the chapter's head. A dip from seeding must be cut away by the caller.

use super::growth::growth;
use super::jacket::{Drive, Jacket};
use crate::error::{MathsError, at_least, paired};
use crate::least_squares::{CurvePoint, LeastSquares, Patience, fit_curve_until};
use crate::statistics::{MAD_TO_SIGMA, median, sum_of_autocorrelations};

/// What is known of the surroundings.
#[derive(Debug, Clone, Copy)]
pub enum Surroundings<'a> {
    /// Nothing: the level is fitted with the rest.
    Unknown,
    /// One steady temperature, which the mass tends to.
    Steady(f64),
    /// A measured jacket, which the mass tends to.
    Jacket(Jacket<'a>),
    /// A measured jacket, and the mass tends to a fitted distance from it (stirring heat, a warm room).
    JacketAndOffset(Jacket<'a>),
}

/// Newton's curve through a set of readings, with standard errors (one sigma).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NewtonFit {
    /// Time constant in seconds.
    pub tau_s: f64,
    /// Standard error of the time constant.
    pub tau_se_s: f64,
    /// Level that the curve tends to as things stand at the last reading.
    pub ambient: f64,
    /// Standard error of the level; zero when it was given.
    pub ambient_se: f64,
    /// Height of the curve at the first reading.
    pub start: f64,
    /// Standard error of the start.
    pub start_se: f64,
    /// Standard deviation of the readings about the curve.
    pub residual_sd: f64,
    /// Readings that were used.
    pub n: usize,
    /// Readings that were left out as outliers.
    pub left_out: usize,
    /// Time of the first reading.
    pub first_s: f64,
    /// Time of the last reading.
    pub last_s: f64,
    /// Height, slope and rate at the last reading, from which the curve goes on.
    pub(super) end: [f64; 3],
    pub(super) end_covariance: [[f64; 3]; 3],
    pub(super) degrees_of_freedom: f64,
}

/// Fewer points than this leave a robust fit with nothing to be robust against.
const MIN_READINGS: usize = 8;
/// Huber's constant: 95 % as efficient as least squares on clean readings.
const HUBER: f64 = 1.345;
/// A clean reading stands further out than this once in 16,000.
const OUTLIER_SIGMAS: f64 = 4.0;
/// Rounds of Huber's weights; the weights hardly move after three.
const HUBER_ROUNDS: usize = 4;
/// Rounds of leaving outliers out; the set repeats itself after two or three.
const TRIM_ROUNDS: usize = 6;
/// While weights still move, a tenth of a standard error is near enough;
const ROUGHLY: Patience = Patience { share_to_gain: 1e-5, max_steps: 200 };
/// at last, a hundred thousandth of one.
const FINELY: Patience = Patience { share_to_gain: 1e-13, max_steps: 200 };
/// Rates tried at the start, times the length of the readings: from hardly bent to long settled.
const FIRST_RATES: [f64; 8] = [0.05, 0.2, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0];

/// Fits τ, level and start to readings at rising times.
///
/// # Errors
/// Fewer than eight readings, values that are not finite, times that fall, readings that do not bend towards a level
/// ([`MathsError::NoBend`]) or that leave an unknown free.
pub fn fit(seconds: &[f64], values: &[f64], surroundings: Surroundings<'_>) -> Result<NewtonFit, MathsError> {
    let length = seconds.last().zip(seconds.first()).map_or(1.0, |(last, first)| last - first);
    fit_from(seconds, values, surroundings, &FIRST_RATES.map(|rate| rate / length))
}

/// As [`fit`], where the time constant is near `tau_s`, so that no other has to be tried.
///
/// # Errors
/// As [`fit`]'s, and a time constant that is not above zero.
pub fn fit_near(
    seconds: &[f64],
    values: &[f64],
    surroundings: Surroundings<'_>,
    tau_s: f64,
) -> Result<NewtonFit, MathsError> {
    if !(0.0 < tau_s && tau_s.is_finite()) {
        return Err(MathsError::OutOfRange("time constant"));
    }
    fit_from(seconds, values, surroundings, &[1.0 / tau_s])
}

/// The fit from the best of some rates, 1/s.
fn fit_from(
    seconds: &[f64],
    values: &[f64],
    surroundings: Surroundings<'_>,
    rates: &[f64],
) -> Result<NewtonFit, MathsError> {
    paired(seconds, values)?;
    at_least(values.len(), MIN_READINGS)?;
    if !seconds.is_sorted() || !(seconds[0] < seconds[seconds.len() - 1]) {
        return Err(MathsError::NotRising);
    }
    let (drive, given_level) = match surroundings {
        Surroundings::Unknown => (None, None),
        Surroundings::Steady(level) => {
            crate::error::all_finite(&[&[level]])?;
            (None, Some(level))
        }
        Surroundings::Jacket(jacket) => {
            jacket.check()?;
            let drive = Drive::new(seconds, &jacket);
            let level = drive.first;
            (Some(drive), Some(level))
        }
        Surroundings::JacketAndOffset(jacket) => {
            jacket.check()?;
            (Some(Drive::new(seconds, &jacket)), None)
        }
    };
    let task = Task { seconds, values, elapsed: seconds.iter().map(|s| s - seconds[0]).collect(), drive };
    match given_level {
        Some(level) => task.fit_to_level(level, rates),
        None => task.fit_all(rates),
    }
}

/// The readings, with everything that stays the same while parameters change.
struct Task<'a> {
    seconds: &'a [f64],
    values: &'a [f64],
    elapsed: Vec<f64>,
    drive: Option<Drive>,
}

impl Task<'_> {
    /// Level unknown: height m, slope s and rate k are all free.
    fn fit_all(&self, rates: &[f64]) -> Result<NewtonFit, MathsError> {
        let curve = |p: &[f64; 3], points: &mut [CurvePoint<3>]| {
            let [m, s, k] = *p;
            for (point, u) in points.iter_mut().zip(&self.elapsed) {
                let (grown, grown_by_k) = growth(k, *u);
                *point = CurvePoint { value: m + s * grown, slopes: [1.0, grown, s * grown_by_k] };
            }
            self.add_jacket(k, points);
        };
        let third = self.values.len() / 3;
        let start = |&k: &f64| {
            let moved = self.without_jacket(k);
            let grown: Vec<f64> = self.elapsed.iter().map(|u| growth(k, *u).0).collect();
            let (low, high) = (0..third, moved.len() - third..moved.len());
            let rise = middle(&moved[high.clone()]) - middle(&moved[low.clone()]);
            let run = middle(&grown[high]) - middle(&grown[low.clone()]);
            let s = if run == 0.0 { 0.0 } else { rise / run };
            [middle(&moved[low.clone()]) - s * middle(&grown[low]), s, k]
        };
        let starts: Vec<_> = rates.iter().map(start).collect();
        let Settled { best, last, freedom } = self.robust(curve, &starts)?;
        let [m, s, k] = best.parameters;
        // Slope at the end: −k (T − level), with k·level = s + k (m + what the jacket has moved).
        let moved = self.drive.as_ref().map_or(0.0, |drive| drive.last - drive.first);
        let end_slope = s + k * (m + moved - last.value);
        let by_m = [last.slopes[0], k - k * last.slopes[0], 0.0];
        let by_s = [last.slopes[1], 1.0 - k * last.slopes[1], 0.0];
        let by_k = [last.slopes[2], m + moved - last.value - k * last.slopes[2], 1.0];
        self.report(&best, [last.value, end_slope, k], &[by_m, by_s, by_k], freedom, None)
    }

    /// Level given (at the first reading, where a jacket moves it): only height m and rate k are free.
    fn fit_to_level(&self, level: f64, rates: &[f64]) -> Result<NewtonFit, MathsError> {
        let curve = |p: &[f64; 2], points: &mut [CurvePoint<2>]| {
            let [m, k] = *p;
            for (point, u) in points.iter_mut().zip(&self.elapsed) {
                let fade = (-k * u).exp();
                *point =
                    CurvePoint { value: level + (m - level) * fade, slopes: [fade, -(m - level) * u * fade] };
            }
            self.add_jacket(k, points);
        };
        let third = self.values.len() / 3;
        let start = |&k: &f64| {
            let at_zero: Vec<f64> = self.without_jacket(k)[..third]
                .iter()
                .zip(&self.elapsed)
                .map(|(value, u)| level + (value - level) * (k * u).exp())
                .collect();
            [middle(&at_zero), k]
        };
        let starts: Vec<_> = rates.iter().map(start).collect();
        let Settled { best, last, freedom } = self.robust(curve, &starts)?;
        let k = best.parameters[1];
        let end_level = level + self.drive.as_ref().map_or(0.0, |drive| drive.last - drive.first);
        let by_m = [last.slopes[0], -k * last.slopes[0], 0.0];
        let by_k = [last.slopes[1], end_level - last.value - k * last.slopes[1], 1.0];
        let end = [last.value, -k * (last.value - end_level), k];
        self.report(&best, end, &[by_m, by_k], freedom, Some(end_level))
    }

    fn add_jacket<const P: usize>(&self, k: f64, points: &mut [CurvePoint<P>]) {
        if let Some(drive) = &self.drive {
            drive.response(k, |i, height, by_k| {
                points[i].value += height;
                points[i].slopes[P - 1] += by_k;
            });
        }
    }

    /// The readings less what the jacket's movement has done to them, if the rate were k.
    fn without_jacket(&self, k: f64) -> Vec<f64> {
        let mut moved = self.values.to_vec();
        if let Some(drive) = &self.drive {
            drive.response(k, |i, height, _| moved[i] -= height);
        }
        moved
    }

    /// The best of the starts, then Huber's weights, then plain least squares without the outliers.
    fn robust<const P: usize>(
        &self,
        curve: impl Fn(&[f64; P], &mut [CurvePoint<P>]),
        starts: &[[f64; P]],
    ) -> Result<Settled<P>, MathsError> {
        let mut drawn = Drawn { points: vec![CurvePoint::ZERO; self.values.len()], residuals: vec![] };
        let mut parameters = starts[0];
        let mut smallest = f64::INFINITY;
        for start in starts {
            let spread = drawn.draw(&curve, start, self.values);
            if spread < smallest {
                (smallest, parameters) = (spread, *start);
            }
        }
        for _ in 0..HUBER_ROUNDS {
            let near = HUBER * drawn.draw(&curve, &parameters, self.values);
            let weights = drawn.weigh(|distance| if distance <= near { 1.0 } else { near / distance });
            parameters =
                fit_curve_until(ROUGHLY, &curve, self.values, Some(&weights), parameters)?.parameters;
        }
        let mut weights = Vec::new();
        let mut best: Option<LeastSquares<P>> = None;
        for _ in 0..TRIM_ROUNDS {
            let farthest = OUTLIER_SIGMAS * drawn.draw(&curve, &parameters, self.values);
            let kept = drawn.weigh(|distance| if distance <= farthest { 1.0 } else { 0.0 });
            if kept == weights {
                break;
            }
            weights = kept;
            let fitted = fit_curve_until(FINELY, &curve, self.values, Some(&weights), parameters)?;
            at_least(fitted.n, (self.values.len() / 2).max(P + 3))?;
            parameters = fitted.parameters;
            best = Some(fitted);
        }
        let best = best.ok_or(MathsError::NotSettled)?;
        drawn.draw(&curve, &parameters, self.values);
        let used: Vec<f64> = drawn
            .residuals
            .iter()
            .zip(&weights)
            .filter(|(_, weight)| 0.0 < **weight)
            .map(|(residual, _)| *residual)
            .collect();
        let interval = 1.0 + 2.0 * sum_of_autocorrelations(&used);
        let freedom = (best.n as f64 / interval - P as f64).max(1.0);
        let last = drawn.points[drawn.points.len() - 1];
        Ok(Settled { best, last, freedom })
    }

    /// Turns the fitted parameters into what the reader asked for.
    fn report<const P: usize>(
        &self,
        best: &LeastSquares<P>,
        end: [f64; 3],
        end_by: &[[f64; 3]; P],
        freedom: f64,
        given_level: Option<f64>,
    ) -> Result<NewtonFit, MathsError> {
        let [height, slope, k] = end;
        if !(0.0 < k) {
            return Err(MathsError::NoBend);
        }
        let inflation = (best.n - P) as f64 / freedom;
        let end_covariance: [[f64; 3]; 3] = std::array::from_fn(|a| {
            std::array::from_fn(|b| {
                let pairs = (0..P).flat_map(|i| (0..P).map(move |j| (i, j)));
                inflation
                    * pairs.map(|(i, j)| end_by[i][a] * best.covariance[i][j] * end_by[j][b]).sum::<f64>()
            })
        });
        let ambient_by = [1.0, 1.0 / k, -slope / (k * k)];
        let fitted = NewtonFit {
            tau_s: 1.0 / k,
            tau_se_s: end_covariance[2][2].sqrt() / (k * k),
            ambient: given_level.unwrap_or(height + slope / k),
            ambient_se: given_level
                .map_or(quadratic_form(&end_covariance, &ambient_by).max(0.0).sqrt(), |_| 0.0),
            start: best.parameters[0],
            start_se: (inflation * best.covariance[0][0]).sqrt(),
            residual_sd: best.residual_sd,
            n: best.n,
            left_out: self.values.len() - best.n,
            first_s: self.seconds[0],
            last_s: self.seconds[self.seconds.len() - 1],
            end,
            end_covariance,
            degrees_of_freedom: freedom,
        };
        let numbers = [fitted.tau_s, fitted.tau_se_s, fitted.ambient, fitted.ambient_se, fitted.start_se];
        if numbers.iter().all(|number| number.is_finite()) {
            Ok(fitted)
        } else {
            Err(MathsError::Undetermined)
        }
    }
}

/// The end of a robust fit.
struct Settled<const P: usize> {
    best: LeastSquares<P>,
    /// The curve at the last reading.
    last: CurvePoint<P>,
    /// What the residuals leave of `n − P` degrees of freedom.
    freedom: f64,
}

/// The curve for one set of parameters, and the readings' distances from it.
struct Drawn<const P: usize> {
    points: Vec<CurvePoint<P>>,
    residuals: Vec<f64>,
}

impl<const P: usize> Drawn<P> {
    /// Draws the curve; returns the robust spread of the residuals.
    fn draw(
        &mut self,
        curve: impl Fn(&[f64; P], &mut [CurvePoint<P>]),
        parameters: &[f64; P],
        values: &[f64],
    ) -> f64 {
        curve(parameters, &mut self.points);
        self.residuals.clear();
        self.residuals.extend(values.iter().zip(&self.points).map(|(value, point)| value - point.value));
        robust_spread(&self.residuals)
    }

    fn weigh(&self, weight: impl Fn(f64) -> f64) -> Vec<f64> {
        self.residuals.iter().map(|residual| weight(residual.abs())).collect()
    }
}

/// `gᵀ C g`.
pub(super) fn quadratic_form(covariance: &[[f64; 3]; 3], gradient: &[f64; 3]) -> f64 {
    covariance
        .iter()
        .zip(gradient)
        .map(|(row, g)| g * row.iter().zip(gradient).map(|(c, h)| c * h).sum::<f64>())
        .sum()
}

/// Median of values that are known to be there.
fn middle(values: &[f64]) -> f64 {
    median(values).unwrap_or(0.0)
}

/// Robust standard deviation about zero. More than half of the residuals may be exactly zero (coarse resolution); their mean
/// distance then stands in.
fn robust_spread(residuals: &[f64]) -> f64 {
    let distances: Vec<f64> = residuals.iter().map(|residual| residual.abs()).collect();
    match median(&distances) {
        Some(middle) if 0.0 < middle => MAD_TO_SIGMA * middle,
        Some(_) => 1.25 * distances.iter().sum::<f64>() / distances.len() as f64,
        None => f64::INFINITY,
    }
}
