//! A control chart: one value a batch, its centre line and limits, and every signal marked with the rule that gave it.
//!
//! Never computes a limit or a signal: whoever knows the process does, and says from how many values.

use crate::canvas::{Canvas, Hold, Shape};
use crate::ink::text_width;
use crate::palette::Role;
use crate::plain::{Plot, range};
use crate::svg::Frame;

const WIDTH: u32 = 540;
const HEIGHT: u32 = 210;
const LETTERS: f64 = 11.5;
const MARGIN_RIGHT: f64 = 70.0;

/// One value on a control chart.
#[derive(Debug, Clone, PartialEq)]
pub struct ControlPoint {
    /// What stands under it: `Mon 23`.
    pub label: String,
    /// The value.
    pub value: f64,
    /// The rule that it breaks, in a word or two (`beyond 3σ`); `None` inside.
    pub signal: Option<String>,
    /// Does it belong to the time under review, or is it what the limits were learned from?
    pub is_new: bool,
}

/// A chart of values in the order of time.
#[derive(Debug, Clone)]
pub struct ControlChart<'a> {
    /// What it shows: `Cedar, cooling`.
    pub title: &'a str,
    /// Of the values.
    pub unit: &'a str,
    /// In the order of time.
    pub points: &'a [ControlPoint],
    /// Centre, lower and upper limit; `None` where too few values are known.
    pub limits: Option<(f64, f64, f64)>,
    /// From how many values the limits come.
    pub learned_from: usize,
    /// The range that the process should stay in, if there is one.
    pub wanted: Option<(f64, f64)>,
    /// The least height of the value axis, in its unit.
    pub least_height: f64,
}

impl ControlChart<'_> {
    /// The chart as a whole SVG document.
    pub fn svg(&self) -> String {
        let mut drawing = String::new();
        let canvas = Canvas::new(&mut drawing, WIDTH, HEIGHT);
        canvas.fill(0.0, 0.0, f64::from(WIDTH), f64::from(HEIGHT), Role::Paper);
        canvas.bold(self.title, 8.0, 14.0, 13.0, Hold::Left, Role::Ink);
        let values = self.points.iter().map(|point| point.value);
        let limits = self.limits.into_iter().flat_map(|(centre, low, high)| [centre, low, high]);
        if let Some(y_range) = range(values.chain(limits), self.least_height) {
            let plot = Plot {
                left: 46.0,
                right: f64::from(WIDTH) - MARGIN_RIGHT,
                top: 40.0,
                bottom: f64::from(HEIGHT) - 26.0,
                x_range: (-0.5, self.points.len() as f64 - 0.5),
                y_range,
            };
            canvas.text(self.unit, 40.0, 28.0, LETTERS, Hold::Right, Role::Quiet);
            self.draw(&canvas, &plot);
        } else {
            canvas.text("No values.", 46.0, 100.0, LETTERS, Hold::Left, Role::Quiet);
        }
        drop(canvas);
        Frame {
            class: "hd-control",
            width: WIDTH,
            height: HEIGHT,
            title: self.title,
            sentence: &self.sentence(),
            data: &[],
        }
        .around(&drawing)
    }

    fn draw(&self, canvas: &Canvas<'_>, plot: &Plot) {
        if let Some((low, high)) = self.wanted {
            canvas.fill(plot.left, plot.y(high), plot.right, plot.y(low), Role::Working);
        }
        plot.draw_values(canvas, LETTERS);
        self.draw_limits(canvas, plot);
        let line: Vec<(f64, f64)> =
            self.points.iter().enumerate().map(|(i, p)| (plot.x(i as f64), plot.y(p.value))).collect();
        if 1 < line.len() {
            canvas.path(&line, Role::Faint, 1.2);
        }
        let mut free_from = f64::NEG_INFINITY;
        for (point, (x, y)) in self.points.iter().zip(&line) {
            let (shape, role, reach) = match (&point.signal, point.is_new) {
                (Some(_), _) => (Shape::Diamond, Role::Medium, 6.0),
                (None, true) => (Shape::Square, Role::Cocoa, 4.0),
                (None, false) => (Shape::Ring, Role::Quiet, 3.5),
            };
            canvas.shape(shape, (*x, *y), reach, role);
            let width = text_width(&point.label, LETTERS);
            if free_from < x - width / 2.0 && !point.label.is_empty() {
                canvas.text(&point.label, *x, plot.bottom + 13.0, LETTERS, Hold::Middle, Role::Quiet);
                free_from = x + width / 2.0 + 6.0;
            }
        }
        self.draw_rules(canvas, plot, &line);
        plot.draw_frame(canvas);
    }

    fn draw_limits(&self, canvas: &Canvas<'_>, plot: &Plot) {
        let Some((centre, low, high)) = self.limits else { return };
        let decimals = if high - low < 2.0 { 2 } else { 1 };
        let mut taken: Vec<f64> = Vec::new();
        for (name, value, role) in
            [("mean", centre, Role::Median), ("upper", high, Role::Limit), ("lower", low, Role::Limit)]
        {
            let y = plot.y(value);
            canvas.line((plot.left, y), (plot.right, y), role, 1.2);
            let free = taken.iter().all(|other| LETTERS < (other - y).abs());
            if free {
                let says = format!("{name} {value:.decimals$}");
                canvas.text(&says, plot.right + 5.0, y, LETTERS - 0.5, Hold::Left, Role::Quiet);
                taken.push(y);
            }
        }
    }

    /// The rule beside each signal, where it does not cover another.
    fn draw_rules(&self, canvas: &Canvas<'_>, plot: &Plot, line: &[(f64, f64)]) {
        let mut free_from = f64::NEG_INFINITY;
        for (point, (x, y)) in self.points.iter().zip(line) {
            let Some(rule) = &point.signal else { continue };
            let width = text_width(rule, LETTERS);
            let x = (x - width / 2.0).clamp(plot.left, plot.right - width);
            let above = y - 14.0;
            let y = if plot.top - 8.0 < above { above } else { y + 15.0 };
            if free_from < x {
                canvas.bold(rule, x, y, LETTERS, Hold::Left, Role::Medium);
                free_from = x + width + 8.0;
            }
        }
    }

    fn sentence(&self) -> String {
        let mut told = vec![format!("{}: {} values.", self.title, self.points.len())];
        if let Some((centre, low, high)) = self.limits {
            told.push(format!(
                "Mean {centre:.2}, limits {low:.2} and {high:.2} {}, from {} values.",
                self.unit, self.learned_from
            ));
        }
        let signals: Vec<String> = self
            .points
            .iter()
            .filter_map(|point| point.signal.as_ref().map(|rule| format!("{} ({rule})", point.label)))
            .collect();
        told.push(match signals.is_empty() {
            true => "No signal.".to_owned(),
            false => format!("Signals: {}.", signals.join(", ")),
        });
        told.join(" ")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(value: f64, signal: Option<&str>) -> ControlPoint {
        ControlPoint { label: "Mon".to_owned(), value, signal: signal.map(str::to_owned), is_new: true }
    }

    #[test]
    fn a_signal_has_its_rule_in_the_picture_and_in_words() {
        let points = [point(70.0, None), point(71.0, None), point(120.0, Some("beyond 3σ"))];
        let chart = ControlChart {
            title: "Cedar, cooling",
            unit: "min",
            points: &points,
            limits: Some((70.0, 60.0, 80.0)),
            learned_from: 20,
            wanted: None,
            least_height: 5.0,
        };
        let svg = chart.svg();
        assert!(svg.contains("Signals: Mon (beyond 3σ).") && svg.contains("from 20 values"));
        assert_eq!(svg.matches(">beyond 3σ</text>").count(), 1);
        let empty = ControlChart { points: &[], limits: None, ..chart };
        assert!(empty.svg().contains("No values."));
    }
}
