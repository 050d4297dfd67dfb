//! # Least squares
//!
//! Finds the parameters p for which `Σ wᵢ (yᵢ − f(p, i))²` is smallest.
//!
//! *Linear step.* A tall system `A x ≈ b` is reduced to a triangle by Householder reflections (Golub 1965), which loses
//! half as many digits as the normal equations do.
//!
//! *Nonlinear fit.* Levenberg–Marquardt (Levenberg 1944, Marquardt 1963): each step solves `J δ ≈ r` with the rows
//! `√λ·D` below J. D holds the largest column norm of J seen so far (Moré 1978), so that the answer does not depend on the
//! units of a parameter; λ follows Nielsen's rule (1999): divided smoothly after a good step, doubled ever faster after bad ones. No step is
//! longer than the parameters themselves on the scale D (Moré's first bound, kept throughout): a far start walks to its valley
//! and does not jump over it.
//!
//! *Uncertainty.* The covariance of the parameters is `s² (JᵀJ)⁻¹` with `s² = Σ w r² / (Σ w>0 count − P)`, as in the
//! NIST Statistical Reference Datasets, against which the tests compare it.
//!
//! Written here, and not taken from a crate, because every fit of this crate has two to five parameters: with the number of
//! parameters known at compile time the whole method is a page, allocates once and builds in no time.
//! It never looks for a start of its own, and it finds the nearest valley, not the deepest.

mod linear;
pub mod polynomial;
mod triangle;

pub use linear::fit_terms;
pub use polynomial::fit_polynomial;

use self::triangle::{TallSystem, Triangle, scaled_length};
use crate::error::{MathsError, all_finite, at_least, paired};

/// One point of a curve: its height there, and how that height changes with each parameter.
#[derive(Debug, Clone, Copy)]
pub struct CurvePoint<const P: usize> {
    /// Height of the curve.
    pub value: f64,
    /// Partial derivative of the height by each parameter.
    pub slopes: [f64; P],
}

impl<const P: usize> CurvePoint<P> {
    /// A point at height zero, to be filled in.
    pub const ZERO: CurvePoint<P> = CurvePoint { value: 0.0, slopes: [0.0; P] };
}

/// The best parameters, with what is known about their errors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeastSquares<const P: usize> {
    /// The parameters of the best fit.
    pub parameters: [f64; P],
    /// Covariance of the parameters.
    pub covariance: [[f64; P]; P],
    /// Weighted sum of squared residuals.
    pub residual_ss: f64,
    /// Residual standard deviation.
    pub residual_sd: f64,
    /// Points with a weight above zero.
    pub n: usize,
}

impl<const P: usize> LeastSquares<P> {
    /// Standard error of one parameter; `None` when there is no such parameter.
    pub fn standard_error(&self, parameter: usize) -> Option<f64> {
        self.covariance.get(parameter)?.get(parameter).map(|variance| variance.sqrt())
    }
}

/// When to stop.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Patience {
    /// Done as soon as a step promises to lower the sum of squares by less than this share of itself. With n values a share
    /// of g leaves the parameters within about `√(g n)` standard errors of the best.
    pub(crate) share_to_gain: f64,
    /// Steps after which the fit gives up.
    pub(crate) max_steps: usize,
}

/// To the last digit. The slowest reference set (MGH10 from its far start) takes 7,700 steps, the others fewer than 600.
const TO_THE_LAST_DIGIT: Patience = Patience { share_to_gain: 0.0, max_steps: 20_000 };
/// A step that changes no parameter by more than this share of itself is rounding, not progress.
const SETTLED_STEP: f64 = 1e-14;
/// Undamped steps at the end; each at least halves the way that is left, so that these are more than enough.
const MAX_POLISH: usize = 20;
/// Rounding in a sum of squares of a few hundred terms, with room.
const POLISH_SLACK: f64 = 1e-9;
/// Damping at the start, as a share of the squared column norms.
const FIRST_DAMPING: f64 = 1e-3;
/// Damping at which a step can no longer change any parameter.
const LAST_DAMPING: f64 = 1e30;

/// Fits `curve` to `values`, starting from `start`.
///
/// `curve(p, points)` fills one point for each value. `weights` are relative (none means one each); a weight of zero leaves a
/// value out.
///
/// # Errors
/// Too few values, values that are not finite, a start at which the curve is not finite, a fit that does not settle, or a
/// parameter that the values leave free.
pub fn fit_curve<const P: usize>(
    curve: impl FnMut(&[f64; P], &mut [CurvePoint<P>]),
    values: &[f64],
    weights: Option<&[f64]>,
    start: [f64; P],
) -> Result<LeastSquares<P>, MathsError> {
    fit_curve_until(TO_THE_LAST_DIGIT, curve, values, weights, start)
}

/// As [`fit_curve`], with a patience of the caller's choice.
pub(crate) fn fit_curve_until<const P: usize>(
    patience: Patience,
    curve: impl FnMut(&[f64; P], &mut [CurvePoint<P>]),
    values: &[f64],
    weights: Option<&[f64]>,
    start: [f64; P],
) -> Result<LeastSquares<P>, MathsError> {
    all_finite(&[values, &start])?;
    if let Some(weights) = weights {
        paired(values, weights)?;
    }
    let mut problem = Problem { curve, values, weights };
    let n = (0..values.len()).filter(|&i| 0.0 < problem.weight(i)).count();
    at_least(n, P + 1)?;

    let mut here = Place { parameters: start, points: vec![CurvePoint::ZERO; values.len()], squares: 0.0 };
    problem.look(&mut here);
    if !here.squares.is_finite() {
        return Err(MathsError::OutOfRange("the start of the fit"));
    }
    let mut there = here.clone();
    let mut system = TallSystem::default();
    let mut triangle = problem.linearise(&here, &mut system);
    let mut scale = triangle.column_norms();
    let mut damping = FIRST_DAMPING;
    let mut damping_growth = 2.0;
    for _ in 0..patience.max_steps {
        let (mut step, mut length) = triangle.damped_step(damping, &scale, &mut system)?;
        let longest = scaled_length(&here.parameters, &scale);
        while 0.0 < longest && longest < length {
            damping *= 4.0;
            (step, length) = triangle.damped_step(damping, &scale, &mut system)?;
        }
        there.parameters = std::array::from_fn(|j| here.parameters[j] + step[j]);
        problem.look(&mut there);
        let promised = triangle.promised_gain(&step, damping, &scale);
        if there.squares <= here.squares {
            let kept = (here.squares - there.squares) / promised;
            damping *= if kept.is_finite() { (1.0 - (2.0 * kept - 1.0).powi(3)).max(1.0 / 3.0) } else { 1.0 };
            damping_growth = 2.0;
            std::mem::swap(&mut here, &mut there);
            triangle = problem.linearise(&here, &mut system);
            for (largest, norm) in scale.iter_mut().zip(triangle.column_norms()) {
                *largest = largest.max(norm);
            }
        } else {
            damping *= damping_growth;
            damping_growth *= 2.0;
        }
        let tiny = (0..P).all(|j| step[j].abs() <= SETTLED_STEP * here.parameters[j].abs());
        if tiny || promised <= patience.share_to_gain * here.squares || LAST_DAMPING < damping {
            if patience.share_to_gain == 0.0 {
                problem.polish(&mut here, &mut there, &scale, &mut system);
            }
            return problem.report(&here, n);
        }
    }
    Err(MathsError::NotSettled)
}

/// What is to be fitted, and to what.
struct Problem<'a, C> {
    curve: C,
    values: &'a [f64],
    weights: Option<&'a [f64]>,
}

/// One set of parameters, and the curve there.
#[derive(Clone)]
struct Place<const P: usize> {
    parameters: [f64; P],
    points: Vec<CurvePoint<P>>,
    squares: f64,
}

impl<C> Problem<'_, C> {
    fn weight(&self, i: usize) -> f64 {
        self.weights.map_or(1.0, |weights| weights[i].max(0.0))
    }

    /// Draws the curve for the parameters of a place. A curve that is not finite counts as infinitely bad.
    fn look<const P: usize>(&mut self, place: &mut Place<P>)
    where
        C: FnMut(&[f64; P], &mut [CurvePoint<P>]),
    {
        (self.curve)(&place.parameters, &mut place.points);
        let squares: f64 = place
            .points
            .iter()
            .zip(self.values)
            .enumerate()
            .map(|(i, (point, y))| self.weight(i) * (y - point.value).powi(2))
            .sum();
        place.squares = if squares.is_finite() { squares } else { f64::INFINITY };
    }

    /// The linear system for the next step.
    fn linearise<const P: usize>(&self, place: &Place<P>, system: &mut TallSystem<P>) -> Triangle<P> {
        system.rows.clear();
        for (i, (point, y)) in place.points.iter().zip(self.values).enumerate() {
            let w = self.weight(i).sqrt();
            system.push(point.slopes.map(|slope| slope * w), (y - point.value) * w);
        }
        system.reduce()
    }

    /// Undamped steps for as long as each is at most half as long as the one before. Near the bottom the sum of squares no
    /// longer tells one place from the next, but its slope still does: this is worth two to three digits.
    fn polish<const P: usize>(
        &mut self,
        here: &mut Place<P>,
        there: &mut Place<P>,
        scale: &[f64; P],
        system: &mut TallSystem<P>,
    ) where
        C: FnMut(&[f64; P], &mut [CurvePoint<P>]),
    {
        let mut shortest = f64::INFINITY;
        for _ in 0..MAX_POLISH {
            let step = self.linearise(here, system).solve();
            let length = scaled_length(&step, scale);
            if !(length < shortest / 2.0) {
                return;
            }
            shortest = length;
            there.parameters = std::array::from_fn(|j| here.parameters[j] + step[j]);
            self.look(there);
            if !(there.squares <= here.squares * (1.0 + POLISH_SLACK)) {
                return;
            }
            std::mem::swap(here, there);
        }
    }

    /// Covariance and residual spread at the parameters that were found.
    fn report<const P: usize>(&self, place: &Place<P>, n: usize) -> Result<LeastSquares<P>, MathsError> {
        let inverse = self.linearise(place, &mut TallSystem::default()).inverse_of_square();
        let variance = place.squares / (n - P) as f64;
        let covariance =
            inverse.ok_or(MathsError::Undetermined)?.map(|row| row.map(|element| element * variance));
        if place.parameters.iter().chain(covariance.iter().flatten()).all(|number| number.is_finite()) {
            let (parameters, residual_ss) = (place.parameters, place.squares);
            Ok(LeastSquares { parameters, covariance, residual_ss, residual_sd: variance.sqrt(), n })
        } else {
            Err(MathsError::Undetermined)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn refuses_what_it_cannot_determine() {
        // The second parameter has no influence on the curve.
        let idle = |p: &[f64; 2], points: &mut [CurvePoint<2>]| {
            points.fill(CurvePoint { value: p[0], slopes: [1.0, 0.0] });
        };
        assert!(fit_curve(idle, &[1.0, 2.0, 3.0, 4.0], None, [0.0, 0.0]).is_err());
    }

    #[test]
    fn a_weight_of_zero_leaves_a_value_out() {
        let level = |p: &[f64; 1], points: &mut [CurvePoint<1>]| {
            points.fill(CurvePoint { value: p[0], slopes: [1.0] })
        };
        let fit = fit_curve(level, &[1.0, 2.0, 3.0, 900.0], Some(&[1.0, 1.0, 1.0, 0.0]), [0.0]).unwrap();
        assert!((fit.parameters[0] - 2.0).abs() < 1e-12);
        assert_eq!(fit.n, 3);
        assert!((fit.residual_sd - 1.0).abs() < 1e-12);
    }
}
