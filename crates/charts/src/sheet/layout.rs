//! The curve sheet drawn: title and key, findings, panels, events, phases, hours, from top to bottom.
//!
//! Heights are added up first, so that a sheet is as high as what it shows and nothing overlaps.

use model::{Channel, Priority, Timestamp};

use super::Sheet;
use crate::canvas::{Canvas, Hold};
use crate::degrees::Degrees;
use crate::ink::{BOLD, bold_width, shortened, text_width};
use crate::lanes::{Flag, Packed, draw_hours, draw_phases, event_flag, finding_flag, pack};
use crate::palette::{Role, night_style};
use crate::panel::{Curve, Panel, Rule, Shade, TimeAxis};
use crate::svg::Frame;
use crate::ticks::{clock_changes, time_ticks};
use crate::words;

/// Sizes of a width, in pixels.
struct Sizes {
    width: u32,
    left: f64,
    right_margin: f64,
    letters: f64,
    title: f64,
    main: f64,
    close_up: f64,
    small: f64,
    row: f64,
    strip: f64,
    finding_rows: usize,
    event_rows: usize,
    time_ticks: usize,
}

const WIDE: Sizes = Sizes {
    width: 1100,
    left: 46.0,
    right_margin: 172.0,
    letters: 12.0,
    title: 16.0,
    main: 290.0,
    close_up: 150.0,
    small: 62.0,
    row: 20.0,
    strip: 24.0,
    finding_rows: 5,
    event_rows: 3,
    time_ticks: 12,
};

/// So many pixels of the time axis a tick.
const TICK_PIXELS: f64 = 74.0;

/// A sheet on a wall screen is higher, too, but never so high that its hours leave the screen.
const HIGHEST_MAIN: f64 = 520.0;

impl Sizes {
    fn of(width: super::Width) -> Sizes {
        let pixels = width.pixels();
        let like = if width.is_roomy() { WIDE } else { NARROW };
        let across = f64::from(pixels) - like.left - like.right_margin;
        let grown = (f64::from(pixels) / f64::from(like.width)).max(1.0).sqrt();
        Sizes {
            width: u32::from(pixels),
            time_ticks: ((across / TICK_PIXELS) as usize).max(3),
            main: (like.main * grown).min(HIGHEST_MAIN).round(),
            ..like
        }
    }
}

const NARROW: Sizes = Sizes {
    width: 360,
    left: 32.0,
    right_margin: 8.0,
    letters: 11.5,
    title: 15.0,
    main: 220.0,
    close_up: 130.0,
    small: 56.0,
    row: 20.0,
    strip: 24.0,
    finding_rows: 4,
    event_rows: 4,
    time_ticks: 5,
};

/// Smaller letters cannot be read at arm's length.
const SMALLEST_TITLE: f64 = 9.0;

/// Above and beneath a panel.
const PANEL_GAP: f64 = 22.0;

impl Sheet<'_> {
    /// The sheet as a whole SVG document, alone in a file, a window or an `<img>`: by night it colours itself.
    pub fn svg(&self) -> String {
        self.draw(&night_style())
    }

    /// The sheet as it stands in a page that includes [`crate::stylesheet`], with nothing inline that a strict content
    /// security policy would refuse.
    pub fn figure(&self) -> String {
        self.draw("")
    }

    fn draw(&self, style: &str) -> String {
        let sizes = &Sizes::of(self.width);
        let time = TimeAxis {
            from: self.from,
            to: self.to,
            left: sizes.left,
            right: f64::from(sizes.width) - sizes.right_margin,
        };
        let gaps = self.gaps();
        let findings: Vec<Flag> = self.findings.iter().map(|f| finding_flag(f, self.seen_to)).collect();
        let events: Vec<Flag> = self.events.iter().map(|e| event_flag(e, self.degrees)).collect();
        let above = pack(&findings, &time, sizes.letters, sizes.finding_rows);
        let beneath = pack(&events, &time, sizes.letters, sizes.event_rows);
        let mut page = Page { sheet: self, sizes, time, gaps: &gaps, y: 0.0, tops: Vec::new() };

        // The height is known only at the end; the pen does not mind, the frame is put around it afterwards.
        let mut drawing = String::new();
        let canvas = Canvas::new(&mut drawing, sizes.width, u32::from(u16::MAX));
        page.draw_title_and_key(&canvas);
        page.draw_flags(&canvas, &above, "findings");
        page.draw_panels(&canvas);
        page.draw_flags(&canvas, &beneath, "events");
        page.draw_phases_and_hours(&canvas);
        let (height, tops) = (page.y.ceil(), page.tops);
        drop(canvas);

        let ground = format!(
            "<rect class=\"hd-f-paper\" width=\"{}\" height=\"{height}\" fill=\"{}\"/>\n",
            sizes.width,
            Role::Paper.hex()
        );
        Frame {
            class: "hd-sheet",
            width: sizes.width,
            height: height as u32,
            title: &self.title,
            sentence: &self.sentence(&gaps),
            data: &[
                ("from", self.from.as_millis().to_string()),
                ("to", self.to.as_millis().to_string()),
                ("left", time.left.to_string()),
                ("right", time.right.to_string()),
                ("panels", tops.join(";")),
            ],
        }
        .around(&format!("{style}{ground}{drawing}"))
    }

    /// What the sheet shows, in sentences: the text alternative of the drawing.
    pub fn says(&self) -> String {
        self.sentence(&self.gaps())
    }

    fn sentence(&self, gaps: &[(Timestamp, Timestamp)]) -> String {
        let mut told = vec![format!(
            "{}, {} to {}.",
            self.title,
            words::day_and_hour(self.from, self.zone),
            words::hour(self.to, self.zone)
        )];
        if let Some(curve) = self.chocolate() {
            told.push(words::course(&curve.runs, self.zone, self.degrees));
        }
        told.extend(words::phases(&self.phases, self.zone));
        told.push(words::findings(&self.findings, self.zone));
        told.extend(words::gaps(gaps));
        told.join(" ")
    }
}

/// A sheet on its way down the page.
struct Page<'p> {
    sheet: &'p Sheet<'p>,
    sizes: &'p Sizes,
    time: TimeAxis,
    gaps: &'p [(Timestamp, Timestamp)],
    /// Everything above is drawn.
    y: f64,
    /// `top,bottom,low,high,unit` a panel, for scripts.
    tops: Vec<String>,
}

/// That some have no room, in a sentence, and in few words where the sentence has none either.
fn left_out_says(number: usize, what: &str) -> [String; 2] {
    let (kind, find, all) = match number {
        1 => (what.trim_end_matches('s'), "finds", "it stands"),
        _ => (what, "find", "all of them stand"),
    };
    [
        format!("{number} more {kind} {find} no room here; {all} in the list."),
        format!("{number} more {kind} in the list"),
    ]
}

impl<'p> Page<'p> {
    fn draw_title_and_key(&mut self, canvas: &Canvas<'_>) {
        let Sizes { letters, title, width, .. } = *self.sizes;
        let left = if self.sheet.width.is_roomy() { self.time.left } else { 8.0 };
        // A long title is set smaller before it leaves the sheet.
        let room = f64::from(width) - left - 16.0;
        let size =
            title.min(title * room / bold_width(&self.sheet.title, title).max(1.0)).max(SMALLEST_TITLE);
        let shown = shortened(&self.sheet.title, BOLD * size, room);
        canvas.bold(&shown, left, 16.0, size, Hold::Left, Role::Ink);
        self.y = 28.0;
        self.y =
            self.sheet.draw_key(canvas, (left, self.y), f64::from(width), letters, !self.gaps.is_empty());
    }

    fn draw_flags(&mut self, canvas: &Canvas<'_>, packed: &Packed<'_>, what: &str) {
        if packed.rows == 0 {
            return;
        }
        let Sizes { row, letters, .. } = *self.sizes;
        packed.draw(canvas, &self.time, self.y, row, letters);
        self.y += packed.rows as f64 * row + 4.0;
        if 0 < packed.left_out {
            let more = left_out_says(packed.left_out, what);
            let room = f64::from(self.sizes.width) - self.time.left;
            let more = more.iter().find(|more| text_width(more, letters) <= room).unwrap_or(&more[1]);
            canvas.text(more, self.time.left, self.y + 7.0, letters, Hold::Left, Role::Quiet);
            self.y += 18.0;
        }
    }

    fn draw_panels(&mut self, canvas: &Canvas<'_>) {
        let close_up = self.sheet.close_up_range();
        let (low, high) = self.sheet.main_range();
        let limits_from_near =
            |rule: &Rule| close_up.is_none_or(|(low, high)| rule.value < low || high < rule.value);
        let rules = self.sheet.named_limits().filter(limits_from_near).collect();
        let shades: Vec<Shade> =
            [self.sheet.melt_shade(), self.sheet.working_shade()].into_iter().flatten().collect();
        let unit = self.sheet.degrees.unit();
        let all = self.temperatures(|_| true);
        let reference = &self.sheet.reference;
        let main =
            Panel { shades, rules, curves: all, reference, ..self.panel(self.sizes.main, (low, high), unit) };
        self.finish_panel(canvas, &main);
        if let Some((low, high)) = close_up {
            let rules = self.sheet.named_limits().collect();
            let shades = self.sheet.working_shade().into_iter().collect();
            let curves =
                self.temperatures(|channel| matches!(channel, Channel::Chocolate | Channel::Setpoint));
            let height = self.sizes.close_up;
            let near = Panel { shades, rules, curves, reference, ..self.panel(height, (low, high), unit) };
            self.finish_panel(canvas, &near);
            let note = "the working range from near";
            let y = self.y - self.sizes.close_up - 11.0;
            canvas.text(note, self.time.left + 2.0, y, self.sizes.letters, Hold::Left, Role::Quiet);
        }
        for (channel, curve) in self.sheet.curves.iter().filter(|(channel, _)| !channel.is_temperature()) {
            self.draw_other(canvas, *channel, curve);
        }
        self.y += 4.0;
    }

    /// Temperature curves to draw; the chocolate comes last, over everything else.
    fn temperatures(&self, wanted: impl Fn(Channel) -> bool) -> Vec<&'p Curve> {
        let temperatures =
            self.sheet.curves.iter().filter(|(channel, _)| channel.is_temperature() && wanted(*channel));
        let mut curves: Vec<&Curve> = temperatures.map(|(_, curve)| curve).collect();
        curves.sort_by_key(|curve| curve.role == Role::Cocoa);
        curves
    }

    fn draw_other(&mut self, canvas: &Canvas<'_>, channel: Channel, curve: &'p Curve) {
        let values = || curve.runs.runs.iter().flatten().map(|point| point.1);
        let (Some(least), Some(most)) = (values().reduce(f64::min), values().reduce(f64::max)) else {
            return;
        };
        let free = ((most - least) * 0.12).max(0.05);
        let panel = Panel {
            curves: vec![curve],
            ..self.panel(self.sizes.small, (least - free, most + free), channel.unit())
        };
        self.finish_panel(canvas, &panel);
        let y = self.y - self.sizes.small - 11.0;
        canvas.text(channel.as_str(), self.time.left + 2.0, y, self.sizes.letters, Hold::Left, Role::Quiet);
    }

    /// A panel with nothing but its axes, its moments and what is not known.
    fn panel(&self, height: f64, (low, high): (f64, f64), unit: &'p str) -> Panel<'p> {
        let Sheet { findings, phases, zone, from, to, .. } = self.sheet;
        let borders = phases.iter().map(|span| (span.from, Role::Faint));
        let urgent = findings.iter().filter_map(|finding| match finding.priority {
            Priority::High => Some((finding.raised_at, Role::High)),
            Priority::Medium => Some((finding.raised_at, Role::Medium)),
            Priority::Low => None,
        });
        Panel {
            time: self.time,
            top: self.y + PANEL_GAP,
            height,
            low,
            high,
            unit,
            letters: self.sizes.letters,
            degrees: if unit == self.sheet.degrees.unit() { self.sheet.degrees } else { Degrees::Celsius },
            margin: self.sheet.width.is_roomy(),
            shades: Vec::new(),
            rules: Vec::new(),
            reference: &[],
            curves: Vec::new(),
            gaps: self.gaps,
            moments: borders.chain(urgent).filter(|(at, _)| self.time.holds(*at)).collect(),
            ticks: time_ticks(*from, *to, zone, self.sizes.time_ticks)
                .into_iter()
                .map(|tick| tick.at)
                .collect(),
        }
    }

    fn finish_panel(&mut self, canvas: &Canvas<'_>, panel: &Panel<'_>) {
        panel.draw(canvas);
        let Panel { top, low, high, unit, .. } = panel;
        let line = format!("{top},{},{low},{high},{unit}", panel.bottom());
        let bottom = panel.bottom();
        self.tops.push(line);
        self.y = bottom;
    }

    fn draw_phases_and_hours(&mut self, canvas: &Canvas<'_>) {
        let Sizes { letters, strip, time_ticks, .. } = *self.sizes;
        let Sheet { phases, seen_to, zone, from, to, .. } = self.sheet;
        if !phases.is_empty() {
            let place = (self.y, self.y + strip);
            draw_phases(canvas, phases, self.gaps, &self.time, *seen_to, place, letters);
            self.y += strip;
        }
        draw_hours(canvas, &self.time, zone, time_ticks, self.y, letters);
        let has_changes = !clock_changes(*from, *to, zone).is_empty();
        self.y += if has_changes { 52.0 } else { 38.0 };
    }
}

#[cfg(test)]
mod tests;
