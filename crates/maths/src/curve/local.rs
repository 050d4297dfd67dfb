//! A parabola through the readings about one time. On even times this is the filter of Savitzky & Golay (1964), which the tests
//! check by its printed coefficients; on uneven times it goes on working, and beside a gap it sees fewer readings.

use crate::least_squares::fit_polynomial;

/// The curve at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LocalFit {
    /// Height.
    pub value: f64,
    /// Rise for each second.
    pub slope: f64,
    /// Standard error of the slope if the noise had a standard deviation of one.
    pub slope_error_of_unit: f64,
    /// Standard deviation about the parabola.
    pub residual_sd: f64,
    /// Readings in the window.
    pub n: usize,
}

/// Fits a parabola to the readings within `half_s` of `at`; times must rise.
/// `None` with fewer than four of them, or when they do not determine a parabola.
pub fn local_parabola(seconds: &[f64], values: &[f64], at: f64, half_s: f64) -> Option<LocalFit> {
    // A hair of room, so that a reading at the very edge does not come and go with rounding.
    let reach = half_s * (1.0 + 1e-9);
    let from = seconds.partition_point(|s| *s < at - reach);
    let to = seconds.partition_point(|s| *s <= at + reach);
    let x: Vec<f64> = seconds.get(from..to)?.iter().map(|s| (s - at) / half_s).collect();
    let fit = fit_polynomial::<3>(&x, values.get(from..to)?).ok()?;
    // The plain error of the slope, taken apart from the noise: √((XᵀX)⁻¹) of a straight line about the window's middle.
    let middle = x.iter().sum::<f64>() / x.len() as f64;
    let spread: f64 = x.iter().map(|x| (x - middle).powi(2)).sum();
    Some(LocalFit {
        value: fit.parameters[0],
        slope: fit.parameters[1] / half_s,
        slope_error_of_unit: 1.0 / spread.sqrt() / half_s,
        residual_sd: fit.residual_sd,
        n: fit.n,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Savitzky & Golay 1964, five points: (−3, 12, 17, 12, −3)/35 for the height, (−2, −1, 0, 1, 2)/10 for the slope (from memory).
    #[test]
    fn printed_coefficients() {
        let seconds = [-2.0, -1.0, 0.0, 1.0, 2.0];
        for i in 0..5 {
            let mut unit = [0.0; 5];
            unit[i] = 1.0;
            let fit = local_parabola(&seconds, &unit, 0.0, 2.0).unwrap();
            assert!((fit.value - [-3.0, 12.0, 17.0, 12.0, -3.0][i] / 35.0).abs() < 1e-12);
            assert!((fit.slope - [-2.0, -1.0, 0.0, 1.0, 2.0][i] / 10.0).abs() < 1e-12);
        }
    }

    #[test]
    fn a_parabola_comes_out_whole_on_uneven_times() {
        let seconds = [0.0, 0.7, 1.9, 3.0, 3.2, 5.5, 6.0];
        let values = seconds.map(|s| 30.0 - 2.0 * s + 0.25 * s * s);
        let fit = local_parabola(&seconds, &values, 2.0, 4.0).unwrap();
        assert!(
            (fit.value - 27.0).abs() < 1e-10 && (fit.slope + 1.0).abs() < 1e-10 && fit.residual_sd < 1e-10
        );
        assert_eq!(local_parabola(&seconds, &values, 60.0, 4.0), None);
        assert_eq!(local_parabola(&seconds, &values[..3], 2.0, 4.0), None);
        assert_eq!(local_parabola(&seconds, &values, f64::NAN, 4.0), None);
    }
}
