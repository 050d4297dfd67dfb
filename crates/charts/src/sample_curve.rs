//! The cooling curve of a sample: temperature over minutes, with the inflection marked. Never reads a curve; whoever asks says where it bends.

use crate::Degrees;
use crate::canvas::{Canvas, Hold};
use crate::palette::Role;
use crate::plain::{Plot, range};
use crate::svg::Frame;
use crate::ticks::value_ticks;

const LETTERS: f64 = 12.0;
/// A curve that flattens out still has so many degrees around it.
const LEAST_RANGE: f64 = 2.0;
/// A line across the minutes is labelled about every so many pixels.
const TICK_PIXELS: f64 = 70.0;

/// A sample's curve.
#[derive(Debug, Clone)]
pub struct SampleCurve<'a> {
    /// What it shows: `Sample of Alder, 10:20`.
    pub title: &'a str,
    /// Seconds and °C.
    pub points: &'a [(f64, f64)],
    /// Where it is bent most: seconds and °C.
    pub inflection: Option<(f64, f64)>,
    /// In which its reader reads.
    pub degrees: Degrees,
    /// Width and height in pixels.
    pub size: (u32, u32),
}

impl SampleCurve<'_> {
    /// The curve as a whole SVG document.
    pub fn svg(&self) -> String {
        let (width, height) = self.size;
        let points: Vec<(f64, f64)> = self
            .points
            .iter()
            .map(|(seconds, celsius)| (seconds / 60.0, self.degrees.of(*celsius)))
            .collect();
        let x_range = points.first().zip(points.last()).map_or((0.0, 1.0), |(first, last)| (first.0, last.0));
        let mut drawing = String::new();
        let canvas = Canvas::new(&mut drawing, width, height);
        canvas.fill(0.0, 0.0, f64::from(width), f64::from(height), Role::Paper);
        canvas.bold(self.title, 8.0, 15.0, 14.0, Hold::Left, Role::Ink);
        if let Some(y_range) = range(points.iter().map(|point| point.1), LEAST_RANGE) {
            let plot = Plot {
                left: 46.0,
                right: f64::from(width) - 12.0,
                top: 42.0,
                bottom: f64::from(height) - 36.0,
                x_range,
                y_range,
            };
            plot.draw_values(&canvas, LETTERS);
            draw_minutes(&canvas, &plot);
            canvas.text(
                self.degrees.unit(),
                plot.left - 6.0,
                plot.top - 13.0,
                LETTERS,
                Hold::Right,
                Role::Quiet,
            );
            plot.draw_curve(&canvas, &points, f64::INFINITY, Role::Cocoa, 2.0);
            self.mark(&canvas, &plot);
            plot.draw_frame(&canvas);
        }
        drop(canvas);
        let frame = Frame {
            class: "hd-sample",
            width,
            height,
            title: self.title,
            sentence: &self.sentence(x_range.1 - x_range.0),
            data: &[],
        };
        frame.around(&drawing)
    }

    fn mark(&self, canvas: &Canvas<'_>, plot: &Plot) {
        let Some((seconds, celsius)) = self.inflection else { return };
        let value = self.degrees.of(celsius);
        let (x, y) = (plot.x(seconds / 60.0), plot.y(value));
        canvas.line((x, plot.top), (x, plot.bottom), Role::Event, 1.0);
        canvas.line((plot.left, y), (x, y), Role::Event, 1.0);
        let says = format!("inflection, {value:.1} {}", self.degrees.unit());
        let is_left = x < (plot.left + plot.right) / 2.0;
        let (place, hold) = if is_left { (x + 6.0, Hold::Left) } else { (x - 6.0, Hold::Right) };
        canvas.bold(&says, place, plot.top + 12.0, LETTERS, hold, Role::Ink);
    }

    fn sentence(&self, minutes: f64) -> String {
        let values = || self.points.iter().map(|(_, celsius)| self.degrees.of(*celsius));
        let unit = self.degrees.unit();
        let mut told = vec![format!("{}: temperature of the sample over {minutes:.0} min.", self.title)];
        if let (Some(high), Some(low)) = (values().reduce(f64::max), values().reduce(f64::min)) {
            told.push(format!("From {high:.1} down to {low:.1} {unit}."));
        }
        told.push(match self.inflection {
            Some((seconds, celsius)) => format!(
                "Inflection after {:.1} min at {:.1} {unit}.",
                seconds / 60.0,
                self.degrees.of(celsius)
            ),
            None => "No inflection stands out.".to_owned(),
        });
        told.join(" ")
    }
}

fn draw_minutes(canvas: &Canvas<'_>, plot: &Plot) {
    let most = ((plot.right - plot.left) / TICK_PIXELS).floor().max(2.0) as usize;
    let (values, decimals) = value_ticks(plot.x_range.0, plot.x_range.1, most);
    for value in values {
        let x = plot.x(value);
        canvas.line((x, plot.top), (x, plot.bottom), Role::Grid, 1.0);
        canvas.text(
            &format!("{value:.decimals$}"),
            x,
            plot.bottom + 12.0,
            LETTERS,
            Hold::Middle,
            Role::Quiet,
        );
    }
    let middle = (plot.left + plot.right) / 2.0;
    canvas.text("minutes", middle, plot.bottom + 27.0, LETTERS, Hold::Middle, Role::Quiet);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_curve_says_in_words_what_it_shows() {
        let points: Vec<(f64, f64)> =
            (0..60).map(|n| (f64::from(n) * 10.0, 32.0 - f64::from(n) * 0.3)).collect();
        let curve = SampleCurve {
            title: "Sample of Alder, 10:20",
            points: &points,
            inflection: Some((240.0, 24.8)),
            degrees: Degrees::Celsius,
            size: (640, 260),
        };
        let svg = curve.svg();
        assert!(svg.contains("Sample of Alder, 10:20: temperature of the sample over 10 min."), "{svg}");
        assert!(svg.contains("From 32.0 down to 14.3 °C. Inflection after 4.0 min at 24.8 °C."));
        assert!(SampleCurve { inflection: None, ..curve }.svg().contains("No inflection stands out."));
    }
}
