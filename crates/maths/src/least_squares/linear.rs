//! The linear step alone, for what is a sum of known terms.

use super::LeastSquares;
use super::triangle::TallSystem;
use crate::error::{MathsError, all_finite, at_least};

/// Fits `y = Σ pⱼ·termsⱼ`: one row of terms a value.
///
/// # Errors
/// Too few rows, values that are not finite, or terms of which one is a mixture of the others.
pub fn fit_terms<const P: usize>(terms: &[[f64; P]], y: &[f64]) -> Result<LeastSquares<P>, MathsError> {
    if terms.len() != y.len() {
        return Err(MathsError::LengthsDiffer { left: terms.len(), right: y.len() });
    }
    all_finite(&[terms.as_flattened(), y])?;
    at_least(y.len(), P + 1)?;
    let mut system = TallSystem::<P>::default();
    terms.iter().zip(y).for_each(|(row, y)| system.push(*row, *y));
    let triangle = system.reduce();
    let inverse = triangle.inverse_of_square().ok_or(MathsError::Undetermined)?;
    let parameters = triangle.solve();
    let height = |row: &[f64; P]| row.iter().zip(&parameters).map(|(term, p)| term * p).sum::<f64>();
    let residual_ss: f64 = terms.iter().zip(y).map(|(row, y)| (y - height(row)).powi(2)).sum();
    let variance = residual_ss / (y.len() - P) as f64;
    Ok(LeastSquares {
        parameters,
        covariance: inverse.map(|row| row.map(|element| element * variance)),
        residual_ss,
        residual_sd: variance.sqrt(),
        n: y.len(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Goes through its points exactly when it can: y = 2 + 3a − b.
    #[test]
    fn a_plane_through_its_own_points() {
        let terms = [[1.0, 0.0, 0.0], [1.0, 1.0, 5.0], [1.0, 2.0, 1.0], [1.0, 4.0, 3.0], [1.0, 7.0, 2.0]];
        let y = terms.map(|[one, a, b]| 2.0 * one + 3.0 * a - b);
        let plane = fit_terms(&terms, &y).unwrap();
        let off = plane.parameters.iter().zip([2.0, 3.0, -1.0]).map(|(p, known)| (p - known).abs());
        assert!(off.fold(0.0, f64::max) < 1e-12 && plane.residual_sd < 1e-12, "{plane:?}");
    }

    #[test]
    fn refuses_what_it_cannot_determine() {
        let doubled = [[1.0, 2.0], [2.0, 4.0], [3.0, 6.0]];
        assert_eq!(fit_terms(&doubled, &[1.0, 2.0, 4.0]), Err(MathsError::Undetermined));
        assert_eq!(fit_terms(&doubled, &[1.0]), Err(MathsError::LengthsDiffer { left: 3, right: 1 }));
        assert_eq!(fit_terms(&doubled, &[1.0, f64::NAN, 2.0]), Err(MathsError::NotFinite));
        assert_eq!(fit_terms(&doubled[..2], &[1.0, 2.0]), Err(MathsError::TooFew { given: 2, needed: 3 }));
    }
}
