//! Level before and a parabola after: the hinge that is fitted around a foot, and where it leaves its level.

use super::departure::{FEWEST_POINTS, LEFT};

/// Fitted points: a few hundred are plenty and keep a search over all `t₀` short.
const MOST_POINTS: usize = 240;

fn thinned(points: Vec<(f64, f64)>) -> Vec<(f64, f64)> {
    let step = points.len().div_ceil(MOST_POINTS).max(1);
    points.into_iter().step_by(step).collect()
}

/// Where the best hinge leaves its level, for points whose move goes up.
pub(super) fn hinge(points: Vec<(f64, f64)>, tilted: bool) -> Option<f64> {
    let points = &thinned(points)[..];
    if points.len() < FEWEST_POINTS {
        return None;
    }
    let candidates = &points[2..points.len() - 4];
    let fits = candidates.iter().filter_map(|&(t0, _)| Hinge::at(points, t0, tilted));
    fits.min_by(|a, b| a.misfit.total_cmp(&b.misfit)).map(|best| best.leaves())
}

/// A hinge fitted at one `t₀`.
struct Hinge {
    t0: f64,
    slope: f64,
    bend: f64,
    misfit: f64,
}

impl Hinge {
    /// `None` if the points do not determine it or the move it finds does not go up.
    fn at(points: &[(f64, f64)], t0: f64, tilted: bool) -> Option<Hinge> {
        let basis = |t: f64| {
            let h = (t - t0).max(0.0);
            [1.0, h, h * h, if tilted { t } else { 0.0 }]
        };
        let size = if tilted { 4 } else { 3 };
        let mut normal = [[0.0; 5]; 4];
        let mut squares = 0.0;
        for &(t, y) in points {
            let row = basis(t);
            for i in 0..size {
                for j in 0..size {
                    normal[i][j] += row[i] * row[j];
                }
                normal[i][4] += row[i] * y;
            }
            squares += y * y;
        }
        let right: [f64; 4] = std::array::from_fn(|i| normal[i][4]);
        let fitted = solve(&mut normal, size)?;
        let explained: f64 = (0..size).map(|i| fitted[i] * right[i]).sum();
        let (slope, bend, end) = (fitted[1], fitted[2], points.last()?.0 - t0);
        let goes_up = slope * end + bend * end * end > 0.0 && slope > -0.02;
        goes_up.then_some(Hinge { t0, slope, bend, misfit: squares - explained })
    }

    /// Where the move is [`LEFT`] away from the level: the first root of `b·h + c·h² = LEFT`.
    fn leaves(&self) -> f64 {
        let slope = self.slope.max(0.0);
        let root = (slope * slope + 4.0 * self.bend * LEFT).max(0.0).sqrt();
        let h = 2.0 * LEFT / (slope + root);
        if h.is_finite() { self.t0 + h } else { self.t0 }
    }
}

/// Gaussian elimination with row exchange; `None` where the points do not determine the hinge.
fn solve(normal: &mut [[f64; 5]; 4], size: usize) -> Option<[f64; 4]> {
    for column in 0..size {
        let pivot =
            (column..size).max_by(|&a, &b| normal[a][column].abs().total_cmp(&normal[b][column].abs()))?;
        normal.swap(column, pivot);
        if !(normal[column][column].abs() > 1e-12) {
            return None;
        }
        for row in 0..size {
            if row != column {
                let factor = normal[row][column] / normal[column][column];
                let upper = normal[column];
                normal[row].iter_mut().zip(upper).for_each(|(cell, above)| *cell -= factor * above);
            }
        }
    }
    Some(std::array::from_fn(|i| if i < size { normal[i][4] / normal[i][i] } else { 0.0 }))
}
