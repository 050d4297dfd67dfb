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
    let (all, mut behind) = (All::of(points), Behind::default());
    let mut best: Option<Hinge> = None;
    for place in (2..points.len() - 1).rev() {
        let (t0, (t, y)) = (points[place].0, points[place + 1]);
        behind.step_back(t - t0, y);
        if place < points.len() - 4
            && let Some(hinge) = Hinge::at(&all, &behind, t0, tilted)
            && best.as_ref().is_none_or(|best| hinge.misfit <= best.misfit)
        {
            best = Some(hinge);
        }
    }
    best.map(|best| best.leaves())
}

/// Sums over all points.
struct All {
    n: f64,
    t: f64,
    tt: f64,
    y: f64,
    ty: f64,
    yy: f64,
    end: f64,
}

impl All {
    fn of(points: &[(f64, f64)]) -> All {
        let sum = |of: fn(&(f64, f64)) -> f64| points.iter().map(of).sum::<f64>();
        All {
            n: points.len() as f64,
            t: sum(|p| p.0),
            tt: sum(|p| p.0 * p.0),
            y: sum(|p| p.1),
            ty: sum(|p| p.0 * p.1),
            yy: sum(|p| p.1 * p.1),
            end: points.last().map_or(0.0, |p| p.0),
        }
    }
}

/// Sums over the points behind a `t₀`, by their distances `h` from it: those of its powers, and of `y` times them. Going back, they are only added to,
/// so that nothing is lost in them.
#[derive(Default)]
struct Behind {
    h: [f64; 5],
    y: [f64; 3],
}

impl Behind {
    /// The next `t₀` is earlier by `d`; the one before counts as a point with its `y`.
    fn step_back(&mut self, d: f64, y: f64) {
        let [n, h, hh, hhh, hhhh] = self.h;
        let moved = [
            n,
            h + d * n,
            hh + d * (2.0 * h + d * n),
            hhh + d * (3.0 * hh + d * (3.0 * h + d * n)),
            hhhh + d * (4.0 * hhh + d * (6.0 * hh + d * (4.0 * h + d * n))),
        ];
        let [y0, y1, y2] = self.y;
        let of_the_one_before = [1.0, d, d * d, d * d * d, d * d * d * d];
        self.h = std::array::from_fn(|power| moved[power] + of_the_one_before[power]);
        self.y = [y0 + y, y1 + d * (y0 + y), y2 + d * (2.0 * y1 + d * (y0 + y))];
    }
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
    fn at(all: &All, behind: &Behind, t0: f64, tilted: bool) -> Option<Hinge> {
        let size = if tilted { 4 } else { 3 };
        // Of 1, h, h² and, where it is tilted, t, each times each and times y.
        let [_, h, hh, hhh, hhhh] = behind.h;
        let [_, hy, hhy] = behind.y;
        let (th, thh) = (t0 * h + hh, t0 * hh + hhh);
        let mut normal = [
            [all.n, h, hh, all.t, all.y],
            [h, hh, hhh, th, hy],
            [hh, hhh, hhhh, thh, hhy],
            [all.t, th, thh, all.tt, all.ty],
        ];
        let right: [f64; 4] = std::array::from_fn(|i| normal[i][4]);
        let fitted = solve(&mut normal, size)?;
        let explained: f64 = (0..size).map(|i| fitted[i] * right[i]).sum();
        let (slope, bend, end) = (fitted[1], fitted[2], all.end - t0);
        let goes_up = slope * end + bend * end * end > 0.0 && slope > -0.02;
        goes_up.then_some(Hinge { t0, slope, bend, misfit: all.yy - explained })
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
