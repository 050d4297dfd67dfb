//! One pair of axes: curves over time with the bands and limits that they are judged by.
//!
//! A sheet has several panels over one time axis: the whole course, a closer look at the working range, and one for
//! each quantity that is no temperature.
//!
//! Never chooses its range or its place; the sheet does.

use model::{Span, Timestamp};
use plotters::coord::Shift;
use plotters::coord::cartesian::Cartesian2d;
use plotters::coord::types::{RangedCoordf64, RangedCoordi64};
use plotters::element::{Circle, PathElement, Polygon};
use plotters::prelude::DrawingArea;
use plotters::style::Color;

use crate::canvas::{CANNOT_FAIL, Canvas, Hold, stroke};
use crate::degrees::Degrees;
use crate::ink::{Ink, units};
use crate::palette::Role;
use crate::sheet::ReferencePoint;
use crate::thin::{Point, Runs, clip, thin};
use crate::ticks::value_ticks;

/// Readings further apart than this, and than [`SPARSE_PIXELS`], are drawn as the single readings that they are.
const SPARSE: Span = Span::from_secs(60);
const SPARSE_PIXELS: f64 = 6.0;

/// Pixels of a column that is thinned to its first, last, lowest and highest point.
const COLUMN_PIXELS: f64 = 4.0;

/// A line of values is labelled about every so many pixels.
const TICK_PIXELS: f64 = 34.0;

/// The time axis that all panels of a sheet share.
#[derive(Debug, Clone, Copy)]
pub(crate) struct TimeAxis {
    pub(crate) from: Timestamp,
    pub(crate) to: Timestamp,
    pub(crate) left: f64,
    pub(crate) right: f64,
}

impl TimeAxis {
    /// Pixel of a moment, held inside the axis.
    pub(crate) fn x(&self, at: Timestamp) -> f64 {
        let share = (at - self.from).as_millis() as f64 / (self.to - self.from).as_millis().max(1) as f64;
        self.left + share.clamp(0.0, 1.0) * (self.right - self.left)
    }

    pub(crate) fn holds(&self, at: Timestamp) -> bool {
        self.from <= at && at <= self.to
    }

    /// Column of a moment. Four points stay of each column of four pixels: never more points than pixels.
    fn column(&self, millis: i64) -> i64 {
        (self.x(Timestamp::from_millis(millis)) / COLUMN_PIXELS).floor() as i64
    }
}

/// A curve to draw.
pub(crate) struct Curve {
    pub(crate) role: Role,
    pub(crate) width: f64,
    pub(crate) runs: Runs,
    /// Does the value stay until the next reading, as a set-point does?
    pub(crate) steps: bool,
}

/// A range that is shaded, with its name.
pub(crate) struct Shade {
    pub(crate) name: String,
    pub(crate) low: f64,
    pub(crate) high: f64,
    pub(crate) fill: Role,
    pub(crate) edge: Option<Role>,
}

/// A limit, with its name.
pub(crate) struct Rule {
    pub(crate) name: String,
    pub(crate) value: f64,
}

/// One pair of axes and what stands in it.
pub(crate) struct Panel<'s> {
    pub(crate) time: TimeAxis,
    pub(crate) top: f64,
    pub(crate) height: f64,
    pub(crate) low: f64,
    pub(crate) high: f64,
    /// Of the values, for the head of the axis.
    pub(crate) unit: &'s str,
    /// In which its values are read; °C also stands for what is no temperature and is read as it is.
    pub(crate) degrees: Degrees,
    pub(crate) letters: f64,
    /// Is there room for names to the right of the panel? Without it they stand in the key.
    pub(crate) margin: bool,
    pub(crate) shades: Vec<Shade>,
    pub(crate) rules: Vec<Rule>,
    pub(crate) reference: &'s [ReferencePoint],
    pub(crate) curves: Vec<&'s Curve>,
    pub(crate) gaps: &'s [(Timestamp, Timestamp)],
    /// Moments with a line down the panel.
    pub(crate) moments: Vec<(Timestamp, Role)>,
    /// Moments of the time axis.
    pub(crate) ticks: Vec<Timestamp>,
}

type Axes<'a> = DrawingArea<Ink<'a>, Cartesian2d<RangedCoordi64, RangedCoordf64>>;

impl Panel<'_> {
    pub(crate) fn bottom(&self) -> f64 {
        self.top + self.height
    }

    fn y(&self, value: f64) -> f64 {
        let share = (value - self.low) / (self.high - self.low);
        self.bottom() - share.clamp(0.0, 1.0) * self.height
    }

    pub(crate) fn draw(&self, canvas: &Canvas<'_>) {
        self.draw_ground(canvas);
        let axes =
            self.axes(&canvas.cut(self.time.left, self.top, self.time.right - self.time.left, self.height));
        self.draw_reference(&axes);
        for (at, role) in &self.moments {
            let x = self.time.x(*at);
            canvas.light_line((x, self.top), (x, self.bottom()), *role);
        }
        for curve in &self.curves {
            self.draw_curve(&axes, curve);
        }
        self.draw_names(canvas);
        canvas.frame(self.time.left, self.top, self.time.right, self.bottom(), Role::Faint);
    }

    fn axes<'a>(&self, area: &DrawingArea<Ink<'a>, Shift>) -> Axes<'a> {
        let (columns, rows) = area.get_pixel_range();
        let moments = self.time.from.as_millis()..self.time.to.as_millis();
        area.apply_coord_spec(Cartesian2d::new(moments, self.low..self.high, (columns, rows.end..rows.start)))
    }

    fn draw_ground(&self, canvas: &Canvas<'_>) {
        let (left, right) = (self.time.left, self.time.right);
        for shade in self.shades.iter().filter(|s| self.low < s.high && s.low < self.high) {
            canvas.fill(left, self.y(shade.high), right, self.y(shade.low), shade.fill);
        }
        for at in &self.ticks {
            let x = self.time.x(*at);
            canvas.line((x, self.top), (x, self.bottom()), Role::Grid, 1.0);
        }
        let most = (self.height / TICK_PIXELS).floor().max(3.0) as usize;
        let (low, high) = (self.degrees.of(self.low), self.degrees.of(self.high));
        let (values, decimals) = value_ticks(low, high, most);
        for value in values {
            let y = self.y(self.degrees.to_celsius(value));
            canvas.line((left, y), (right, y), Role::Grid, 1.0);
            canvas.text(
                &format!("{value:.decimals$}"),
                left - 6.0,
                y,
                self.letters,
                Hold::Right,
                Role::Quiet,
            );
        }
        for shade in &self.shades {
            let Some(edge) = shade.edge else { continue };
            for value in [shade.low, shade.high].into_iter().filter(|v| self.low < *v && *v < self.high) {
                canvas.line((left, self.y(value)), (right, self.y(value)), edge, 0.8);
            }
        }
        for rule in self.rules.iter().filter(|r| self.low < r.value && r.value < self.high) {
            canvas.line((left, self.y(rule.value)), (right, self.y(rule.value)), Role::Limit, 1.0);
        }
        for (from, to) in self.gaps {
            let (x0, x1) = (self.time.x(*from), self.time.x(*to));
            if 1.0 < x1 - x0 {
                canvas.hatch(x0, self.top, x1, self.bottom(), Role::Gap);
            }
        }
    }

    fn draw_reference(&self, axes: &Axes<'_>) {
        let points: Vec<&ReferencePoint> = self.reference.iter().filter(|p| self.time.holds(p.at)).collect();
        let held = |value: f64| value.clamp(self.low, self.high);
        let upper = points.iter().map(|p| (p.at.as_millis(), held(p.high)));
        let lower = points.iter().rev().map(|p| (p.at.as_millis(), held(p.low)));
        let outline: Vec<Point> = upper.chain(lower).collect();
        if outline.len() < 4 {
            return;
        }
        axes.draw(&Polygon::new(outline, Role::Envelope.color().mix(0.7).filled())).expect(CANNOT_FAIL);
        let median: Vec<Point> = points.iter().map(|p| (p.at.as_millis(), p.median)).collect();
        self.draw_line(axes, &median, Role::Median, 1.2);
    }

    fn draw_curve(&self, axes: &Axes<'_>, curve: &Curve) {
        for run in &curve.runs.runs {
            let shown: Vec<Point> = if curve.steps { stairs(run) } else { run.clone() };
            let sparse = self.is_sparse(curve);
            self.draw_line(axes, &shown, curve.role, if sparse { curve.width * 0.5 } else { curve.width });
            if sparse || run.len() == 1 {
                for point in run.iter().filter(|p| self.low <= p.1 && p.1 <= self.high) {
                    let dot = Circle::new(*point, units(curve.width * 1.3), curve.role.color().filled());
                    axes.draw(&dot).expect(CANNOT_FAIL);
                }
            }
        }
    }

    /// Are the readings so few that each should be seen?
    fn is_sparse(&self, curve: &Curve) -> bool {
        let pixels_a_milli =
            (self.time.right - self.time.left) / (self.time.to - self.time.from).as_millis().max(1) as f64;
        let apart = curve.runs.interval.as_millis() as f64 * pixels_a_milli;
        !curve.steps && SPARSE <= curve.runs.interval && SPARSE_PIXELS <= apart
    }

    fn draw_line(&self, axes: &Axes<'_>, points: &[Point], role: Role, width: f64) {
        let (from, to) = (self.time.from.as_millis(), self.time.to.as_millis());
        let first = points.partition_point(|p| p.0 < from);
        let last = points.partition_point(|p| p.0 <= to);
        let thinned = thin(&points[first..last.max(first)], |millis| self.time.column(millis));
        for part in clip(&thinned, self.low, self.high) {
            if 1 < part.len() {
                axes.draw(&PathElement::new(part, stroke(role, width))).expect(CANNOT_FAIL);
            }
        }
    }

    fn draw_names(&self, canvas: &Canvas<'_>) {
        if !self.unit.is_empty() {
            let x = self.time.left - 6.0;
            canvas.text(self.unit, x, self.top - 11.0, self.letters, Hold::Right, Role::Quiet);
        }
        if self.margin {
            self.draw_margin(canvas);
        }
    }

    /// Names of bands and limits beside the panel, kept apart, each with a line to its place.
    fn draw_margin(&self, canvas: &Canvas<'_>) {
        let shades = self
            .shades
            .iter()
            .map(|s| (s.name.as_str(), (s.low.max(self.low) + s.high.min(self.high)) / 2.0));
        let rules = self.rules.iter().map(|r| (r.name.as_str(), r.value));
        let mut names: Vec<(&str, f64)> =
            shades.chain(rules).filter(|(_, v)| self.low < *v && *v < self.high).collect();
        names.sort_by(|a, b| b.1.total_cmp(&a.1));
        let spacing = self.letters * 1.25;
        let wanted: Vec<f64> = names.iter().map(|(_, value)| self.y(*value)).collect();
        let places = spread(&wanted, spacing, self.top + spacing / 2.0, self.bottom() - spacing / 2.0);
        for (((name, _), anchor), y) in names.iter().zip(&wanted).zip(places) {
            let x = self.time.right;
            canvas.path(&[(x, *anchor), (x + 6.0, *anchor), (x + 10.0, y)], Role::Faint, 1.0);
            canvas.text(name, x + 13.0, y, self.letters, Hold::Left, Role::Quiet);
        }
    }
}

/// A line that stays at each value until the next.
fn stairs(points: &[Point]) -> Vec<Point> {
    let mut stairs = Vec::with_capacity(points.len() * 2);
    for (place, point) in points.iter().enumerate() {
        if let Some(before) = place.checked_sub(1).map(|before| points[before]) {
            stairs.push((point.0, before.1));
        }
        stairs.push(*point);
    }
    stairs
}

/// Moves labels, sorted from top to bottom, apart by `spacing`, within `top` and `bottom` as far as there is room.
pub(crate) fn spread(wanted: &[f64], spacing: f64, top: f64, bottom: f64) -> Vec<f64> {
    let mut places: Vec<f64> = wanted.to_vec();
    let mut floor = top;
    for place in &mut places {
        *place = place.max(floor);
        floor = *place + spacing;
    }
    let mut ceiling = bottom;
    for place in places.iter_mut().rev() {
        *place = place.min(ceiling);
        ceiling = *place - spacing;
    }
    places
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_keep_their_distance() {
        assert_eq!(spread(&[10.0, 11.0, 50.0], 14.0, 7.0, 60.0), [10.0, 24.0, 50.0]);
        assert_eq!(spread(&[50.0, 55.0, 58.0], 14.0, 7.0, 60.0), [32.0, 46.0, 60.0]);
    }

    #[test]
    fn a_set_point_is_a_stair() {
        assert_eq!(stairs(&[(0, 45.0), (10, 31.5)]), [(0, 45.0), (10, 45.0), (10, 31.5)]);
    }
}
