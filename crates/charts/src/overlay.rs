//! Courses laid over each other at the start of cooling: what ran differently shows where it parts from the band.
//!
//! The batch that is looked at is dark, others are light; the usual course is a soft band behind them. Each line has its
//! name at its end, so that none is told by its colour alone.
//!
//! Never aligns anything: the caller says how many minutes after the start of cooling a reading was.

use model::Band;

use crate::canvas::{Canvas, Hold};
use crate::ink::text_width;
use crate::palette::Role;
use crate::panel::spread;
use crate::plain::{Plot, range};
use crate::svg::Frame;
use crate::ticks::value_ticks;

const LETTERS: f64 = 12.0;

/// Points further apart than this leave a gap, minutes.
const GAP_MIN: f64 = 6.0;

/// Minutes since the start of cooling, low, median and high of the usual course.
pub type BandAt = (f64, f64, f64, f64);

/// One course.
#[derive(Debug, Clone, PartialEq)]
pub struct Laid {
    /// Stands at its end.
    pub name: String,
    /// Minutes since the start of cooling, and the value.
    pub points: Vec<(f64, f64)>,
    /// Is it the one that the sheet is about?
    pub is_main: bool,
}

/// Courses over minutes since the start of cooling.
#[derive(Debug, Clone)]
pub struct Overlay<'a> {
    /// What it shows: `Cedar, chocolate`.
    pub title: &'a str,
    /// Of the values.
    pub unit: &'a str,
    /// The courses.
    pub courses: &'a [Laid],
    /// The usual course, sorted by time.
    pub band: &'a [BandAt],
    /// Where the chocolate is worked.
    pub working: Option<Band>,
    /// First and last minute shown.
    pub minutes: (f64, f64),
    /// Width and height in pixels.
    pub size: (u32, u32),
}

/// Lines that can be told apart without colour: dash pattern and depth differ.
const LINES: [Role; 6] = [Role::Cocoa, Role::Setpoint, Role::Jacket, Role::Event, Role::Median, Role::Room];

impl Overlay<'_> {
    /// The overlay as a whole SVG document.
    pub fn svg(&self) -> String {
        let (width, height) = self.size;
        let mut drawing = String::new();
        let canvas = Canvas::new(&mut drawing, width, height);
        canvas.fill(0.0, 0.0, f64::from(width), f64::from(height), Role::Paper);
        canvas.bold(self.title, 8.0, 15.0, 14.0, Hold::Left, Role::Ink);
        let shown = |minute: &f64| self.minutes.0 <= *minute && *minute <= self.minutes.1;
        let of_courses =
            self.courses.iter().flat_map(|laid| &laid.points).filter(|(x, _)| shown(x)).map(|p| p.1);
        let of_band = self.band.iter().filter(|(x, ..)| shown(x)).flat_map(|(_, low, _, high)| [*low, *high]);
        if let Some(y_range) = range(of_courses.chain(of_band), 2.0) {
            let plot = Plot {
                left: 46.0,
                right: f64::from(width) - self.margin(),
                top: 42.0,
                bottom: f64::from(height) - 36.0,
                x_range: self.minutes,
                y_range,
            };
            self.draw(&canvas, &plot);
        } else {
            canvas.text(
                "There are no readings to lay over each other.",
                46.0,
                60.0,
                LETTERS,
                Hold::Left,
                Role::Quiet,
            );
        }
        drop(canvas);
        let frame = Frame {
            class: "hd-overlay",
            width,
            height,
            title: self.title,
            sentence: &self.sentence(),
            data: &[],
        };
        frame.around(&drawing)
    }

    /// Room for the longest name.
    fn margin(&self) -> f64 {
        let longest = self.courses.iter().map(|laid| text_width(&laid.name, LETTERS)).fold(0.0, f64::max);
        // The main one's name is bold, a tenth wider.
        (1.1 * longest + 22.0).clamp(24.0, f64::from(self.size.0) * 0.3)
    }

    fn draw(&self, canvas: &Canvas<'_>, plot: &Plot) {
        if let Some(working) = self.working {
            canvas.fill(plot.left, plot.y(working.high()), plot.right, plot.y(working.low()), Role::Working);
        }
        plot.draw_values(canvas, LETTERS);
        self.draw_minutes(canvas, plot);
        canvas.text(self.unit, plot.left - 6.0, plot.top - 13.0, LETTERS, Hold::Right, Role::Quiet);
        self.draw_band(canvas, plot);
        for (place, laid) in self.courses.iter().enumerate() {
            let (role, width) = if laid.is_main { (Role::Cocoa, 2.2) } else { (self.role(place), 1.5) };
            plot.draw_curve(canvas, &laid.points, GAP_MIN, role, width);
        }
        self.draw_names(canvas, plot);
        plot.draw_frame(canvas);
    }

    /// With one main course the others step back; without one each has its own line.
    fn role(&self, place: usize) -> Role {
        let has_main = self.courses.iter().any(|laid| laid.is_main);
        if has_main { LINES[1 + place % (LINES.len() - 1)] } else { LINES[place % LINES.len()] }
    }

    fn draw_minutes(&self, canvas: &Canvas<'_>, plot: &Plot) {
        let hours = (self.minutes.0 / 60.0, self.minutes.1 / 60.0);
        let most = ((plot.right - plot.left) / 70.0).floor().max(2.0) as usize;
        let (values, decimals) = value_ticks(hours.0, hours.1, most);
        for value in values {
            let x = plot.x(value * 60.0);
            let role = if value == 0.0 { Role::Faint } else { Role::Grid };
            canvas.line((x, plot.top), (x, plot.bottom), role, 1.0);
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
        canvas.text(
            "hours since the start of cooling",
            middle,
            plot.bottom + 27.0,
            LETTERS,
            Hold::Middle,
            Role::Quiet,
        );
    }

    fn draw_band(&self, canvas: &Canvas<'_>, plot: &Plot) {
        let inside: Vec<&BandAt> = self.band.iter().filter(|(x, ..)| plot.holds_x(*x)).collect();
        if inside.len() < 2 {
            return;
        }
        let upper = inside.iter().map(|(x, _, _, high)| (plot.x(*x), plot.y(*high)));
        let lower = inside.iter().rev().map(|(x, low, _, _)| (plot.x(*x), plot.y(*low)));
        canvas.area(&upper.chain(lower).collect::<Vec<_>>(), Role::Envelope);
        let median: Vec<(f64, f64)> = inside.iter().map(|(x, _, median, _)| (*x, *median)).collect();
        plot.draw_curve(canvas, &median, GAP_MIN, Role::Median, 1.2);
    }

    /// Each name beside the end of its line, kept apart.
    fn draw_names(&self, canvas: &Canvas<'_>, plot: &Plot) {
        let mut ends: Vec<(f64, usize)> = Vec::new();
        for (place, laid) in self.courses.iter().enumerate() {
            let last = laid.points.iter().rev().find(|(x, _)| plot.holds_x(*x));
            ends.extend(last.map(|(_, y)| (plot.y(*y), place)));
        }
        ends.sort_by(|a, b| a.0.total_cmp(&b.0));
        let wanted: Vec<f64> = ends.iter().map(|end| end.0).collect();
        let places = spread(&wanted, LETTERS * 1.25, plot.top + 6.0, plot.bottom - 6.0);
        for ((anchor, place), y) in ends.iter().zip(places) {
            let laid = &self.courses[*place];
            let role = if laid.is_main { Role::Cocoa } else { self.role(*place) };
            canvas.path(
                &[(plot.right, *anchor), (plot.right + 4.0, *anchor), (plot.right + 9.0, y)],
                role,
                1.2,
            );
            let hold = Hold::Left;
            if laid.is_main {
                canvas.bold(&laid.name, plot.right + 12.0, y, LETTERS, hold, Role::Ink);
            } else {
                canvas.text(&laid.name, plot.right + 12.0, y, LETTERS, hold, Role::Quiet);
            }
        }
    }

    fn sentence(&self) -> String {
        let mut told = vec![format!(
            "{}, {} courses over hours since the start of cooling.",
            self.title,
            self.courses.len()
        )];
        for laid in self.courses {
            let values = || {
                laid.points.iter().filter(|(x, _)| self.minutes.0 <= *x && *x <= self.minutes.1).map(|p| p.1)
            };
            if let (Some(low), Some(high)) = (values().reduce(f64::min), values().reduce(f64::max)) {
                told.push(format!("{}: {low:.1} to {high:.1} {}.", laid.name, self.unit));
            }
        }
        if !self.band.is_empty() {
            told.push("Behind them the usual course, median and 10 to 90 %.".to_owned());
        }
        told.join(" ")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_course_has_its_name_and_a_gap_stays_open() {
        let points: Vec<(f64, f64)> = (0..100)
            .filter(|m| !(40..60).contains(m))
            .map(|m| (f64::from(m), 45.0 - f64::from(m) / 8.0))
            .collect();
        let courses = [Laid { name: "Mon 23 <Nov>".to_owned(), points, is_main: true }];
        let band: Vec<BandAt> = (0..50).map(|m| (f64::from(m * 2), 31.0, 31.5, 32.0)).collect();
        let overlay = Overlay {
            title: "Cedar, chocolate",
            unit: "°C",
            courses: &courses,
            band: &band,
            working: None,
            minutes: (-30.0, 120.0),
            size: (700, 300),
        };
        let svg = overlay.svg();
        assert!(svg.contains("Mon 23 &lt;Nov&gt;") && !svg.contains("<Nov>"));
        assert_eq!(svg.matches("stroke-width=\"2.2\"").count(), 2, "before and after the gap");
        let nothing = Overlay { courses: &[], band: &[], ..overlay };
        assert!(nothing.svg().contains("no readings to lay over"));
    }
}
