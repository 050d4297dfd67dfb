//! Tabular CUSUM (Page 1954): adds up what exceeds the slack, and forgets what lies below zero.
//!
//! ```text
//! S⁺ᵢ = max(0, S⁺ᵢ₋₁ + xᵢ − target − k)        S⁻ᵢ = max(0, S⁻ᵢ₋₁ + target − k − xᵢ)        signal above h
//! ```
//! With k = 0.5 σ and h = 5 σ a shift of one sigma is seen after 10.4 values on average, and chance signals once in 465
//! (Lucas & Crosier 1982). A head start of h/2 sees a shift that is there from the beginning in 6.4.

use super::Side;
use crate::error::{MathsError, all_finite, is_usable};

/// A two-sided CUSUM, in the units of the values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cusum {
    target: f64,
    slack: f64,
    limit: f64,
    high: f64,
    low: f64,
}

/// Where the sums stand after a value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CusumStep {
    /// Sum of what lies above.
    pub high: f64,
    /// Sum of what lies below.
    pub low: f64,
    /// The side on which the limit is exceeded; the larger sum when both are.
    pub signal: Option<Side>,
}

impl Cusum {
    /// `slack` (k) is half the shift to be seen, `limit` (h) the sum that signals.
    ///
    /// # Errors
    /// A slack below zero, a limit that is not above zero, or values that are not finite.
    pub fn new(target: f64, slack: f64, limit: f64) -> Result<Cusum, MathsError> {
        all_finite(&[&[target, slack, limit]])?;
        if !(0.0 <= slack) {
            return Err(MathsError::OutOfRange("slack"));
        }
        if !(0.0 < limit) {
            return Err(MathsError::OutOfRange("limit"));
        }
        Ok(Cusum { target, slack, limit, high: 0.0, low: 0.0 })
    }

    /// Starts both sums at `start` (h/2 is usual), to see sooner what is wrong from the beginning.
    ///
    /// # Errors
    /// A start below zero or not finite.
    pub fn with_head_start(self, start: f64) -> Result<Cusum, MathsError> {
        if 0.0 <= start && is_usable(start) {
            Ok(Cusum { high: start, low: start, ..self })
        } else {
            Err(MathsError::OutOfRange("head start"))
        }
    }

    /// Adds a value. One that is not finite changes nothing.
    pub fn insert(&mut self, value: f64) -> CusumStep {
        if is_usable(value) {
            self.high = (self.high + value - self.target - self.slack).max(0.0);
            self.low = (self.low + self.target - self.slack - value).max(0.0);
        }
        let signal = if self.limit < self.high.max(self.low) {
            Some(if self.low <= self.high { Side::High } else { Side::Low })
        } else {
            None
        };
        CusumStep { high: self.high, low: self.low, signal }
    }

    /// Forgets both sums, as after a known change.
    pub fn reset(&mut self) {
        (self.high, self.low) = (0.0, 0.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn refuses_what_makes_no_chart() {
        assert!(Cusum::new(31.5, -0.1, 1.0).is_err() && Cusum::new(31.5, 0.1, 0.0).is_err());
        assert!(Cusum::new(f64::NAN, 0.1, 1.0).is_err());
        assert!(Cusum::new(31.5, 0.1, 1.0).unwrap().with_head_start(-1.0).is_err());
    }

    #[test]
    fn reset_forgets_and_nan_changes_nothing() {
        let mut cusum = Cusum::new(0.0, 0.5, 2.0).unwrap();
        cusum.insert(3.0);
        assert_eq!(cusum.insert(f64::NAN).high, 2.5);
        assert_eq!(cusum.insert(f64::NAN).signal, Some(Side::High));
        cusum.reset();
        assert_eq!(cusum.insert(0.0), CusumStep { high: 0.0, low: 0.0, signal: None });
    }

    proptest! {
        /// What it does upwards it does downwards.
        #[test]
        fn mirrored(values in prop::collection::vec(-3.0..3.0_f64, 1..40)) {
            let mut up = Cusum::new(0.0, 0.5, 4.0).unwrap();
            let mut down = up;
            for value in values {
                let (a, b) = (up.insert(value), down.insert(-value));
                prop_assert!((a.high - b.low).abs() < 1e-12 && (a.low - b.high).abs() < 1e-12);
                prop_assert_eq!(a.signal.is_some(), b.signal.is_some());
            }
        }
    }
}
