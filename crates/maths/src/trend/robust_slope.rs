//! Theil–Sen: the slope that a few wild values cannot turn. Up to 29 % of the values may be anything.

use super::{MAX_VALUES, tie_correction};
use crate::error::{MathsError, at_least, paired};
use crate::statistics::{median, normal_quantile, quantile_of_sorted};

/// A robust straight line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TheilSen {
    /// Median of the slopes between all pairs of points.
    pub slope: f64,
    /// `median(y) − slope·median(x)`.
    pub intercept: f64,
    /// Lower end of the interval of the slope.
    pub slope_low: f64,
    /// Upper end of the interval of the slope.
    pub slope_high: f64,
    /// Share of such intervals that cover the true slope.
    pub coverage: f64,
    /// Points.
    pub n: usize,
}

/// Robust slope of y over x, with an interval for `coverage` (0.95, say) from the normal approximation of Kendall's S.
///
/// # Errors
/// Fewer than three or more than [`MAX_VALUES`] points, values that are not finite, x that are all equal, or a coverage outside 0…1.
pub fn theil_sen(x: &[f64], y: &[f64], coverage: f64) -> Result<TheilSen, MathsError> {
    paired(x, y)?;
    at_least(x.len(), 3)?;
    if MAX_VALUES < x.len() {
        return Err(MathsError::OutOfRange("number of values"));
    }
    let z = normal_quantile((1.0 + coverage) / 2.0).ok_or(MathsError::OutOfRange("coverage"))?;
    let mut slopes: Vec<f64> = (0..x.len())
        .flat_map(|i| (i + 1..x.len()).map(move |j| (i, j)))
        .filter(|&(i, j)| x[i] != x[j])
        .map(|(i, j)| (y[j] - y[i]) / (x[j] - x[i]))
        .filter(|slope| slope.is_finite())
        .collect();
    if slopes.is_empty() {
        return Err(MathsError::Constant);
    }
    slopes.sort_unstable_by(f64::total_cmp);
    let slope = quantile_of_sorted(&slopes, 0.5).ok_or(MathsError::NotFinite)?;
    let middle = |values: &[f64]| median(values).ok_or(MathsError::NotFinite);
    let intercept = middle(y)? - slope * middle(x)?;

    let n = x.len() as f64;
    let pairs = slopes.len() as f64;
    let variance = (n * (n - 1.0) * (2.0 * n + 5.0) - tie_correction(x) - tie_correction(y)) / 18.0;
    let reach = z * variance.max(0.0).sqrt();
    let last = slopes.len() - 1;
    let low = (((pairs - reach) / 2.0).round_ties_even() - 1.0).max(0.0) as usize;
    let high = (((pairs + reach) / 2.0).round_ties_even() as usize).min(last);
    Ok(TheilSen {
        slope,
        intercept,
        slope_low: slopes[low.min(last)],
        slope_high: slopes[high],
        coverage,
        n: x.len(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn refuses_what_has_no_answer() {
        assert_eq!(theil_sen(&[1.0; 4], &[1.0, 2.0, 3.0, 4.0], 0.95), Err(MathsError::Constant));
        assert_eq!(
            theil_sen(&[1.0, 2.0], &[1.0, 2.0], 0.95),
            Err(MathsError::TooFew { given: 2, needed: 3 })
        );
        assert_eq!(
            theil_sen(&[1.0, 2.0, 3.0], &[1.0, 2.0, 3.0], 1.0),
            Err(MathsError::OutOfRange("coverage"))
        );
        assert_eq!(theil_sen(&[1.0, 2.0, f64::NAN], &[1.0; 3], 0.9), Err(MathsError::NotFinite));
    }

    proptest! {
        /// One wild value in five does not turn an exact line.
        #[test]
        fn a_minority_cannot_turn_it(slope in -3.0..3.0_f64, wild in prop::collection::vec(-1e4..1e4_f64, 4)) {
            let x: Vec<f64> = (0..24).map(f64::from).collect();
            let mut y: Vec<f64> = x.iter().map(|x| 5.0 + slope * x).collect();
            for (i, value) in wild.iter().enumerate() {
                y[3 + 5 * i] = *value;
            }
            let line = theil_sen(&x, &y, 0.95).unwrap();
            prop_assert!((line.slope - slope).abs() < 1e-9);
            prop_assert!(line.slope_low <= line.slope && line.slope <= line.slope_high);
        }

        #[test]
        fn turns_with_the_units(y in prop::collection::vec(-5.0..5.0_f64, 5..20), scale in 0.1..10.0_f64) {
            let x: Vec<f64> = (0..y.len()).map(|i| i as f64).collect();
            let scaled: Vec<f64> = y.iter().map(|y| 32.0 + scale * y).collect();
            let (plain, other) = (theil_sen(&x, &y, 0.9).unwrap(), theil_sen(&x, &scaled, 0.9).unwrap());
            prop_assert!((plain.slope * scale - other.slope).abs() < 1e-9);
        }
    }
}
