//! The pen: plotters draws, and this writes it down as SVG.
//!
//! A backend of our own, because charts here need what a general one does not give: a class beside each colour so
//! that pages can restyle them, dashes, and tenths of a pixel so that slow curves do not look like stairs. plotters
//! counts in whole units; one unit is a tenth of a pixel ([`UNITS`]).
//!
//! Never touches a file or a font: letters are set by whoever shows the drawing.

use std::convert::Infallible;
use std::fmt::Write as _;

use plotters_backend::text_anchor::{HPos, VPos};
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingBackend, DrawingErrorKind, FontStyle,
    FontTransform,
};

use crate::palette::{Inking, Role};

/// Units of plotters a pixel.
pub(crate) const UNITS: i32 = 10;

/// Pixels as units.
pub(crate) fn units(pixels: f64) -> i32 {
    (pixels * f64::from(UNITS)).round() as i32
}

/// Width of a text in pixels, near enough to keep labels apart: no font is at hand to measure with.
pub(crate) fn text_width(text: &str, size: f64) -> f64 {
    let ems: f64 = text
        .chars()
        .map(|c| match c {
            'i' | 'j' | 'l' | 't' | 'f' | 'r' | ' ' | '.' | ',' | ':' | '-' | '|' | '\'' => 0.34,
            'm' | 'w' | 'M' | 'W' | '–' | '—' => 0.86,
            'A'..='Z' => 0.68,
            _ => 0.57,
        })
        .sum();
    ems * size
}

/// Bold letters are so much wider.
pub(crate) const BOLD: f64 = 1.12;

/// The same of bold text.
pub(crate) fn bold_width(text: &str, size: f64) -> f64 {
    BOLD * text_width(text, size)
}

/// As much of `text` as has room; `!` where not even one letter has.
pub(crate) fn shortened(text: &str, size: f64, room: f64) -> String {
    if text_width(text, size) <= room {
        return text.to_owned();
    }
    let mut kept = String::new();
    for c in text.chars() {
        if room < text_width(&kept, size) + 2.0 * size {
            break;
        }
        kept.push(c);
    }
    if kept.is_empty() { "!".to_owned() } else { kept + "…" }
}

/// Text that cannot break out of an element or attribute.
pub(crate) fn escape(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            // XML 1.0 has no place for other control characters, not even escaped.
            c if c.is_control() && !matches!(c, '\n' | '\t') => safe.push(' '),
            c => safe.push(c),
        }
    }
    safe
}

/// Writes what plotters draws as SVG elements, without the `<svg>` around them.
pub(crate) struct Ink<'a> {
    out: &'a mut String,
    size: (u32, u32),
}

type Drawn = Result<(), DrawingErrorKind<Infallible>>;

impl<'a> Ink<'a> {
    /// A pen for a sheet of so many pixels.
    pub(crate) fn new(out: &'a mut String, width: u32, height: u32) -> Ink<'a> {
        let unit = UNITS.unsigned_abs();
        Ink { out, size: (width * unit, height * unit) }
    }

    fn write(&mut self, text: std::fmt::Arguments<'_>) {
        self.out.write_fmt(text).expect("a String takes all that is written");
    }

    fn write_points(&mut self, points: impl IntoIterator<Item = BackendCoord>) {
        self.write(format_args!(" points=\""));
        for (place, (x, y)) in points.into_iter().enumerate() {
            let gap = if place == 0 { "" } else { " " };
            self.write(format_args!("{gap}{},{}", Pixels(x), Pixels(y)));
        }
        self.write(format_args!("\"/>\n"));
    }

    fn write_stroke(&mut self, color: BackendColor, width: u32) {
        let Inking { name, dashes, .. } = Role::of_color(color.rgb);
        let width = Pixels(i32::try_from(width).unwrap_or(UNITS));
        self.write(format_args!(
            " class=\"hd-s-{name}\" fill=\"none\" stroke=\"{}\" stroke-width=\"{width}\"",
            Hex(color)
        ));
        if !dashes.is_empty() {
            self.write(format_args!(" stroke-dasharray=\"{dashes}\""));
        }
        self.write_opacity(color);
    }

    fn write_fill(&mut self, color: BackendColor) {
        let Inking { name, .. } = Role::of_color(color.rgb);
        self.write(format_args!(" class=\"hd-f-{name}\" fill=\"{}\"", Hex(color)));
        self.write_opacity(color);
    }

    fn write_opacity(&mut self, color: BackendColor) {
        if color.alpha < 1.0 {
            self.write(format_args!(" opacity=\"{}\"", color.alpha));
        }
    }

    fn write_paint<S: BackendStyle>(&mut self, style: &S, fill: bool) {
        if fill {
            self.write_fill(style.color());
        } else {
            self.write_stroke(style.color(), style.stroke_width());
        }
    }
}

/// Units, written as pixels.
struct Pixels(i32);

impl std::fmt::Display for Pixels {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let (whole, tenth) = (self.0 / UNITS, (self.0 % UNITS).abs());
        let sign = if self.0 < 0 && whole == 0 { "-" } else { "" };
        match tenth {
            0 => write!(f, "{whole}"),
            tenth => write!(f, "{sign}{whole}.{tenth}"),
        }
    }
}

/// A colour, written as CSS does.
struct Hex(BackendColor);

impl std::fmt::Display for Hex {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let (red, green, blue) = self.0.rgb;
        write!(f, "#{red:02x}{green:02x}{blue:02x}")
    }
}

impl DrawingBackend for Ink<'_> {
    type ErrorType = Infallible;

    fn get_size(&self) -> (u32, u32) {
        self.size
    }

    fn ensure_prepared(&mut self) -> Drawn {
        Ok(())
    }

    fn present(&mut self) -> Drawn {
        Ok(())
    }

    fn draw_pixel(&mut self, (x, y): BackendCoord, color: BackendColor) -> Drawn {
        self.draw_rect((x, y), (x + 1, y + 1), &color, true)
    }

    fn draw_line<S: BackendStyle>(&mut self, from: BackendCoord, to: BackendCoord, style: &S) -> Drawn {
        self.draw_path([from, to], style)
    }

    fn draw_rect<S: BackendStyle>(
        &mut self,
        upper_left: BackendCoord,
        bottom_right: BackendCoord,
        style: &S,
        fill: bool,
    ) -> Drawn {
        let ((x0, y0), (x1, y1)) = (upper_left, bottom_right);
        self.write(format_args!(
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"",
            Pixels(x0.min(x1)),
            Pixels(y0.min(y1)),
            Pixels((x1 - x0).abs()),
            Pixels((y1 - y0).abs()),
        ));
        self.write_paint(style, fill);
        self.write(format_args!("/>\n"));
        Ok(())
    }

    fn draw_path<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        path: I,
        style: &S,
    ) -> Drawn {
        self.write(format_args!("<polyline"));
        self.write_stroke(style.color(), style.stroke_width());
        self.write_points(path);
        Ok(())
    }

    fn fill_polygon<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        outline: I,
        style: &S,
    ) -> Drawn {
        self.write(format_args!("<polygon"));
        self.write_fill(style.color());
        self.write_points(outline);
        Ok(())
    }

    fn draw_circle<S: BackendStyle>(
        &mut self,
        (x, y): BackendCoord,
        radius: u32,
        style: &S,
        fill: bool,
    ) -> Drawn {
        let radius = Pixels(i32::try_from(radius).unwrap_or(UNITS));
        self.write(format_args!("<circle cx=\"{}\" cy=\"{}\" r=\"{radius}\"", Pixels(x), Pixels(y)));
        self.write_paint(style, fill);
        self.write(format_args!("/>\n"));
        Ok(())
    }

    fn draw_text<S: BackendTextStyle>(&mut self, text: &str, style: &S, (x, y): BackendCoord) -> Drawn {
        let anchor = match style.anchor().h_pos {
            HPos::Left => "start",
            HPos::Center => "middle",
            HPos::Right => "end",
        };
        let drop = match style.anchor().v_pos {
            VPos::Top => "0.8em",
            VPos::Center => "0.35em",
            VPos::Bottom => "-0.25em",
        };
        let size = style.size();
        self.write(format_args!(
            "<text x=\"{}\" y=\"{}\" dy=\"{drop}\" font-size=\"{size}\"",
            Pixels(x),
            Pixels(y)
        ));
        if anchor != "start" {
            self.write(format_args!(" text-anchor=\"{anchor}\""));
        }
        if matches!(style.style(), FontStyle::Bold) {
            self.write(format_args!(" font-weight=\"600\""));
        }
        if matches!(style.transform(), FontTransform::Rotate270) {
            self.write(format_args!(" transform=\"rotate(-90 {} {})\"", Pixels(x), Pixels(y)));
        }
        self.write_fill(style.color());
        self.write(format_args!(">{}</text>\n", escape(text)));
        Ok(())
    }

    fn estimate_text_size<S: BackendTextStyle>(
        &self,
        text: &str,
        style: &S,
    ) -> Result<(u32, u32), DrawingErrorKind<Infallible>> {
        let width = units(text_width(text, style.size()));
        Ok((width.unsigned_abs(), units(style.size()).unsigned_abs()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_are_written_as_pixels() {
        let written: Vec<String> = [0, 10, 15, -5, -15, 1234].map(|u| Pixels(u).to_string()).into();
        assert_eq!(written, ["0", "1", "1.5", "-0.5", "-1.5", "123.4"]);
    }

    #[test]
    fn words_cannot_break_out() {
        assert_eq!(escape("<b>\"A&B\"\u{7}"), "&lt;b&gt;&quot;A&amp;B&quot; ");
    }
}
