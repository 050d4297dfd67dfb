//! The few quantiles that the rest of the crate needs, with a guard before each.
//! The distributions themselves come from the crate `statrs`.

use statrs::distribution::{ChiSquared, ContinuousCDF, Normal, StudentsT};

fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

fn inside(share: f64) -> Option<f64> {
    (0.0 < share && share < 1.0).then_some(share)
}

/// Probability that a standard normal value lies below z. `None` for NaN.
pub fn normal_below(z: f64) -> Option<f64> {
    if z.is_nan() { None } else { finite(Normal::standard().cdf(z)) }
}

/// The z below which `share` of the standard normal values lie. `None` unless `0 < share < 1`.
pub fn normal_quantile(share: f64) -> Option<f64> {
    finite(Normal::standard().inverse_cdf(inside(share)?))
}

/// Above this Student's distribution is the normal one to six digits.
const NORMAL_FROM: f64 = 1e6;

/// The t below which `share` of Student's values with these degrees of freedom lie.
/// `None` unless `0 < share < 1` and the degrees of freedom are above zero.
pub fn student_quantile(degrees_of_freedom: f64, share: f64) -> Option<f64> {
    if NORMAL_FROM < degrees_of_freedom {
        return normal_quantile(share);
    }
    finite(StudentsT::new(0.0, 1.0, degrees_of_freedom).ok()?.inverse_cdf(inside(share)?))
}

/// The value below which `share` of the chi-squared values with these degrees of freedom lie.
/// `None` unless `0 < share < 1` and the degrees of freedom are above zero.
pub fn chi_squared_quantile(degrees_of_freedom: f64, share: f64) -> Option<f64> {
    finite(ChiSquared::new(degrees_of_freedom).ok()?.inverse_cdf(inside(share)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Printed tables of the NIST/SEMATECH e-Handbook, 1.3.6.7.1 to 1.3.6.7.4 (from memory), three decimals.
    #[test]
    fn the_printed_tables() {
        let near = |value: Option<f64>, printed: f64| {
            assert!((value.unwrap() - printed).abs() <= 5e-4, "{value:?} {printed}")
        };
        near(normal_quantile(0.975), 1.960);
        near(normal_below(1.0), 0.8413);
        for (freedom, t) in
            [(1.0, 12.706), (2.0, 4.303), (5.0, 2.571), (10.0, 2.228), (30.0, 2.042), (100.0, 1.984)]
        {
            near(student_quantile(freedom, 0.975), t);
        }
        near(student_quantile(1e9, 0.975), 1.960);
        for (freedom, low, high) in [(1.0, 0.001, 5.024), (9.0, 2.700, 19.023), (29.0, 16.047, 45.722)] {
            near(chi_squared_quantile(freedom, 0.025), low);
            near(chi_squared_quantile(freedom, 0.975), high);
        }
    }

    #[test]
    fn refuses_what_has_no_answer() {
        for share in [0.0, 1.0, -0.1, f64::NAN] {
            assert_eq!(normal_quantile(share), None);
            assert_eq!(student_quantile(5.0, share), None);
            assert_eq!(chi_squared_quantile(5.0, share), None);
        }
        for freedom in [0.0, -1.0, f64::NAN] {
            assert_eq!(student_quantile(freedom, 0.5), None);
            assert_eq!(chi_squared_quantile(freedom, 0.5), None);
        }
        assert_eq!(normal_below(f64::NAN), None);
    }
}
