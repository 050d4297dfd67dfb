//! A few strokes in pixels, on top of plotters' drawing area: lines, fillings, letters, small shapes, hatching.
//!
//! Never knows what it draws, and never looks at a value or a time.

use plotters::coord::Shift;
use plotters::element::{Circle, PathElement, Polygon, Rectangle};
use plotters::prelude::{DrawingArea, IntoDrawingArea};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, FontDesc, FontFamily, FontStyle, ShapeStyle, TextStyle};

use crate::ink::{Ink, units};
use crate::palette::Role;

/// Lines of a hatching stand so many pixels apart.
const HATCH_STEP: f64 = 7.0;

/// Small shapes: each says the same as the word beside it, for those who do not see the colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Shape {
    TriangleUp,
    Diamond,
    Ring,
    TriangleDown,
    Plus,
    Cross,
    Square,
    Bar,
    TriangleRight,
}

/// Where a text is held.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Hold {
    Left,
    Middle,
    Right,
}

/// A sheet of pixels.
pub(crate) struct Canvas<'a> {
    area: DrawingArea<Ink<'a>, Shift>,
}

/// Why no drawing can fail: the pen writes to a `String`, and nothing else holds it while it draws.
pub(crate) const CANNOT_FAIL: &str = "writing to a string cannot fail";

pub(crate) fn stroke(role: Role, width: f64) -> ShapeStyle {
    role.color().stroke_width(units(width).unsigned_abs())
}

impl<'a> Canvas<'a> {
    pub(crate) fn new(out: &'a mut String, width: u32, height: u32) -> Canvas<'a> {
        Canvas { area: Ink::new(out, width, height).into_drawing_area() }
    }

    /// The part of the sheet with this left upper corner and size, for plotters' coordinates.
    pub(crate) fn cut(&self, left: f64, top: f64, width: f64, height: f64) -> DrawingArea<Ink<'a>, Shift> {
        self.area.clone().shrink((units(left), units(top)), (units(width), units(height)))
    }

    pub(crate) fn line(&self, from: (f64, f64), to: (f64, f64), role: Role, width: f64) {
        let points = vec![at(from), at(to)];
        self.area.draw(&PathElement::new(points, stroke(role, width))).expect(CANNOT_FAIL);
    }

    /// A line through which one can see.
    pub(crate) fn light_line(&self, from: (f64, f64), to: (f64, f64), role: Role) {
        let style = role.color().mix(0.55).stroke_width(units(1.0).unsigned_abs());
        self.area.draw(&PathElement::new(vec![at(from), at(to)], style)).expect(CANNOT_FAIL);
    }

    pub(crate) fn path(&self, points: &[(f64, f64)], role: Role, width: f64) {
        let points: Vec<_> = points.iter().copied().map(at).collect();
        self.area.draw(&PathElement::new(points, stroke(role, width))).expect(CANNOT_FAIL);
    }

    pub(crate) fn area(&self, outline: &[(f64, f64)], role: Role) {
        let points: Vec<_> = outline.iter().copied().map(at).collect();
        self.area.draw(&Polygon::new(points, role.color().filled())).expect(CANNOT_FAIL);
    }

    pub(crate) fn fill(&self, left: f64, top: f64, right: f64, bottom: f64, role: Role) {
        let corners = [at((left, top)), at((right, bottom))];
        self.area.draw(&Rectangle::new(corners, role.color().filled())).expect(CANNOT_FAIL);
    }

    pub(crate) fn frame(&self, left: f64, top: f64, right: f64, bottom: f64, role: Role) {
        let corners = [at((left, top)), at((right, bottom))];
        self.area.draw(&Rectangle::new(corners, stroke(role, 1.0))).expect(CANNOT_FAIL);
    }

    /// Text whose middle line is at `y`.
    pub(crate) fn text(&self, text: &str, x: f64, y: f64, size: f64, hold: Hold, role: Role) {
        self.letters(text, (x, y), size, hold, role, FontStyle::Normal);
    }

    /// The same in bold.
    pub(crate) fn bold(&self, text: &str, x: f64, y: f64, size: f64, hold: Hold, role: Role) {
        self.letters(text, (x, y), size, hold, role, FontStyle::Bold);
    }

    fn letters(&self, text: &str, place: (f64, f64), size: f64, hold: Hold, role: Role, style: FontStyle) {
        let h_pos = match hold {
            Hold::Left => HPos::Left,
            Hold::Middle => HPos::Center,
            Hold::Right => HPos::Right,
        };
        let font = FontDesc::new(FontFamily::SansSerif, size, style);
        let style =
            TextStyle { font, color: role.color().to_backend_color(), pos: Pos::new(h_pos, VPos::Center) };
        self.area.draw_text(text, &style, at(place)).expect(CANNOT_FAIL);
    }

    /// A hatching of thin slanting lines: nothing is known here.
    pub(crate) fn hatch(&self, left: f64, top: f64, right: f64, bottom: f64, role: Role) {
        let height = bottom - top;
        // All hatchings share one lattice, so that neighbours meet.
        let mut foot = ((left / HATCH_STEP).floor()) * HATCH_STEP;
        while foot < right + height {
            // The line through (foot, top) that falls to the left.
            let (x0, y0) = if right < foot { (right, top + foot - right) } else { (foot, top) };
            let (x1, y1) =
                if foot - height < left { (left, top + foot - left) } else { (foot - height, bottom) };
            if x1 < x0 && y0 < y1 {
                self.line((x0, y0), (x1, y1), role, 0.7);
            }
            foot += HATCH_STEP;
        }
    }

    pub(crate) fn shape(&self, shape: Shape, (x, y): (f64, f64), reach: f64, role: Role) {
        let r = reach;
        match shape {
            Shape::TriangleUp => self.area(&[(x, y - r), (x + r, y + 0.8 * r), (x - r, y + 0.8 * r)], role),
            Shape::TriangleDown => self.area(&[(x, y + r), (x - r, y - 0.8 * r), (x + r, y - 0.8 * r)], role),
            Shape::TriangleRight => {
                self.area(&[(x + r, y), (x - 0.8 * r, y - r), (x - 0.8 * r, y + r)], role)
            }
            Shape::Diamond => self.area(&[(x, y - r), (x + r, y), (x, y + r), (x - r, y)], role),
            Shape::Ring => {
                let style = stroke(role, 1.8);
                let radius = units(r * 0.85);
                self.area.draw(&Circle::new(at((x, y)), radius, style)).expect(CANNOT_FAIL);
            }
            Shape::Plus => {
                self.line((x - r, y), (x + r, y), role, 2.0);
                self.line((x, y - r), (x, y + r), role, 2.0);
            }
            Shape::Cross => {
                self.line((x - 0.8 * r, y - 0.8 * r), (x + 0.8 * r, y + 0.8 * r), role, 2.0);
                self.line((x - 0.8 * r, y + 0.8 * r), (x + 0.8 * r, y - 0.8 * r), role, 2.0);
            }
            Shape::Square => self.fill(x - 0.8 * r, y - 0.8 * r, x + 0.8 * r, y + 0.8 * r, role),
            Shape::Bar => self.line((x, y - r), (x, y + r), role, 2.0),
        }
    }
}

fn at((x, y): (f64, f64)) -> (i32, i32) {
    (units(x), units(y))
}
