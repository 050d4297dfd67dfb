//! Newton's law behind a wall that nobody measures and that takes a while to turn cold.
//!
//! ```text
//! dT/dt = −(T − J)/τ     dJ/dt = −(J − A)/λ     T = J = T₀ until t₀
//! T(t) = A + (T₀ − A) (τ e^(−u/τ) − λ e^(−u/λ))/(τ − λ)     u = max(t − t₀, 0)
//! ```
//!
//! Two lags in series: the step response of an overdamped second-order process as every textbook of process control has it (from memory). To the
//! one-lag curve of [`fit`](super::fit) the wall's lag looks like a slower mass: with a wall of a minute and a half and a mass of 25 minutes that is seen
//! for 16, its τ comes out a half too long, and a tenth where the first four minutes are left out. When the wall turns is fitted, too: half a minute
//! on it makes τ longer or shorter by some hundredths, and a probe that lags shows the turn later than it is.
//!
//! *Range of validity.* The first readings are of a mass that stands still beside its wall, as at the end of a long hold. Least squares
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
    /// When the wall turns, as the readings' times are.
    pub turns_s: f64,
    /// Standard deviation of the readings about the curve.
    pub residual_sd: f64,
    start: f64,
}

impl TurningFit {
    /// The standard deviation about the curve of some of the readings, such as those without the level before the turn, to be compared with
    /// that of another fit to the same.
    pub fn residual_sd_of(&self, seconds: &[f64], values: &[f64]) -> f64 {
        let squares =
            seconds.iter().zip(values).map(|(second, value)| (self.value_at(*second) - value).powi(2));
        let freedom = seconds.len().saturating_sub(PARAMETERS).max(1);
        (squares.sum::<f64>() / freedom as f64).sqrt()
    }

    fn value_at(&self, second: f64) -> f64 {
        let u = (second - self.turns_s).max(0.0);
        self.ambient + (self.start - self.ambient) * share_left(u, self.tau_s.ln(), self.wall_s.ln())
    }
}

/// Mass, wall, start, level and turn.
const PARAMETERS: usize = 5;

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

/// Fits mass, wall, start, level and the turn to readings at rising times; the wall turns about `turns_s`, and not before the first reading.
///
/// # Errors
/// Fewer than twelve readings, values that are not finite, times that fall, or readings that no such curve fits ([`MathsError::NoBend`]).
pub fn fit_turning(seconds: &[f64], values: &[f64], turns_s: f64) -> Result<TurningFit, MathsError> {
    paired(seconds, values)?;
    at_least(values.len(), MIN_READINGS)?;
    let (first, last) = (seconds[0], seconds[seconds.len() - 1]);
    if !seconds.is_sorted() || !(first < last) {
        return Err(MathsError::NotRising);
    }
    let starts = FIRST_TAUS.iter().flat_map(|tau| FIRST_WALLS.map(|wall| (*tau, wall)));
    let fits = starts.filter_map(|(tau, wall)| from_start(seconds, values, [tau, wall, turns_s]).ok());
    let best = fits.min_by(|a, b| a.residual_sd.total_cmp(&b.residual_sd)).ok_or(MathsError::NoBend)?;
    let [start, ambient, tau, wall, turns_s] = best.parameters;
    let (tau_s, wall_s) = (tau.max(wall).exp(), tau.min(wall).exp());
    let turned = (first..last).contains(&turns_s);
    let fitted = TurningFit { tau_s, wall_s, ambient, turns_s, residual_sd: best.residual_sd, start };
    turned.then_some(fitted).ok_or(MathsError::NoBend)
}

fn from_start(
    seconds: &[f64],
    values: &[f64],
    [tau_s, wall_s, turns_s]: [f64; 3],
) -> Result<LeastSquares<PARAMETERS>, MathsError> {
    let curve = |p: &[f64; PARAMETERS], points: &mut [CurvePoint<PARAMETERS>]| {
        let [start, ambient, tau, wall, turns_s] = *p;
        for (point, &second) in points.iter_mut().zip(seconds) {
            let u = (second - turns_s).max(0.0);
            let left = share_left(u, tau, wall);
            let by =
                |more: f64, of_wall: f64| share_left(u, tau + more * (1.0 - of_wall), wall + more * of_wall);
            let slope = |of_wall: f64| (by(STEP, of_wall) - by(-STEP, of_wall)) / (2.0 * STEP);
            let way = start - ambient;
            *point = CurvePoint {
                value: ambient + way * left,
                slopes: [left, 1.0 - left, way * slope(0.0), way * slope(1.0), way * pace(u, tau, wall)],
            };
        }
    };
    let ambient = FIRST_AMBIENT.min(values[values.len() - 1] - 1.0);
    let start = [values[0], ambient, tau_s.ln(), wall_s.ln(), turns_s];
    fit_curve_until(PATIENCE, curve, values, None, start)
}

/// How much of the way is done in a second, after `u` of them.
fn pace(u: f64, tau: f64, wall: f64) -> f64 {
    let (tau, wall) = apart(tau, wall);
    ((-u / tau).exp() - (-u / wall).exp()) / (tau - wall)
}

/// How much of the way is left after `u` seconds; time constants as logarithms.
fn share_left(u: f64, tau: f64, wall: f64) -> f64 {
    let (tau, wall) = apart(tau, wall);
    (tau * (-u / tau).exp() - wall * (-u / wall).exp()) / (tau - wall)
}

/// Time constants from their logarithms. Where both are equal the formula is nought by nought; so near to that they may as well differ a little.
fn apart(tau: f64, wall: f64) -> (f64, f64) {
    let wall = if (tau - wall).abs() < 1e-3 { tau - 1e-3 } else { wall };
    (tau.exp(), wall.exp())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cooling::{Surroundings, fit};

    /// Seconds of hold before the wall turns.
    const HELD: usize = 120;

    /// Both laws, integrated in steps of a tenth of a second (Euler), the mass seen by a probe that lags; a reading every five seconds.
    fn integrated(tau_s: f64, wall_s: f64, minutes: usize, probe_s: f64) -> (Vec<f64>, Vec<f64>) {
        let (mut mass, mut wall, mut probe) = (46.0, 46.0, 46.0);
        let (mut at, mut values) = (Vec::new(), Vec::new());
        for tenth in 0..(HELD + minutes * 60) * 10 {
            if tenth % 50 == 0 {
                at.push(tenth as f64 / 10.0);
                values.push(probe);
            }
            let goal = if tenth < HELD * 10 { 46.0 } else { 19.0 };
            probe += (mass - probe) * (0.1 / probe_s).min(1.0);
            mass += (wall - mass) / tau_s * 0.1;
            wall += (goal - wall) / wall_s * 0.1;
        }
        (at, values)
    }

    #[test]
    fn mass_and_wall_are_found_again() {
        for (tau_min, wall_min, minutes) in
            [(25.0, 1.5, 16), (35.0, 2.0, 20), (45.0, 1.0, 26), (14.0, 4.0, 14)]
        {
            let (at, values) = integrated(tau_min * 60.0, wall_min * 60.0, minutes, 0.1);
            for guess in [60.0, 130.0] {
                let found = fit_turning(&at, &values, guess).unwrap();
                assert!((found.tau_s / 60.0 - tau_min).abs() < 0.01 * tau_min, "{tau_min}: {found:?}");
                assert!((found.wall_s / 60.0 - wall_min).abs() < 0.03 * wall_min, "{wall_min}: {found:?}");
                assert!((found.ambient - 19.0).abs() < 0.3, "{found:?}");
                assert!((found.turns_s - HELD as f64).abs() < 2.0, "{found:?}");
                let about = at.iter().zip(&values).map(|(at, value)| (found.value_at(*at) - value).abs());
                assert!(about.fold(0.0, f64::max) < 0.05, "{found:?}");
            }
        }
    }

    /// It shows the turn later, and that is all.
    #[test]
    fn a_probe_that_lags_moves_the_turn() {
        let (at, values) = integrated(1_500.0, 90.0, 16, 20.0);
        let found = fit_turning(&at, &values, 100.0).unwrap();
        assert!((found.tau_s / 1_500.0 - 1.0).abs() < 0.02, "{found:?}");
        assert!((125.0..145.0).contains(&found.turns_s), "{found:?}");
        let all = found.residual_sd_of(&at, &values);
        assert!((all / found.residual_sd - 1.0).abs() < 1e-6, "{all}: {found:?}");
        // The level before is easily met.
        let turned = at.partition_point(|at| *at < HELD as f64);
        assert!(found.residual_sd_of(&at[turned..], &values[turned..]) > all, "{found:?}");
    }

    /// What the head of this file says of one lag alone.
    #[test]
    fn to_one_lag_the_wall_looks_like_a_slower_mass() {
        let (at, values) = integrated(1_500.0, 90.0, 16, 0.1);
        let too_long = |from: usize| {
            fit(&at[from..], &values[from..], Surroundings::Unknown).map(|one| one.tau_s / 1_500.0).unwrap()
        };
        let (turn, four_minutes) = (HELD / 5, 48);
        assert!((1.45..1.55).contains(&too_long(turn)), "{}", too_long(turn));
        assert!((1.05..1.15).contains(&too_long(turn + four_minutes)), "{}", too_long(turn + four_minutes));
    }

    /// Then the one lag of `fit` says all, and the other is hardly there.
    #[test]
    fn a_wall_that_is_cold_at_once_is_told_or_has_hardly_a_lag() {
        let at: Vec<f64> = (0..200).map(|i| f64::from(i) * 5.0).collect();
        for flicker in [0.0, 0.05] {
            let flickers = |i: usize| flicker * [1.0, -1.2, 0.3, 0.9, -0.7, -0.9, 0.6][i % 7];
            let value =
                |(i, t): (usize, &f64)| 19.0 + 27.0 * (-(t - 60.0).max(0.0) / 1_500.0).exp() + flickers(i);
            let found = fit_turning(&at, &at.iter().enumerate().map(value).collect::<Vec<_>>(), 50.0);
            assert!(found.is_err() || found.is_ok_and(|found| found.wall_s < 15.0), "{found:?}");
        }
    }

    #[test]
    fn what_cannot_be_fitted_is_told() {
        assert!(fit_turning(&[0.0; 3], &[46.0; 3], 0.0).is_err());
        let falling: Vec<f64> = (0..20).rev().map(f64::from).collect();
        assert_eq!(fit_turning(&falling, &[46.0; 20], 0.0), Err(MathsError::NotRising));
    }
}
