//! Mann–Kendall: does a series go one way more often than chance would have it? Only the order of the values counts.

use super::{MAX_VALUES, tie_correction};
use crate::error::{MathsError, all_finite, at_least};
use crate::statistics::normal_below;

/// The outcome of the test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MannKendall {
    /// Pairs that rise less pairs that fall.
    pub s: i64,
    /// Variance of S without a trend, ties counted.
    pub variance: f64,
    /// Standard normal value, with continuity correction.
    pub z: f64,
    /// Probability of so large a |z| without a trend.
    pub p_two_sided: f64,
    /// Kendall's τ_b: −1 always falling, 1 always rising, ties counted.
    pub tau: f64,
    /// Values.
    pub n: usize,
}

/// Tests values in order of time.
///
/// # Errors
/// Fewer than four or more than [`MAX_VALUES`] values, values that are not finite, or all equal.
pub fn mann_kendall(values: &[f64]) -> Result<MannKendall, MathsError> {
    all_finite(&[values])?;
    at_least(values.len(), 4)?;
    if MAX_VALUES < values.len() {
        return Err(MathsError::OutOfRange("number of values"));
    }
    let (mut rising, mut falling) = (0_i64, 0_i64);
    for (i, early) in values.iter().enumerate() {
        for late in &values[i + 1..] {
            rising += i64::from(early < late);
            falling += i64::from(late < early);
        }
    }
    let s = rising - falling;
    let n = values.len() as f64;
    let variance = (n * (n - 1.0) * (2.0 * n + 5.0) - tie_correction(values)) / 18.0;
    if !(0.0 < variance) || rising + falling == 0 {
        return Err(MathsError::Constant);
    }
    let z = (s - s.signum()) as f64 / variance.sqrt();
    let p_two_sided = (2.0 * normal_below(-z.abs()).ok_or(MathsError::NotFinite)?).min(1.0);
    let all_pairs = n * (n - 1.0) / 2.0;
    let tau = s as f64 / (all_pairs * (rising + falling) as f64).sqrt();
    Ok(MannKendall { s, variance, z, p_two_sided, tau, n: values.len() })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn refuses_what_has_no_answer() {
        assert_eq!(mann_kendall(&[31.5; 9]), Err(MathsError::Constant));
        assert_eq!(mann_kendall(&[1.0, 2.0, 3.0]), Err(MathsError::TooFew { given: 3, needed: 4 }));
        assert_eq!(mann_kendall(&[1.0, 2.0, 3.0, f64::NAN]), Err(MathsError::NotFinite));
    }

    proptest! {
        #[test]
        fn backwards_it_falls_as_it_rose(values in prop::collection::vec(0.0..9.0_f64, 4..30)) {
            let back: Vec<f64> = values.iter().rev().copied().collect();
            if let (Ok(forth), Ok(back)) = (mann_kendall(&values), mann_kendall(&back)) {
                prop_assert_eq!(forth.s, -back.s);
                prop_assert!((forth.z + back.z).abs() < 1e-12);
                prop_assert!((0.0..=1.0).contains(&forth.p_two_sided));
                prop_assert!(forth.tau.abs() <= 1.0 + 1e-12);
            }
        }

        #[test]
        fn only_the_order_counts(values in prop::collection::vec(0.1..9.0_f64, 4..30)) {
            let bent: Vec<f64> = values.iter().map(|value| value.ln()).collect();
            prop_assert_eq!(mann_kendall(&values), mann_kendall(&bent));
        }
    }
}
