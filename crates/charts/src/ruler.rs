//! The lane's ruler: where the chocolate stands among its limits, and where it came from.
//!
//! Not a thermometer: the working range, one degree of thirty, takes a quarter of the length, because that is where a
//! person looks. Between two limits the scale is even; the numbers beneath tell them.
//!
//! Never says whether this is good: forty degrees is right for a melt and wrong for a hold.

use model::Band;

use crate::canvas::{Canvas, Hold, Shape};
use crate::degrees::Degrees;
use crate::ink::text_width;
use crate::palette::Role;
use crate::sheet::Width;
use crate::svg::Frame;

/// °C that the ruler shows beneath the floor and above the scorch limit.
const BELOW: f64 = 5.0;
const ABOVE: f64 = 2.0;

/// Shorter moves in ten minutes are no trail, °C.
const STILL: f64 = 0.1;

/// Where the limits stand on the ruler, as shares of its length.
const SHARES: [f64; 8] = [0.0, 0.13, 0.33, 0.58, 0.72, 0.84, 0.96, 1.0];

/// Where the chocolate stands among its limits. [`Ruler::svg`] draws it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ruler {
    /// Now, °C; `None` if it is not known.
    pub chocolate_c: Option<f64>,
    /// Ten minutes ago, °C.
    pub ten_minutes_ago_c: Option<f64>,
    /// Lowest point wanted on the way down, °C.
    pub floor_c: f64,
    /// Where it is worked.
    pub working: Band,
    /// Above it seed crystals melt out, °C.
    pub temper_loss_c: f64,
    /// Where it is melted.
    pub melt: Band,
    /// Above it the chocolate burns, °C.
    pub scorch_c: f64,
    /// For which room.
    pub width: Width,
    /// In which degrees it is read.
    pub degrees: Degrees,
}

impl Ruler {
    /// The ruler as a whole SVG document.
    pub fn svg(&self) -> String {
        let (width, height) = if self.width.is_roomy() { (620, 92) } else { (336, 92) };
        let mut drawing = String::new();
        let canvas = Canvas::new(&mut drawing, width, height);
        let scale = Scale { knots: self.knots(), left: 14.0, right: f64::from(width) - 14.0 };
        self.draw_bands(&canvas, &scale);
        self.draw_chocolate(&canvas, &scale);
        drop(canvas);
        Frame {
            class: "hd-ruler",
            width,
            height,
            title: "Where the chocolate stands",
            sentence: &self.sentence(),
            data: &[],
        }
        .around(&drawing)
    }

    /// The same without words and numbers, for a lane among many: its sentence still tells all of it.
    pub fn strip(&self) -> String {
        let (width, height) = (336, 26);
        let mut drawing = String::new();
        let canvas = Canvas::new(&mut drawing, width, height);
        let scale = Scale { knots: self.knots(), left: 8.0, right: f64::from(width) - 8.0 };
        let (top, bottom) = (11.0, 21.0);
        self.draw_ranges(&canvas, &scale, (top, bottom));
        match self.chocolate_c {
            None => canvas.hatch(scale.left, top, scale.right, bottom, Role::Gap),
            Some(now) => {
                self.draw_trail(&canvas, &scale, now, (top + bottom) / 2.0);
                let x = scale.x(self.as_told(now));
                canvas.line((x, 8.0), (x, bottom + 3.0), Role::Cocoa, 3.0);
                canvas.shape(Shape::TriangleDown, (x, 7.0), 6.0, Role::Cocoa);
            }
        }
        drop(canvas);
        let title = "Where the chocolate stands";
        Frame { class: "hd-ruler", width, height, title, sentence: &self.sentence(), data: &[] }
            .around(&drawing)
    }

    /// What the ruler shows, in a sentence.
    pub fn sentence(&self) -> String {
        let Some(now) = self.chocolate_c else {
            return "The chocolate's temperature is not known.".to_owned();
        };
        let place = self.place_of(now);
        let (degrees, unit) = (self.degrees, self.degrees.unit());
        let from = match self.ten_minutes_ago_c {
            Some(before) if STILL <= now - before => {
                format!(" Ten minutes ago it was {:.1} {unit}: rising.", degrees.of(before))
            }
            Some(before) if STILL <= before - now => {
                format!(" Ten minutes ago it was {:.1} {unit}: falling.", degrees.of(before))
            }
            Some(_) => " It has been steady for ten minutes.".to_owned(),
            None => String::new(),
        };
        format!("{:.1} {unit}: {place}.{from}", degrees.of(now))
    }

    /// The temperature as its number tells it, °C: the mark stands where the number says, and does not tremble with hundredths.
    fn as_told(&self, celsius: f64) -> f64 {
        let number = format!("{:.1}", self.degrees.of(celsius));
        self.degrees.to_celsius(number.parse().expect("a number that was written can be read"))
    }

    fn place_of(&self, value: f64) -> String {
        let Ruler { working, melt, degrees, .. } = self;
        let [floor, low, high, loss] =
            [self.floor_c, working.low(), working.high(), self.temper_loss_c].map(|limit| degrees.of(limit));
        let [melt_low, melt_high, scorch] =
            [melt.low(), melt.high(), self.scorch_c].map(|limit| degrees.of(limit));
        if value < self.floor_c {
            format!("below the floor of {floor:.1}")
        } else if value < working.low() {
            format!("below the working range of {low:.1} to {high:.1}")
        } else if value <= working.high() {
            format!("within the working range of {low:.1} to {high:.1}")
        } else if value <= self.temper_loss_c {
            format!("above the working range, below the temper-loss limit of {loss:.1}")
        } else if value < melt.low() {
            format!("between the temper-loss limit of {loss:.1} and the melt range")
        } else if value <= melt.high() {
            format!("within the melt range of {melt_low:.0} to {melt_high:.0}")
        } else if value <= self.scorch_c {
            format!("above the melt range, below the scorch limit of {scorch:.0}")
        } else {
            format!("above the scorch limit of {scorch:.0}")
        }
    }

    /// Limits that a plant has put in an unusual order are drawn in the order of their values.
    fn knots(&self) -> [f64; 8] {
        let mut knots = [
            self.floor_c - BELOW,
            self.floor_c,
            self.working.low(),
            self.working.high(),
            self.temper_loss_c,
            self.melt.low(),
            self.melt.high(),
            self.scorch_c.max(self.melt.high()) + ABOVE,
        ];
        knots.sort_by(f64::total_cmp);
        knots
    }

    /// The ranges without their names: quiet ground, melt, working, and the temper-loss limit as a line.
    fn draw_ranges(&self, canvas: &Canvas<'_>, scale: &Scale, (top, bottom): (f64, f64)) {
        canvas.fill(scale.left, top, scale.right, bottom, Role::PhaseQuiet);
        canvas.fill(scale.x(self.melt.low()), top, scale.x(self.melt.high()), bottom, Role::PhaseWarm);
        let (left, right) = (scale.x(self.working.low()), scale.x(self.working.high()));
        canvas.fill(left, top, right, bottom, Role::PhaseWorking);
        canvas.frame(scale.left, top, scale.right, bottom, Role::Faint);
        for x in [left, right] {
            canvas.line((x, top - 3.0), (x, bottom + 3.0), Role::WorkingEdge, 1.6);
        }
        let loss = scale.x(self.temper_loss_c);
        canvas.line((loss, top), (loss, bottom), Role::Quiet, 1.4);
    }

    fn draw_bands(&self, canvas: &Canvas<'_>, scale: &Scale) {
        let (top, bottom) = (38.0, 56.0);
        self.draw_ranges(canvas, scale, (top, bottom));
        let middle = |band: Band| (scale.x(band.low()) + scale.x(band.high())) / 2.0;
        let ink = |value: f64, decimals: usize| format!("{:.decimals$}", self.degrees.of(value));
        for (value, decimals) in [
            (self.floor_c, 0),
            (self.working.low(), 1),
            (self.working.high(), 1),
            (self.temper_loss_c, 1),
            (self.melt.low(), 0),
            (self.melt.high(), 0),
        ] {
            let x = scale.x(value);
            canvas.line((x, bottom), (x, bottom + 4.0), Role::Quiet, 1.0);
            canvas.text(&ink(value, decimals), x, bottom + 12.0, 11.0, Hold::Middle, Role::Quiet);
        }
        let names: [(&str, f64); 4] = [
            ("floor", scale.x(self.floor_c)),
            ("working", middle(self.working)),
            ("temper loss", scale.x(self.temper_loss_c)),
            ("melt", middle(self.melt)),
        ];
        for (name, x) in names {
            canvas.text(name, x, bottom + 27.0, 11.0, Hold::Middle, Role::Ink);
        }
    }

    /// Where it came from: thin where it was, thick where it is.
    fn draw_trail(&self, canvas: &Canvas<'_>, scale: &Scale, now: f64, y: f64) {
        let Some(before) = self.ten_minutes_ago_c.filter(|before| STILL <= (now - before).abs()) else {
            return;
        };
        let (from, x) = (scale.x(self.as_told(before)), scale.x(self.as_told(now)));
        canvas.area(&[(from, y - 0.6), (from, y + 0.6), (x, y + 3.0), (x, y - 3.0)], Role::Cocoa);
        canvas.shape(Shape::Bar, (from, y), 4.0, Role::Cocoa);
    }

    fn draw_chocolate(&self, canvas: &Canvas<'_>, scale: &Scale) {
        let Some(now) = self.chocolate_c else {
            canvas.hatch(scale.left, 39.0, scale.right, 55.0, Role::Gap);
            canvas.text("not known", scale.left, 26.0, 13.0, Hold::Left, Role::Quiet);
            return;
        };
        let x = scale.x(self.as_told(now));
        self.draw_trail(canvas, scale, now, 47.0);
        canvas.line((x, 30.0), (x, 58.0), Role::Cocoa, 3.0);
        canvas.shape(Shape::TriangleDown, (x, 29.0), 8.0, Role::Cocoa);
        let value = format!("{:.1} {}", self.degrees.of(now), self.degrees.unit());
        let half = text_width(&value, 15.0) / 2.0;
        let place = x.clamp(scale.left + half, scale.right - half);
        canvas.bold(&value, place, 11.0, 15.0, Hold::Middle, Role::Cocoa);
    }
}

/// An even scale between each two limits.
struct Scale {
    knots: [f64; 8],
    left: f64,
    right: f64,
}

impl Scale {
    fn x(&self, value: f64) -> f64 {
        let held = value.clamp(self.knots[0], self.knots[7]);
        let piece = self.knots.windows(2).position(|pair| held <= pair[1]).unwrap_or(6);
        let (low, high) = (self.knots[piece], self.knots[piece + 1]);
        let inside = if low < high { (held - low) / (high - low) } else { 0.0 };
        let share = SHARES[piece] + inside * (SHARES[piece + 1] - SHARES[piece]);
        self.left + share * (self.right - self.left)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use expect_test::{Expect, expect};

    fn ruler(chocolate_c: Option<f64>, ten_minutes_ago_c: Option<f64>) -> Ruler {
        // Dark couverture: contract, section 4, defaults by family.
        Ruler {
            chocolate_c,
            ten_minutes_ago_c,
            floor_c: 27.0,
            working: Band::new(31.0, 32.0).unwrap(),
            temper_loss_c: 33.5,
            melt: Band::new(45.0, 50.0).unwrap(),
            scorch_c: 55.0,
            width: Width::Wide,
            degrees: Degrees::Celsius,
        }
    }

    fn check(ruler: &Ruler, expected: &Expect) {
        expected.assert_eq(&ruler.sentence());
        let svg = ruler.svg();
        assert!(svg.contains(&format!("<desc>{}</desc>", ruler.sentence())));
    }

    #[test]
    fn the_sentence_tells_place_and_direction() {
        check(
            &ruler(Some(31.4), Some(31.42)),
            &expect![
                "31.4 °C: within the working range of 31.0 to 32.0. It has been steady for ten minutes."
            ],
        );
        check(
            &ruler(Some(33.9), Some(32.2)),
            &expect![
                "33.9 °C: between the temper-loss limit of 33.5 and the melt range. Ten minutes ago it was 32.2 °C: rising."
            ],
        );
        let read_in_fahrenheit = Ruler { degrees: Degrees::Fahrenheit, ..ruler(Some(31.4), None) };
        check(&read_in_fahrenheit, &expect!["88.5 °F: within the working range of 87.8 to 89.6."]);
        check(&ruler(None, None), &expect!["The chocolate's temperature is not known."]);
    }

    #[test]
    fn warmer_is_further_right_and_nothing_leaves_the_ruler() {
        let scale = Scale { knots: ruler(None, None).knots(), left: 0.0, right: 100.0 };
        let places: Vec<f64> = (0..800).map(|tenth| scale.x(f64::from(tenth) / 10.0)).collect();
        assert!(places.is_sorted());
        assert_eq!((places[0], places[799]), (0.0, 100.0));
        assert_eq!((scale.x(31.0).round(), scale.x(32.0).round()), (33.0, 58.0));
    }

    #[test]
    fn a_strip_tells_the_same_without_words_in_it() {
        let lane = ruler(Some(33.9), Some(32.2));
        assert!(lane.strip().contains(&format!("<desc>{}</desc>", lane.sentence())));
        assert!(!lane.strip().contains("<text") && lane.strip().len() < lane.svg().len() / 2);
    }

    /// A thousand lanes that tremble by hundredths would be sent anew each second.
    #[test]
    fn the_mark_moves_with_the_number_alone() {
        for degrees in [Degrees::Celsius, Degrees::Fahrenheit] {
            let at = |now, before| Ruler { degrees, ..ruler(Some(now), Some(before)) };
            assert_eq!(at(31.44, 33.01).strip(), at(31.43, 33.02).strip());
            assert_eq!(at(31.44, 33.01).svg(), at(31.43, 33.02).svg());
            assert_ne!(at(31.44, 33.01).strip(), at(31.34, 33.01).strip());
            // Halves go where the number goes: neither of the two can be written exactly.
            assert_eq!(
                at(31.45, 33.01).strip() == at(31.43, 33.01).strip(),
                at(31.45, 33.01).sentence() == at(31.43, 33.01).sentence()
            );
        }
    }

    #[test]
    fn what_is_not_known_is_hatched() {
        assert!(ruler(None, None).svg().contains("hd-s-gap"));
        assert!(!ruler(Some(31.0), None).svg().contains("hd-s-gap"));
    }
}
