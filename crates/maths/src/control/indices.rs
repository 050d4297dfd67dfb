//! Capability: how a steady spread fits between two limits.
//!
//! ```text
//! Cp = (high − low)/6s        Cpk = min(high − x̄, x̄ − low)/3s        Cpm = (high − low)/(6 √(s² + (x̄ − middle)²))
//! Cp interval:  Cp √(χ²_{α/2, n−1}/(n−1)) … Cp √(χ²_{1−α/2, n−1}/(n−1))
//! Cpk interval: Cpk ± z_{1−α/2} √(1/(9n) + Cpk²/(2(n−1)))        (Bissell 1990)
//! ```
//! The interval is the message: ten values with Cpk 1.33 leave anything from 0.7 to 2.0 possible. A probe that is 0.3 °C wrong
//! takes 60 % off the Cpk of a band of one degree, and no formula sees it.

use crate::error::{MathsError, all_finite};
use crate::statistics::{Moments, chi_squared_quantile, normal_quantile};

/// Independent values from which a capability is worth stating (e-Handbook 6.1.6).
pub const ENOUGH: usize = 50;

/// An interval that covers the true value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// Capability of a process, with intervals.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Capability {
    /// Room for the spread, wherever its middle lies.
    pub cp: f64,
    /// Interval of Cp (exact for normal values).
    pub cp_interval: Interval,
    /// Room on the upper side.
    pub upper: f64,
    /// Room on the lower side.
    pub lower: f64,
    /// Room on the tighter side; below zero when the mean lies outside.
    pub cpk: f64,
    /// Interval of Cpk (approximate).
    pub cpk_interval: Interval,
    /// Room when distance from the middle of the band counts like spread.
    pub cpm: f64,
    /// Mean of the values.
    pub mean: f64,
    /// Standard deviation of the values.
    pub sd: f64,
    /// Values.
    pub n: usize,
    /// Share of such intervals that cover the true value.
    pub coverage: f64,
}

impl Capability {
    /// Whether there are enough values to state it without its interval.
    pub fn is_firm(&self) -> bool {
        ENOUGH <= self.n
    }

    /// From a mean and a standard deviation of `n` independent values.
    ///
    /// # Errors
    /// Fewer than two values, limits in the wrong order, a deviation that is not above zero or so small that nothing can be
    /// divided by it, values that are not finite, or a coverage outside 0…1.
    pub fn from_moments(
        mean: f64,
        sd: f64,
        n: usize,
        limits: (f64, f64),
        coverage: f64,
    ) -> Result<Capability, MathsError> {
        let (low, high) = limits;
        all_finite(&[&[mean, sd, low, high]])?;
        crate::error::at_least(n, 2)?;
        if !(low < high) {
            return Err(MathsError::OutOfRange("band"));
        }
        if !(0.0 < sd) {
            return Err(MathsError::Constant);
        }
        let tail = (1.0 - coverage) / 2.0;
        let z = normal_quantile(1.0 - tail).ok_or(MathsError::OutOfRange("coverage"))?;
        let freedom = (n - 1) as f64;
        let spread = |share| chi_squared_quantile(freedom, share).map(|chi| (chi / freedom).sqrt());
        let (Some(least), Some(most)) = (spread(tail), spread(1.0 - tail)) else {
            return Err(MathsError::OutOfRange("coverage"));
        };
        let cp = (high - low) / (6.0 * sd);
        let (upper, lower) = ((high - mean) / (3.0 * sd), (mean - low) / (3.0 * sd));
        let cpk = upper.min(lower);
        if !(cp.is_finite() && upper.is_finite() && lower.is_finite()) {
            return Err(MathsError::Constant);
        }
        let reach = z * (1.0 / (3.0 * (n as f64).sqrt())).hypot(cpk / (2.0 * freedom).sqrt());
        let off_middle = mean - (low / 2.0 + high / 2.0);
        Ok(Capability {
            cp,
            cp_interval: Interval { low: cp * least, high: cp * most },
            upper,
            lower,
            cpk,
            cpk_interval: Interval { low: cpk - reach, high: cpk + reach },
            cpm: (high - low) / (6.0 * sd.hypot(off_middle)),
            mean,
            sd,
            n,
            coverage,
        })
    }
}

/// Capability of independent values (block means, or one value a batch) against a band.
///
/// # Errors
/// As [`Capability::from_moments`].
pub fn capability(values: &[f64], limits: (f64, f64), coverage: f64) -> Result<Capability, MathsError> {
    all_finite(&[values])?;
    crate::error::at_least(values.len(), 2)?;
    let moments = Moments::of(values);
    match (moments.mean(), moments.standard_deviation()) {
        (Some(mean), Some(sd)) => Capability::from_moments(mean, sd, values.len(), limits, coverage),
        _ => Err(MathsError::NotFinite),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn refuses_what_has_no_answer() {
        let of = |sd, n, limits, coverage| Capability::from_moments(31.5, sd, n, limits, coverage);
        assert_eq!(of(0.0, 50, (31.0, 32.0), 0.95), Err(MathsError::Constant));
        assert_eq!(of(1e-310, 50, (31.0, 32.0), 0.95), Err(MathsError::Constant));
        assert!(of(1e-158, 50, (31.0, 32.0), 0.95).is_ok_and(|seen| seen.cpk_interval.low.is_finite()));
        assert_eq!(of(0.1, 50, (32.0, 31.0), 0.95), Err(MathsError::OutOfRange("band")));
        assert_eq!(of(0.1, 50, (31.0, 32.0), 1.0), Err(MathsError::OutOfRange("coverage")));
        assert_eq!(of(0.1, 1, (31.0, 32.0), 0.95), Err(MathsError::TooFew { given: 1, needed: 2 }));
        assert_eq!(of(f64::NAN, 9, (31.0, 32.0), 0.95), Err(MathsError::NotFinite));
        assert_eq!(capability(&[31.5; 9], (31.0, 32.0), 0.95), Err(MathsError::Constant));
    }

    /// Ten values with Cpk 1.33.
    #[test]
    fn ten_values_say_little() {
        let seen = Capability::from_moments(31.5, 0.125, 10, (31.0, 32.0), 0.95).unwrap();
        assert!((seen.cpk - 4.0 / 3.0).abs() < 1e-12 && !seen.is_firm());
        assert!(
            (seen.cpk_interval.low - 0.68).abs() < 0.01 && (seen.cpk_interval.high - 1.98).abs() < 0.01,
            "{seen:?}"
        );
    }

    /// An offset of 0.3 in a band of ±0.5 takes 60 % of Cpk.
    #[test]
    fn an_offset_comes_straight_off() {
        let centred = Capability::from_moments(31.5, 0.1, 60, (31.0, 32.0), 0.95).unwrap();
        let offset = Capability::from_moments(31.8, 0.1, 60, (31.0, 32.0), 0.95).unwrap();
        assert!((offset.cpk / centred.cpk - 0.4).abs() < 1e-9);
    }

    proptest! {
        #[test]
        fn cpk_never_exceeds_cp(mean in 29.0..34.0_f64, sd in 0.01..1.0_f64, n in 2..200_usize) {
            let seen = Capability::from_moments(mean, sd, n, (31.0, 32.0), 0.95).unwrap();
            prop_assert!(seen.cpk <= seen.cp + 1e-12 && seen.cpm <= seen.cp + 1e-12);
            prop_assert!(seen.cp_interval.low < seen.cp && seen.cp < seen.cp_interval.high);
            // Cpk = Cp (1 − k), k being the distance from the middle in half widths.
            let k = (mean - 31.5).abs() / 0.5;
            prop_assert!((seen.cpk - seen.cp * (1.0 - k)).abs() < 1e-9);
        }
    }
}
