//! Small multiples: many courses on one scale, each in a field of its own, the usual course behind every one.
//!
//! The eye compares fields faster than lines in one heap. All fields share both axes; a field that needs somebody has a
//! heavier frame and a word.
//!
//! Never decides which field needs somebody.

use model::Band;

use crate::canvas::{Canvas, Hold};
use crate::ink::{shortened, text_width};
use crate::overlay::BandAt;
use crate::palette::Role;
use crate::plain::{Plot, range};
use crate::svg::Frame;
use crate::ticks::value_ticks;

const LETTERS: f64 = 11.0;
const GAP: f64 = 10.0;
const HEAD: f64 = 16.0;
const LEFT: f64 = 34.0;
const FOOT: f64 = 30.0;
const TOP: f64 = 28.0;

/// Points further apart than this leave a gap, minutes.
const GAP_MIN: f64 = 15.0;

/// One field.
#[derive(Debug, Clone, PartialEq)]
pub struct Field {
    /// Over the field: `Mon 23`.
    pub label: String,
    /// What needs somebody, in a word or two.
    pub mark: Option<String>,
    /// Minutes since the start of cooling, and the value.
    pub points: Vec<(f64, f64)>,
}

/// Many courses on one scale.
#[derive(Debug, Clone)]
pub struct Multiples<'a> {
    /// What they show.
    pub title: &'a str,
    /// Of the values.
    pub unit: &'a str,
    /// In reading order.
    pub fields: &'a [Field],
    /// The usual course.
    pub band: &'a [BandAt],
    /// Where the chocolate is worked.
    pub working: Option<Band>,
    /// First and last minute shown.
    pub minutes: (f64, f64),
    /// Fields in a row.
    pub columns: usize,
    /// Width of the whole in pixels.
    pub width: u32,
}

impl Multiples<'_> {
    /// The fields as a whole SVG document.
    pub fn svg(&self) -> String {
        let columns = self.columns.max(1);
        let rows = self.fields.len().div_ceil(columns).max(1);
        let field = (f64::from(self.width) - LEFT - 6.0 - GAP * (columns - 1) as f64) / columns as f64;
        let field_height = (field * 0.62).clamp(54.0, 130.0);
        let height = TOP + rows as f64 * (HEAD + field_height + GAP) + FOOT;
        let height = height.ceil() as u32;
        let mut drawing = String::new();
        let canvas = Canvas::new(&mut drawing, self.width, height);
        canvas.fill(0.0, 0.0, f64::from(self.width), f64::from(height), Role::Paper);
        canvas.bold(self.title, 4.0, 13.0, 13.0, Hold::Left, Role::Ink);
        let values = self.fields.iter().flat_map(|field| &field.points).map(|point| point.1);
        let band = self.band.iter().flat_map(|(_, low, _, high)| [*low, *high]);
        if let Some(y_range) = range(values.chain(band), 4.0) {
            for (place, cell) in self.fields.iter().enumerate() {
                let (column, row) = (place % columns, place / columns);
                let left = LEFT + column as f64 * (field + GAP);
                let top = TOP + row as f64 * (HEAD + field_height + GAP) + HEAD;
                let plot = Plot {
                    left,
                    right: left + field,
                    top,
                    bottom: top + field_height,
                    x_range: self.minutes,
                    y_range,
                };
                let is_last = self.fields.len() <= place + columns;
                self.draw_field(&canvas, &plot, cell, column == 0, is_last);
            }
        } else {
            canvas.text("No courses.", LEFT, TOP + 20.0, LETTERS, Hold::Left, Role::Quiet);
        }
        let says = format!("{}, over hours since the start of cooling", self.unit);
        canvas.text(&says, LEFT, f64::from(height) - 8.0, LETTERS, Hold::Left, Role::Quiet);
        drop(canvas);
        let sentence = self.sentence();
        Frame {
            class: "hd-multiples",
            width: self.width,
            height,
            title: self.title,
            sentence: &sentence,
            data: &[],
        }
        .around(&drawing)
    }

    fn draw_field(&self, canvas: &Canvas<'_>, plot: &Plot, field: &Field, is_first: bool, is_last: bool) {
        if let Some(working) = self.working {
            canvas.fill(plot.left, plot.y(working.high()), plot.right, plot.y(working.low()), Role::Working);
        }
        let (values, decimals) = value_ticks(plot.y_range.0, plot.y_range.1, 3);
        for value in values {
            let y = plot.y(value);
            canvas.line((plot.left, y), (plot.right, y), Role::Grid, 0.8);
            if is_first {
                canvas.text(
                    &format!("{value:.decimals$}"),
                    plot.left - 5.0,
                    y,
                    LETTERS,
                    Hold::Right,
                    Role::Quiet,
                );
            }
        }
        if is_last {
            let (hours, decimals) = value_ticks(self.minutes.0 / 60.0, self.minutes.1 / 60.0, 3);
            for hour in hours {
                let x = plot.x(hour * 60.0);
                canvas.text(
                    &format!("{hour:.decimals$}"),
                    x,
                    plot.bottom + 10.0,
                    LETTERS,
                    Hold::Middle,
                    Role::Quiet,
                );
            }
        }
        let inside: Vec<&BandAt> = self.band.iter().filter(|(x, ..)| plot.holds_x(*x)).collect();
        if 1 < inside.len() {
            let upper = inside.iter().map(|(x, _, _, high)| (plot.x(*x), plot.y(*high)));
            let lower = inside.iter().rev().map(|(x, low, _, _)| (plot.x(*x), plot.y(*low)));
            canvas.area(&upper.chain(lower).collect::<Vec<_>>(), Role::Envelope);
            let median: Vec<(f64, f64)> = inside.iter().map(|(x, _, median, _)| (*x, *median)).collect();
            plot.draw_curve(canvas, &median, GAP_MIN, Role::Median, 0.8);
        }
        plot.draw_curve(canvas, &field.points, GAP_MIN, Role::Cocoa, 1.3);
        let y = plot.top - 8.0;
        canvas.text(&field.label, plot.left, y, LETTERS, Hold::Left, Role::Ink);
        match &field.mark {
            Some(mark) => {
                canvas.path(
                    &[
                        (plot.left, plot.top),
                        (plot.right, plot.top),
                        (plot.right, plot.bottom),
                        (plot.left, plot.bottom),
                        (plot.left, plot.top),
                    ],
                    Role::Medium,
                    1.8,
                );
                let room = plot.right - plot.left - text_width(&field.label, LETTERS) - 6.0;
                let shown = shortened(mark, LETTERS, room);
                canvas.bold(&shown, plot.right, y, LETTERS, Hold::Right, Role::Medium);
            }
            None => plot.draw_frame(canvas),
        }
    }

    fn sentence(&self) -> String {
        let marked: Vec<String> = self
            .fields
            .iter()
            .filter_map(|field| field.mark.as_ref().map(|mark| format!("{} ({mark})", field.label)))
            .collect();
        let told = if marked.is_empty() {
            "None is marked.".to_owned()
        } else {
            format!("Marked: {}.", marked.join(", "))
        };
        format!("{}: {} courses on one scale. {told}", self.title, self.fields.len())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_course_has_a_field_and_marks_are_told() {
        let field = |label: &str, mark: Option<&str>| Field {
            label: label.to_owned(),
            mark: mark.map(str::to_owned),
            points: (0..60).map(|m| (f64::from(m), 45.0 - f64::from(m) / 5.0)).collect(),
        };
        let fields = [field("Mon 23", None), field("Tue 24", Some("slow cooling")), field("Wed 25", None)];
        let multiples = Multiples {
            title: "Cedar, Milk 38 %",
            unit: "°C",
            fields: &fields,
            band: &[],
            working: None,
            minutes: (-30.0, 240.0),
            columns: 2,
            width: 500,
        };
        let svg = multiples.svg();
        assert!(svg.contains("Marked: Tue 24 (slow cooling)."));
        assert_eq!(svg.matches("stroke-width=\"1.3\"").count(), 3);
        assert!(Multiples { fields: &[], ..multiples }.svg().contains("No courses."));
    }
}
