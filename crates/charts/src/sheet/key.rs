//! The key: what each line and each ground means. On a narrow sheet it names the limits too.

use model::Channel;

use super::Sheet;
use crate::canvas::{Canvas, Hold};
use crate::ink::text_width;
use crate::palette::Role;
use crate::panel::{Rule, Shade};

/// From the left end of a sample to its word, and from the word to the next sample.
const SAMPLE: f64 = 26.0;
const BETWEEN: f64 = 16.0;

/// Height of a row.
const ROW: f64 = 17.0;

impl Sheet<'_> {
    /// Draws the key in as many rows as it needs, and answers where the last one ends.
    pub(super) fn draw_key(
        &self,
        canvas: &Canvas<'_>,
        (left, top): (f64, f64),
        width: f64,
        letters: f64,
        has_gaps: bool,
    ) -> f64 {
        let (mut x, mut y) = (left, top + 10.0);
        for entry in self.key(has_gaps) {
            let room = SAMPLE + text_width(entry.word(), letters);
            if left < x && width < x + room + 4.0 {
                (x, y) = (left, y + ROW);
            }
            entry.draw(canvas, x, y);
            canvas.text(entry.word(), x + SAMPLE, y, letters, Hold::Left, Role::Quiet);
            x += room + BETWEEN;
        }
        y + 14.0
    }

    fn key(&self, has_gaps: bool) -> Vec<Entry> {
        let lines = self.curves.iter().filter(|(channel, _)| channel.is_temperature());
        let mut key: Vec<Entry> =
            lines.map(|(channel, curve)| Entry::Line(*channel, curve.role, curve.width)).collect();
        if !self.reference.is_empty() {
            key.push(Entry::Usual);
        }
        if has_gaps {
            key.push(Entry::Unknown);
        }
        if !self.width.is_roomy() {
            let sight = self.main_range();
            let in_sight = |rule: &Rule| sight.0 < rule.value && rule.value < sight.1;
            key.extend([self.working_shade(), self.melt_shade()].into_iter().flatten().map(Entry::Shade));
            key.extend(self.named_limits().filter(in_sight).map(Entry::Limit));
        }
        key
    }
}

/// One entry of the key.
enum Entry {
    Line(Channel, Role, f64),
    Shade(Shade),
    Limit(Rule),
    Usual,
    Unknown,
}

impl Entry {
    fn word(&self) -> &str {
        match self {
            Entry::Line(Channel::Setpoint, ..) => "set-point",
            Entry::Line(channel, ..) => channel.as_str(),
            Entry::Shade(shade) => &shade.name,
            Entry::Limit(rule) => &rule.name,
            Entry::Usual => "usual course, 10–90 %",
            Entry::Unknown => "no readings",
        }
    }

    fn draw(&self, canvas: &Canvas<'_>, x: f64, y: f64) {
        match self {
            Entry::Line(_, role, width) => canvas.line((x, y), (x + 20.0, y), *role, *width),
            Entry::Shade(shade) => canvas.fill(x, y - 5.0, x + 20.0, y + 5.0, shade.fill),
            Entry::Limit(_) => canvas.line((x, y), (x + 20.0, y), Role::Limit, 1.0),
            Entry::Usual => {
                canvas.fill(x, y - 5.0, x + 20.0, y + 5.0, Role::Envelope);
                canvas.line((x, y), (x + 20.0, y), Role::Median, 1.2);
            }
            Entry::Unknown => canvas.hatch(x, y - 5.0, x + 20.0, y + 5.0, Role::Gap),
        }
    }
}
