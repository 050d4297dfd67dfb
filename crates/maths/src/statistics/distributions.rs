//! The few quantiles that the rest of the crate needs, with a guard before each.
//! The distributions themselves come from the crate `statrs`.

use statrs::distribution::{ChiSquared, ContinuousCDF, Normal, StudentsT};

fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

/// Tails thinner than this have no meaning for readings, and not all of the quantiles can be found there.
const THINNEST_TAIL: f64 = 1e-9;
/// Above this many degrees of freedom Student's quantile is taken from its series, good there to nine digits,
const STUDENT_SERIES_FROM: f64 = 1e3;
/// and above this many the cube root of chi-squared is normal to six.
const CUBE_ROOT_FROM: f64 = 1e6;

fn inside(share: f64) -> Option<f64> {
    (THINNEST_TAIL..=1.0 - THINNEST_TAIL).contains(&share).then_some(share)
}

/// Probability that a standard normal value lies below z. `None` for NaN.
pub fn normal_below(z: f64) -> Option<f64> {
    if z.is_nan() { None } else { finite(Normal::standard().cdf(z)) }
}

/// The z below which `share` of the standard normal values lie. `None` for a tail thinner than 1e-9.
pub fn normal_quantile(share: f64) -> Option<f64> {
    finite(Normal::standard().inverse_cdf(inside(share)?))
}

/// The t below which `share` of Student's values with these degrees of freedom lie.
/// `None` for a tail thinner than 1e-9, or for fewer than one degree of freedom.
pub fn student_quantile(degrees_of_freedom: f64, share: f64) -> Option<f64> {
    if !(1.0 <= degrees_of_freedom) {
        return None;
    }
    if STUDENT_SERIES_FROM < degrees_of_freedom {
        // Abramowitz & Stegun 1964, 26.7.5.
        let z = normal_quantile(share)?;
        let first = (z.powi(3) + z) / (4.0 * degrees_of_freedom);
        let second = (5.0 * z.powi(5) + 16.0 * z.powi(3) + 3.0 * z) / (96.0 * degrees_of_freedom.powi(2));
        return finite(z + first + second);
    }
    finite(StudentsT::new(0.0, 1.0, degrees_of_freedom).ok()?.inverse_cdf(inside(share)?))
}

/// The value below which `share` of the chi-squared values with these degrees of freedom lie.
/// `None` for a tail thinner than 1e-9, or for fewer than one degree of freedom.
pub fn chi_squared_quantile(degrees_of_freedom: f64, share: f64) -> Option<f64> {
    if !(1.0 <= degrees_of_freedom) {
        return None;
    }
    if CUBE_ROOT_FROM < degrees_of_freedom {
        // Wilson & Hilferty 1931.
        let part = 2.0 / (9.0 * degrees_of_freedom);
        return finite(degrees_of_freedom * (1.0 - part + normal_quantile(share)? * part.sqrt()).powi(3));
    }
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

    /// Both sides of the places where a series takes over.
    #[test]
    fn no_step_where_a_series_takes_over() {
        for share in [0.025, 0.3, 0.975, 0.999] {
            let (below, above) =
                (student_quantile(1e3, share).unwrap(), student_quantile(1e3 + 1e-6, share).unwrap());
            assert!((below / above - 1.0).abs() < 1e-7, "{share}: {below} {above}");
            let (below, above) =
                (chi_squared_quantile(1e6, share).unwrap(), chi_squared_quantile(1e6 + 1e-3, share).unwrap());
            assert!((below / above - 1.0).abs() < 1e-6, "{share}: {below} {above}");
        }
    }

    #[test]
    fn refuses_what_has_no_answer() {
        for share in [0.0, 1.0, -0.1, f64::NAN] {
            assert_eq!(normal_quantile(share), None);
            assert_eq!(student_quantile(5.0, share), None);
            assert_eq!(chi_squared_quantile(5.0, share), None);
        }
        for freedom in [0.0, 0.99, -1.0, f64::NAN] {
            assert_eq!(student_quantile(freedom, 0.5), None);
            assert_eq!(chi_squared_quantile(freedom, 0.5), None);
        }
        assert_eq!(normal_below(f64::NAN), None);
    }
}
