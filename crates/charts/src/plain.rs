//! Axes without a clock: values over a running number or over minutes, for control charts, overlays and small multiples.
//!
//! Never chooses its range; whoever draws does.

use crate::canvas::{Canvas, Hold};
use crate::palette::Role;
use crate::ticks::value_ticks;

/// A line of values is labelled about every so many pixels.
const TICK_PIXELS: f64 = 34.0;

/// A plot's place on its sheet, in pixels, and what its edges stand for.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Plot {
    pub(crate) left: f64,
    pub(crate) right: f64,
    pub(crate) top: f64,
    pub(crate) bottom: f64,
    pub(crate) x_range: (f64, f64),
    pub(crate) y_range: (f64, f64),
}

impl Plot {
    pub(crate) fn x(&self, value: f64) -> f64 {
        let (low, high) = self.x_range;
        self.left + (value - low) / (high - low).max(f64::MIN_POSITIVE) * (self.right - self.left)
    }

    /// Held inside the plot.
    pub(crate) fn y(&self, value: f64) -> f64 {
        let (low, high) = self.y_range;
        let share = (value - low) / (high - low).max(f64::MIN_POSITIVE);
        self.bottom - share.clamp(0.0, 1.0) * (self.bottom - self.top)
    }

    pub(crate) fn holds_x(&self, value: f64) -> bool {
        self.x_range.0 <= value && value <= self.x_range.1
    }

    /// Lines across at round values, with their numbers to the left.
    pub(crate) fn draw_values(&self, canvas: &Canvas<'_>, letters: f64) {
        let most = ((self.bottom - self.top) / TICK_PIXELS).floor().max(2.0) as usize;
        let (values, decimals) = value_ticks(self.y_range.0, self.y_range.1, most);
        for value in values {
            let y = self.y(value);
            canvas.line((self.left, y), (self.right, y), Role::Grid, 1.0);
            canvas.text(
                &format!("{value:.decimals$}"),
                self.left - 6.0,
                y,
                letters,
                Hold::Right,
                Role::Quiet,
            );
        }
    }

    pub(crate) fn draw_frame(&self, canvas: &Canvas<'_>) {
        canvas.frame(self.left, self.top, self.right, self.bottom, Role::Faint);
    }

    /// A line through `points`, cut where a point is missing; of each pixel column its extremes stay.
    pub(crate) fn draw_curve(
        &self,
        canvas: &Canvas<'_>,
        points: &[(f64, f64)],
        longest_step: f64,
        role: Role,
        width: f64,
    ) {
        let inside: Vec<(f64, f64)> = points.iter().copied().filter(|(x, _)| self.holds_x(*x)).collect();
        for run in inside.chunk_by(|a, b| b.0 - a.0 <= longest_step) {
            let pixels: Vec<(f64, f64)> = run.iter().map(|(x, y)| (self.x(*x), self.y(*y))).collect();
            if 1 < pixels.len() {
                canvas.path(&thinned(&pixels), role, width);
            }
        }
    }
}

/// First, lowest, highest and last of each pixel column.
fn thinned(pixels: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut kept: Vec<(f64, f64)> = Vec::new();
    for column in pixels.chunk_by(|a, b| a.0.floor() == b.0.floor()) {
        let place = |better: fn(f64, f64) -> bool| {
            (1..column.len()).fold(0, |best, i| if better(column[i].1, column[best].1) { i } else { best })
        };
        let mut places = vec![0, place(|a, b| a < b), place(|a, b| b < a), column.len() - 1];
        places.sort_unstable();
        places.dedup();
        kept.extend(places.into_iter().map(|i| column[i]));
    }
    kept
}

/// Lowest and highest of `values` with a little free space; `None` without values.
pub(crate) fn range(values: impl IntoIterator<Item = f64>, least: f64) -> Option<(f64, f64)> {
    let (low, high) =
        values.into_iter().filter(|value| value.is_finite()).fold(None, |range: Option<(f64, f64)>, v| {
            Some(range.map_or((v, v), |(a, b)| (a.min(v), b.max(v))))
        })?;
    let free = ((high - low) * 0.08).max((least - (high - low)) / 2.0).max(0.0);
    Some((low - free, high + free))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_range_is_never_too_narrow_and_a_column_keeps_its_extremes() {
        assert_eq!(range([31.0, 31.0], 1.0), Some((30.5, 31.5)));
        assert_eq!(range([f64::NAN], 1.0), None);
        let column = [(3.1, 5.0), (3.2, 9.0), (3.3, 1.0), (3.4, 4.0), (4.0, 4.0)];
        assert_eq!(thinned(&column), column);
        let flat: Vec<(f64, f64)> = (0..100).map(|i| (3.0 + f64::from(i) / 200.0, 5.0)).collect();
        assert_eq!(thinned(&flat), [flat[0], flat[99]]);
    }
}
