//! Individuals and moving range: limits at three sigma, sigma from how much neighbours differ.
//!
//! ```text
//! σ̂ = mean|xᵢ − xᵢ₋₁| / d₂        limits x̄ ± 3 σ̂        upper limit of the moving range D₄·mean range
//! ```
//! The moving range is used because a shift or a drift widens it little, where it widens the standard deviation much.

use super::{Side, outside};
use crate::error::{MathsError, all_finite, at_least};

/// Mean range of two normal values, as tabulated (2/√π to three decimals).
pub const D2: f64 = 1.128;
/// Upper three-sigma limit of the range of two normal values, as tabulated.
pub const D4: f64 = 3.267;
/// Width of the limits.
const SIGMAS: f64 = 3.0;

/// The limits of a chart of single values, learned from values of a quiet time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Individuals {
    /// Mean of the values.
    pub centre: f64,
    /// Standard deviation from the moving range.
    pub sigma: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
    /// Mean moving range.
    pub mean_range: f64,
    /// Upper limit of the moving range; the lower one is zero.
    pub range_high: f64,
    /// Values that the limits were learned from.
    pub n: usize,
}

impl Individuals {
    /// Learns the limits. Twenty values or more give limits worth the name (common practice, no source).
    ///
    /// # Errors
    /// Fewer than two values, values that are not finite, or all equal.
    pub fn learn(values: &[f64]) -> Result<Individuals, MathsError> {
        all_finite(&[values])?;
        at_least(values.len(), 2)?;
        let centre = values.iter().sum::<f64>() / values.len() as f64;
        let ranges = values.windows(2).map(|pair| (pair[1] - pair[0]).abs());
        let mean_range = ranges.sum::<f64>() / (values.len() - 1) as f64;
        let sigma = mean_range / D2;
        if !(0.0 < sigma && sigma.is_finite() && centre.is_finite()) {
            return Err(MathsError::Constant);
        }
        Ok(Individuals {
            centre,
            sigma,
            low: centre - SIGMAS * sigma,
            high: centre + SIGMAS * sigma,
            mean_range,
            range_high: D4 * mean_range,
            n: values.len(),
        })
    }

    /// The side on which a value lies outside; `None` inside.
    pub fn outside(&self, value: f64) -> Option<Side> {
        outside(value, self.low, self.high)
    }

    /// Whether the step from one value to the next is larger than chance allows.
    pub fn jumped(&self, from: f64, to: f64) -> bool {
        self.range_high < (to - from).abs()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn refuses_what_has_no_answer() {
        assert_eq!(Individuals::learn(&[31.5; 9]), Err(MathsError::Constant));
        assert_eq!(Individuals::learn(&[31.5]), Err(MathsError::TooFew { given: 1, needed: 2 }));
        assert_eq!(Individuals::learn(&[31.5, f64::NAN]), Err(MathsError::NotFinite));
    }

    proptest! {
        #[test]
        fn turns_with_the_units(values in prop::collection::vec(30.0..33.0_f64, 3..30)) {
            let fahrenheit: Vec<f64> = values.iter().map(|value| value * 1.8 + 32.0).collect();
            let (celsius, other) = (Individuals::learn(&values).unwrap(), Individuals::learn(&fahrenheit).unwrap());
            prop_assert!((celsius.high * 1.8 + 32.0 - other.high).abs() < 1e-9);
            prop_assert!((celsius.low * 1.8 + 32.0 - other.low).abs() < 1e-9);
        }
    }
}
