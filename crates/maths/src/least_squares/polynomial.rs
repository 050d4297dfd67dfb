//! Polynomials.

use super::LeastSquares;
use super::linear::fit_terms;
use crate::error::{MathsError, at_least, paired};

/// Fits a polynomial of degree `P − 1`: `parameters[j]` belongs to `xʲ`.
///
/// The x are scaled to one before the fit and the result is turned back, because plain powers of large x leave only five or six
/// digits (set Pontius of the NIST reference sets).
///
/// # Errors
/// Too few points, values that are not finite, or x that do not differ enough.
pub fn fit_polynomial<const P: usize>(x: &[f64], y: &[f64]) -> Result<LeastSquares<P>, MathsError> {
    paired(x, y)?;
    at_least(x.len(), P + 1)?;
    let size = x.iter().fold(0.0_f64, |size, x| size.max(x.abs()));
    if !(0.0 < size) {
        return Err(MathsError::Constant);
    }
    let powers: Vec<[f64; P]> =
        x.iter().map(|x| std::array::from_fn(|j| (x / size).powi(j as i32))).collect();
    let scaled = fit_terms(&powers, y)?;
    let unit = |j: usize| size.powi(j as i32);
    Ok(LeastSquares {
        parameters: std::array::from_fn(|j| scaled.parameters[j] / unit(j)),
        covariance: std::array::from_fn(|a| {
            std::array::from_fn(|b| scaled.covariance[a][b] / unit(a) / unit(b))
        }),
        ..scaled
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Goes through its points exactly when it can: y = 2 + 3x.
    #[test]
    fn a_line_through_its_own_points() {
        let x = [0.0, 1.0, 2.0, 5.0];
        let y = x.map(|x| 2.0 + 3.0 * x);
        let line = fit_polynomial::<2>(&x, &y).unwrap();
        assert!((line.parameters[0] - 2.0).abs() < 1e-12 && (line.parameters[1] - 3.0).abs() < 1e-12);
        assert!(line.residual_sd < 1e-12);
    }

    #[test]
    fn refuses_what_it_cannot_determine() {
        assert_eq!(fit_polynomial::<2>(&[1.0, 1.0, 1.0], &[1.0, 2.0, 3.0]), Err(MathsError::Undetermined));
        assert_eq!(
            fit_polynomial::<2>(&[1.0, 2.0], &[1.0, 2.0]),
            Err(MathsError::TooFew { given: 2, needed: 3 })
        );
        assert_eq!(fit_polynomial::<1>(&[1.0, f64::NAN], &[1.0, 2.0]), Err(MathsError::NotFinite));
        assert_eq!(fit_polynomial::<1>(&[0.0, 0.0], &[1.0, 2.0]), Err(MathsError::Constant));
    }
}
