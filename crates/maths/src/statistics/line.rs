//! Straight line `y = a + b·x` by least squares, with the textbook errors.
//! Sums are taken about the means, which keeps the digits that the plain normal equations lose.
//! The errors hold for independent scatter of one size; for readings close in time take block means first.

use crate::error::{MathsError, at_least, paired};

/// A fitted straight line. Standard errors are one sigma.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Height at x = 0.
    pub intercept: f64,
    /// Standard error of the intercept.
    pub intercept_se: f64,
    /// Rise for each unit of x.
    pub slope: f64,
    /// Standard error of the slope.
    pub slope_se: f64,
    /// Standard deviation about the line, with n − 2 below.
    pub residual_sd: f64,
    /// Share of the variance that the line explains; `None` when y is constant.
    pub r_squared: Option<f64>,
    /// Points.
    pub n: usize,
}

/// Fits a straight line to at least three points.
///
/// # Errors
/// Too few points, values that are not finite, or x that are all equal.
pub fn straight_line(x: &[f64], y: &[f64]) -> Result<Line, MathsError> {
    paired(x, y)?;
    at_least(x.len(), 3)?;
    let n = x.len() as f64;
    let (mean_x, mean_y) = (x.iter().sum::<f64>() / n, y.iter().sum::<f64>() / n);
    let about =
        |f: fn(f64, f64) -> f64| -> f64 { x.iter().zip(y).map(|(x, y)| f(x - mean_x, y - mean_y)).sum() };
    let (xx, xy, yy) = (about(|x, _| x * x), about(|x, y| x * y), about(|_, y| y * y));
    if !(0.0 < xx) {
        return Err(MathsError::Constant);
    }
    let slope = xy / xx;
    let intercept = mean_y - slope * mean_x;
    let residual_ss: f64 = x.iter().zip(y).map(|(x, y)| (y - mean_y - slope * (x - mean_x)).powi(2)).sum();
    let variance = residual_ss / (n - 2.0);
    let line = Line {
        intercept,
        intercept_se: (variance * (1.0 / n + mean_x * mean_x / xx)).sqrt(),
        slope,
        slope_se: (variance / xx).sqrt(),
        residual_sd: variance.sqrt(),
        r_squared: (0.0 < yy).then(|| 1.0 - residual_ss / yy),
        n: x.len(),
    };
    let finite = [line.intercept, line.intercept_se, line.slope, line.slope_se].iter().all(|v| v.is_finite());
    if finite { Ok(line) } else { Err(MathsError::Undetermined) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn refuses_what_has_no_answer() {
        assert_eq!(straight_line(&[1.0, 2.0], &[1.0, 2.0]), Err(MathsError::TooFew { given: 2, needed: 3 }));
        assert_eq!(straight_line(&[1.0; 4], &[1.0, 2.0, 3.0, 4.0]), Err(MathsError::Constant));
        assert_eq!(straight_line(&[1.0, 2.0, f64::INFINITY], &[1.0; 3]), Err(MathsError::NotFinite));
        assert_eq!(straight_line(&[1.0, 2.0, 3.0], &[4.0; 3]).unwrap().r_squared, None);
    }

    proptest! {
        #[test]
        fn a_change_of_units_changes_the_slope_alone(
            y in prop::collection::vec(-5.0..5.0_f64, 4..30), scale in 0.01..100.0_f64, shift in -1e3..1e3_f64,
        ) {
            let x: Vec<f64> = (0..y.len()).map(|i| i as f64).collect();
            let moved: Vec<f64> = x.iter().map(|x| x * scale + shift).collect();
            let (plain, other) = (straight_line(&x, &y).unwrap(), straight_line(&moved, &y).unwrap());
            prop_assert!((plain.slope - other.slope * scale).abs() < 1e-9);
            prop_assert!((plain.residual_sd - other.residual_sd).abs() < 1e-9);
        }
    }
}
