//! EWMA (Roberts 1959): a mean that forgets.
//!
//! ```text
//! zᵢ = λ xᵢ + (1 − λ) zᵢ₋₁        limits target ± L σ √(λ/(2 − λ) · (1 − (1 − λ)^(2i)))
//! ```
//! The exact limits widen over the first values to the asymptotic ones, `√(λ/(2 − λ))`. Run lengths for the asymptotic limits
//! are in Lucas & Saccucci 1990: λ = 0.1 with L = 2.814 signals by chance once in 500.

use super::{Side, outside};
use crate::error::{MathsError, all_finite, is_usable};

/// Which limits an EWMA is held against.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EwmaLimits {
    /// Those that belong to the number of values so far; sees early shifts sooner.
    Exact,
    /// Those of a long series, from the first value on.
    Asymptotic,
}

/// A mean that forgets, with its limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ewma {
    target: f64,
    sigma: f64,
    weight: f64,
    width: f64,
    limits: EwmaLimits,
    value: f64,
    /// `(1 − λ)^(2i)`.
    fading: f64,
}

/// Where an EWMA stands after a value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EwmaStep {
    /// The mean.
    pub value: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
    /// The side on which the mean lies outside.
    pub signal: Option<Side>,
}

impl Ewma {
    /// `weight` is λ, `width` is L.
    ///
    /// # Errors
    /// A weight outside `0 < λ ≤ 1`, a width or sigma that is not above zero, or values that are not finite.
    pub fn new(
        target: f64,
        sigma: f64,
        weight: f64,
        width: f64,
        limits: EwmaLimits,
    ) -> Result<Ewma, MathsError> {
        all_finite(&[&[target, sigma, weight, width]])?;
        if !(0.0 < weight && weight <= 1.0) {
            return Err(MathsError::OutOfRange("weight"));
        }
        if !(0.0 < sigma) {
            return Err(MathsError::OutOfRange("sigma"));
        }
        if !(0.0 < width) {
            return Err(MathsError::OutOfRange("width"));
        }
        Ok(Ewma { target, sigma, weight, width, limits, value: target, fading: 1.0 })
    }

    /// Adds a value. One that is not finite changes nothing.
    pub fn insert(&mut self, value: f64) -> EwmaStep {
        if is_usable(value) {
            self.value += self.weight * (value - self.value);
            self.fading *= (1.0 - self.weight).powi(2);
        }
        let grown = match self.limits {
            EwmaLimits::Exact => 1.0 - self.fading,
            EwmaLimits::Asymptotic => 1.0,
        };
        let reach = self.width * self.sigma * (self.weight / (2.0 - self.weight) * grown).sqrt();
        let (low, high) = (self.target - reach, self.target + reach);
        EwmaStep { value: self.value, low, high, signal: outside(self.value, low, high) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn refuses_what_makes_no_chart() {
        let ewma = |sigma, weight, width| Ewma::new(31.5, sigma, weight, width, EwmaLimits::Exact);
        assert!(ewma(0.1, 0.0, 3.0).is_err() && ewma(0.1, 1.1, 3.0).is_err());
        assert!(
            ewma(0.0, 0.2, 3.0).is_err() && ewma(0.1, 0.2, 0.0).is_err() && ewma(f64::NAN, 0.2, 3.0).is_err()
        );
    }

    #[test]
    fn nan_changes_nothing() {
        let mut ewma = Ewma::new(31.5, 0.1, 0.2, 3.0, EwmaLimits::Exact).unwrap();
        let before = ewma.insert(31.6);
        assert_eq!(ewma.insert(f64::NAN), before);
    }

    proptest! {
        /// A weight of one is the chart of single values.
        #[test]
        fn weight_of_one_forgets_everything(values in prop::collection::vec(-5.0..5.0_f64, 1..20)) {
            let mut ewma = Ewma::new(0.0, 1.0, 1.0, 3.0, EwmaLimits::Asymptotic).unwrap();
            for value in values {
                let step = ewma.insert(value);
                prop_assert!((step.value - value).abs() < 1e-12);
                prop_assert_eq!(step.signal.is_some(), 3.0 < value.abs());
            }
        }

        /// It stays among the values that it has seen.
        #[test]
        fn stays_inside(values in prop::collection::vec(30.0..33.0_f64, 1..40), weight in 0.01..1.0_f64) {
            let mut ewma = Ewma::new(31.5, 0.1, weight, 3.0, EwmaLimits::Exact).unwrap();
            for value in values {
                let step = ewma.insert(value);
                prop_assert!((30.0..33.0).contains(&step.value) && step.low < step.high);
            }
        }
    }
}
