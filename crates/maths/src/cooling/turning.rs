//! Newton's law behind a wall that nobody measures and that takes a while to turn cold.
//!
//! ```text
//! dT/dt = −(T − J)/τ     dJ/dt = −(J − A)/λ     J(0) = T(0) = T₀
//! T(t) = A + (T₀ − A) (τ e^(−t/τ) − λ e^(−t/λ))/(τ − λ)
//! ```
//!
//! Two lags in series: the step response of an overdamped second-order process as every textbook of process control has it (from memory). To the
//! one-lag curve of [`fit`](super::fit) the wall's lag looks like a slower mass: with a wall of a minute and a half and a mass of 25 minutes that is seen
//! for 16, its τ comes out a half too long, and a tenth where the first four minutes are left out.
//!
//! *Range of validity.* The first reading is taken where the wall begins to turn; mass and wall are equal until then, as in a long hold. Least squares
//! without weights: outliers have to be left out before. Mass and wall can change places in the formula; the slower one is taken for the mass.

use crate::error::{MathsError, at_least, paired};
use crate::least_squares::{CurvePoint, LeastSquares, Patience, fit_curve_until};

/// A mass and its wall, fitted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TurningFit {
    /// Time constant of the mass, s.
    pub tau_s: f64,
    /// Time constant of the wall, s.
    pub wall_s: f64,
    /// What both tend to.
    pub ambient: f64,
    /// Standard deviation of the readings about the curve.
    pub residual_sd: f64,
}

const MIN_READINGS: usize = 12;
/// Mass and wall that are tried at the start, s.
const FIRST_TAUS: [f64; 3] = [600.0, 1_500.0, 4_000.0];
const FIRST_WALLS: [f64; 2] = [30.0, 180.0];
/// Cold water, °C: a start, no more.
const FIRST_AMBIENT: f64 = 18.0;
/// A hundredth of a standard error is near enough.
const PATIENCE: Patience = Patience { share_to_gain: 1e-7, max_steps: 100 };
/// Of the logarithms, for slopes.
const STEP: f64 = 1e-4;

/// Fits mass, wall, start and level to readings at rising times.
///
/// # Errors
/// Fewer than twelve readings, values that are not finite, times that fall, or readings that no such curve fits ([`MathsError::NoBend`]): those of
/// a wall that is cold at once, which [`fit`](super::fit) describes, leave the wall's lag free.
pub fn fit_turning(seconds: &[f64], values: &[f64]) -> Result<TurningFit, MathsError> {
    paired(seconds, values)?;
    at_least(values.len(), MIN_READINGS)?;
    if !seconds.is_sorted() || !(seconds[0] < seconds[seconds.len() - 1]) {
        return Err(MathsError::NotRising);
    }
    let elapsed: Vec<f64> = seconds.iter().map(|second| second - seconds[0]).collect();
    let starts = FIRST_TAUS.iter().flat_map(|tau| FIRST_WALLS.map(|wall| (*tau, wall)));
    let fits = starts.filter_map(|(tau, wall)| from_start(&elapsed, values, tau, wall).ok());
    let best = fits.min_by(|a, b| a.residual_sd.total_cmp(&b.residual_sd)).ok_or(MathsError::NoBend)?;
    let [_, ambient, tau, wall] = best.parameters;
    let (tau_s, wall_s) = (tau.max(wall).exp(), tau.min(wall).exp());
    Ok(TurningFit { tau_s, wall_s, ambient, residual_sd: best.residual_sd })
}

fn from_start(
    elapsed: &[f64],
    values: &[f64],
    tau_s: f64,
    wall_s: f64,
) -> Result<LeastSquares<4>, MathsError> {
    let curve = |p: &[f64; 4], points: &mut [CurvePoint<4>]| {
        let [start, ambient, tau, wall] = *p;
        for (point, &u) in points.iter_mut().zip(elapsed) {
            let left = share_left(u, tau, wall);
            let by =
                |more: f64, of_wall: f64| share_left(u, tau + more * (1.0 - of_wall), wall + more * of_wall);
            let slope = |of_wall: f64| (by(STEP, of_wall) - by(-STEP, of_wall)) / (2.0 * STEP);
            let way = start - ambient;
            *point = CurvePoint {
                value: ambient + way * left,
                slopes: [left, 1.0 - left, way * slope(0.0), way * slope(1.0)],
            };
        }
    };
    let start = [values[0], FIRST_AMBIENT.min(values[values.len() - 1] - 1.0), tau_s.ln(), wall_s.ln()];
    fit_curve_until(PATIENCE, curve, values, None, start)
}

/// How much of the way is left after `u` seconds; time constants as logarithms.
fn share_left(u: f64, tau: f64, wall: f64) -> f64 {
    // Where both are equal the formula is nought by nought; so near to that they may as well differ a little.
    let wall = if (tau - wall).abs() < 1e-3 { tau - 1e-3 } else { wall };
    let (tau, wall) = (tau.exp(), wall.exp());
    (tau * (-u / tau).exp() - wall * (-u / wall).exp()) / (tau - wall)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cooling::{Surroundings, fit};

    /// Both laws, integrated in steps of a tenth of a second (Euler); a reading every five seconds.
    fn integrated(tau_s: f64, wall_s: f64, minutes: usize) -> (Vec<f64>, Vec<f64>) {
        let (mut mass, mut wall, mut at, mut values) = (46.0, 46.0, Vec::new(), Vec::new());
        for tenth in 0..minutes * 600 {
            if tenth % 50 == 0 {
                at.push(tenth as f64 / 10.0);
                values.push(mass);
            }
            mass += (wall - mass) / tau_s * 0.1;
            wall += (19.0 - wall) / wall_s * 0.1;
        }
        (at, values)
    }

    #[test]
    fn mass_and_wall_are_found_again() {
        for (tau_min, wall_min, minutes) in
            [(25.0, 1.5, 16), (35.0, 2.0, 20), (45.0, 1.0, 26), (14.0, 4.0, 14)]
        {
            let (at, values) = integrated(tau_min * 60.0, wall_min * 60.0, minutes);
            let found = fit_turning(&at, &values).unwrap();
            assert!((found.tau_s / 60.0 - tau_min).abs() < 0.01 * tau_min, "{tau_min}: {found:?}");
            assert!((found.wall_s / 60.0 - wall_min).abs() < 0.03 * wall_min, "{wall_min}: {found:?}");
            assert!((found.ambient - 19.0).abs() < 0.3, "{found:?}");
        }
    }

    /// What the head of this file says of one lag alone.
    #[test]
    fn to_one_lag_the_wall_looks_like_a_slower_mass() {
        let (at, values) = integrated(1_500.0, 90.0, 16);
        let too_long = |from: usize| {
            fit(&at[from..], &values[from..], Surroundings::Unknown).map(|one| one.tau_s / 1_500.0).unwrap()
        };
        let four_minutes = 48;
        assert!((1.45..1.55).contains(&too_long(0)), "{}", too_long(0));
        assert!((1.05..1.15).contains(&too_long(four_minutes)), "{}", too_long(four_minutes));
    }

    /// Then the one lag of `fit` says all, and the other is nobody's to find.
    #[test]
    fn a_wall_that_is_cold_at_once_is_told_or_has_hardly_a_lag() {
        let at: Vec<f64> = (0..200).map(|i| f64::from(i) * 5.0).collect();
        let fit = |flicker: f64| {
            let flickers = |i: usize| flicker * [1.0, -1.2, 0.3, 0.9, -0.7, -0.9, 0.6][i % 7];
            let value = |(i, t): (usize, &f64)| 19.0 + 27.0 * (-t / 1_500.0).exp() + flickers(i);
            fit_turning(&at, &at.iter().enumerate().map(value).collect::<Vec<_>>())
        };
        assert_eq!(fit(0.0), Err(MathsError::NoBend));
        let found = fit(0.05);
        assert!(found.is_err() || found.is_ok_and(|found| found.wall_s < 15.0), "{found:?}");
    }

    #[test]
    fn what_cannot_be_fitted_is_told() {
        assert!(fit_turning(&[0.0; 3], &[46.0; 3]).is_err());
        let falling: Vec<f64> = (0..20).rev().map(f64::from).collect();
        assert_eq!(fit_turning(&falling, &[46.0; 20]), Err(MathsError::NotRising));
    }
}
