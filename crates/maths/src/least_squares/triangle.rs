//! A tall linear system, made a triangle by Householder reflections (Golub 1965), and what the triangle is good for.

use crate::error::MathsError;

/// Below this share of its length before the reflections, a column adds nothing that the others do not already say.
const RANK_TOLERANCE: f64 = 1e-13;

/// Length of a step when each parameter is measured by its influence.
pub(super) fn scaled_length<const P: usize>(step: &[f64; P], scale: &[f64; P]) -> f64 {
    step.iter().zip(scale).map(|(s, d)| (s * d).powi(2)).sum::<f64>().sqrt()
}

/// A tall system `A x ≈ b`, row by row.
#[derive(Debug, Default)]
pub(super) struct TallSystem<const P: usize> {
    pub(super) rows: Vec<([f64; P], f64)>,
}

impl<const P: usize> TallSystem<P> {
    pub(super) fn push(&mut self, coefficients: [f64; P], right: f64) {
        self.rows.push((coefficients, right));
    }

    /// Householder reflections in place; the first P rows are then the triangle.
    pub(super) fn reduce(&mut self) -> Triangle<P> {
        while self.rows.len() < P {
            self.rows.push(([0.0; P], 0.0));
        }
        for column in 0..P {
            self.reflect(column);
        }
        let mut triangle = Triangle { rows: [[0.0; P]; P], right: [0.0; P] };
        for (i, (row, right)) in self.rows.iter().take(P).enumerate() {
            triangle.rows[i][i..].copy_from_slice(&row[i..]);
            triangle.right[i] = *right;
        }
        triangle
    }

    /// Turns everything below the diagonal of one column to zero. The column itself holds the reflector meanwhile.
    fn reflect(&mut self, column: usize) {
        let rest = &mut self.rows[column..];
        let norm = rest.iter().map(|(row, _)| row[column] * row[column]).sum::<f64>().sqrt();
        if !(0.0 < norm) {
            return;
        }
        let diagonal = if 0.0 < rest[0].0[column] { -norm } else { norm };
        rest[0].0[column] -= diagonal;
        // Half the square of the reflector's length follows from the norm alone.
        let half_square = -diagonal * rest[0].0[column];
        for other in column + 1..P {
            let along = rest.iter().map(|(row, _)| row[column] * row[other]).sum::<f64>() / half_square;
            for (row, _) in rest.iter_mut() {
                row[other] -= along * row[column];
            }
        }
        let along = rest.iter().map(|(row, right)| row[column] * right).sum::<f64>() / half_square;
        for (row, right) in rest.iter_mut() {
            *right -= along * row[column];
            row[column] = 0.0;
        }
        rest[0].0[column] = diagonal;
    }
}

/// An upper triangle R with its right side: `R x = c` has the least squares solution of the tall system.
#[derive(Debug, Clone, Copy)]
pub(super) struct Triangle<const P: usize> {
    rows: [[f64; P]; P],
    right: [f64; P],
}

impl<const P: usize> Triangle<P> {
    pub(super) fn column_norms(&self) -> [f64; P] {
        std::array::from_fn(|column| {
            self.rows.iter().map(|row| row[column] * row[column]).sum::<f64>().sqrt()
        })
    }

    /// The step with `√damping · scale` as further rows, and its length on that scale. A parameter without any influence
    /// makes it infinite.
    pub(super) fn damped_step(
        &self,
        damping: f64,
        scale: &[f64; P],
        system: &mut TallSystem<P>,
    ) -> Result<([f64; P], f64), MathsError> {
        system.rows.clear();
        for (row, right) in self.rows.iter().zip(self.right) {
            system.push(*row, right);
        }
        for (i, size) in scale.iter().enumerate() {
            let mut row = [0.0; P];
            row[i] = damping.sqrt() * size;
            system.push(row, 0.0);
        }
        let step = system.reduce().solve();
        let length = scaled_length(&step, scale);
        if length.is_finite() { Ok((step, length)) } else { Err(MathsError::Undetermined) }
    }

    /// Back substitution; an element that nothing determines comes out infinite or NaN, for the caller to refuse.
    pub(super) fn solve(&self) -> [f64; P] {
        let mut solution = [0.0; P];
        for i in (0..P).rev() {
            let known: f64 = (i + 1..P).map(|j| self.rows[i][j] * solution[j]).sum();
            solution[i] = (self.right[i] - known) / self.rows[i][i];
        }
        solution
    }

    /// How much the step would lower the sum of squares if the curve were linear: `‖R δ‖² + 2λ‖D δ‖²`.
    pub(super) fn promised_gain(&self, step: &[f64; P], damping: f64, scale: &[f64; P]) -> f64 {
        let along = |row: &[f64; P]| row.iter().zip(step).map(|(r, s)| r * s).sum::<f64>();
        let moved: f64 = self.rows.iter().map(|row| along(row).powi(2)).sum();
        moved + 2.0 * damping * scaled_length(step, scale).powi(2)
    }

    /// `(RᵀR)⁻¹`; `None` when a column is a mixture of the others to within rounding.
    pub(super) fn inverse_of_square(&self) -> Option<[[f64; P]; P]> {
        let norms = self.column_norms();
        if !(0..P).all(|j| RANK_TOLERANCE * norms[j] < self.rows[j][j].abs()) {
            return None;
        }
        // Column j of R⁻¹ solves R x = e_j.
        let inverse: [[f64; P]; P] = std::array::from_fn(|j| {
            let mut unit = Triangle { rows: self.rows, right: [0.0; P] };
            unit.right[j] = 1.0;
            unit.solve()
        });
        Some(std::array::from_fn(|a| {
            std::array::from_fn(|b| (0..P).map(|j| inverse[j][a] * inverse[j][b]).sum())
        }))
    }
}
