//! A curve the size of a word, for lists.
//!
//! No axes and no numbers; it shows the shape of a course against the working range, and its sentence says the rest.

use model::{Band, Timestamp};

use crate::canvas::Canvas;
use crate::palette::Role;
use crate::svg::Frame;
use crate::thin::{runs, thin};

const WIDTH: u32 = 132;
const HEIGHT: u32 = 34;

/// A curve the size of a word. [`Sparkline::svg`] draws it.
#[derive(Debug, Clone, Copy)]
pub struct Sparkline<'a> {
    /// What it shows: `Alder, batch of 2 March`.
    pub title: &'a str,
    /// From when.
    pub from: Timestamp,
    /// To when.
    pub to: Timestamp,
    /// Readings sorted by time; `None` is a missing one.
    pub readings: &'a [(Timestamp, Option<f64>)],
    /// A band to show behind it.
    pub band: Option<Band>,
}

impl Sparkline<'_> {
    /// The curve as a whole SVG document.
    pub fn svg(&self) -> String {
        let found = runs(self.readings);
        let values = || found.runs.iter().flatten().map(|point| point.1);
        let band = self.band.map(|band| (band.low(), band.high()));
        let least = values().chain(band.map(|b| b.0)).reduce(f64::min);
        let most = values().chain(band.map(|b| b.1)).reduce(f64::max);
        let sentence = match (values().reduce(f64::min), values().reduce(f64::max)) {
            (Some(low), Some(high)) => format!("Between {low:.1} and {high:.1} °C."),
            _ => "No readings.".to_owned(),
        };
        let mut drawing = String::new();
        if let (Some(least), Some(most)) = (least, most) {
            let canvas = Canvas::new(&mut drawing, WIDTH, HEIGHT);
            let width = f64::from(WIDTH);
            let (from, length) = (self.from.as_millis(), (self.to - self.from).as_millis().max(1) as f64);
            let x =
                |millis: i64| ((millis - from) as f64 / length * (width - 4.0) + 2.0).clamp(2.0, width - 2.0);
            let room = f64::from(HEIGHT) - 6.0;
            let y = |value: f64| 3.0 + room - (value - least) / (most - least).max(0.5) * room;
            if let Some((low, high)) = band {
                canvas.fill(0.0, y(high), width, y(low), Role::Working);
            }
            for run in &found.runs {
                let points: Vec<(f64, f64)> = thin(run, |millis| x(millis).floor() as i64)
                    .into_iter()
                    .map(|(at, v)| (x(at), y(v)))
                    .collect();
                canvas.path(&points, Role::Cocoa, 1.5);
            }
        }
        Frame {
            class: "hd-sparkline",
            width: WIDTH,
            height: HEIGHT,
            title: self.title,
            sentence: &sentence,
            data: &[],
        }
        .around(&drawing)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use model::Span;

    #[test]
    fn a_gap_cuts_the_line() {
        let from: Timestamp = "2026-03-02T05:00:00Z".parse().unwrap();
        let readings: Vec<_> = (0..600)
            .filter(|s| !(200..400).contains(s))
            .map(|s| (from + Span::from_secs(s), Some(31.0)))
            .collect();
        let line = Sparkline {
            title: "Alder",
            from,
            to: from + Span::from_mins(10),
            readings: &readings,
            band: None,
        };
        assert_eq!(line.svg().matches("<polyline").count(), 2);
        let nothing = Sparkline { readings: &[], ..line };
        assert!(nothing.svg().contains("No readings."));
    }
}
