//! Paper and cocoa: every colour that a chart may use, each with the name that a stylesheet can reach it by.
//!
//! A drawing carries its colours as plain attributes, so that a saved file looks right anywhere, and beside each a
//! class, so that a page can restyle it (dark, print) through the custom properties of [`stylesheet`]. The colours are
//! told apart by lightness first; where one asks for a person, a word and a shape stand beside it.
//!
//! Never decides what is drawn, only how it is inked.

use std::fmt::Write as _;

use plotters::style::RGBColor;

const CANNOT_FAIL: &str = "a String takes all that is written";

/// What a stroke or a filling stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Role {
    Paper,
    Ink,
    Quiet,
    Faint,
    Grid,
    Cocoa,
    Jacket,
    Room,
    Setpoint,
    Working,
    WorkingEdge,
    Melt,
    Limit,
    Envelope,
    Median,
    Gap,
    Event,
    High,
    Medium,
    Low,
    PhaseQuiet,
    PhaseWarm,
    PhaseCooling,
    PhaseWorking,
}

/// How a role is inked.
pub(crate) struct Inking {
    pub(crate) role: Role,
    /// Its part of class and custom-property names.
    pub(crate) name: &'static str,
    pub(crate) rgb: (u8, u8, u8),
    /// The same on a dark ground, for readers who work by night.
    dark: u32,
    /// Dashes of its strokes, as SVG writes them; empty for an unbroken line.
    pub(crate) dashes: &'static str,
}

const fn inking(role: Role, name: &'static str, hex: u32, dark: u32, dashes: &'static str) -> Inking {
    Inking { role, name, rgb: parts(hex), dark, dashes }
}

const fn parts(hex: u32) -> (u8, u8, u8) {
    ((hex >> 16) as u8, (hex >> 8) as u8, hex as u8)
}

/// One row a role, in the order of [`Role`]. No colour stands twice: the drawing finds the role by its colour.
pub(crate) const TABLE: [Inking; 24] = [
    inking(Role::Paper, "paper", 0xfcf9f3, 0x1b1613, ""),
    inking(Role::Ink, "ink", 0x2a201a, 0xf3ebe1, ""),
    inking(Role::Quiet, "quiet", 0x6a5d53, 0xb9aa9b, ""),
    inking(Role::Faint, "faint", 0xcdbfae, 0x5a4d43, ""),
    inking(Role::Grid, "grid", 0xece3d7, 0x332a24, ""),
    inking(Role::Cocoa, "cocoa", 0x5e3019, 0xe6b88a, ""),
    inking(Role::Jacket, "jacket", 0x8c7f74, 0x9d8f83, "6 3"),
    inking(Role::Room, "room", 0x94887d, 0x8f8378, "1.5 3"),
    inking(Role::Setpoint, "setpoint", 0x57707a, 0x8fb0bd, ""),
    inking(Role::Working, "working", 0xf3dfbd, 0x4a3a1e, ""),
    inking(Role::WorkingEdge, "working-edge", 0xd3ac6c, 0xa07c3a, ""),
    inking(Role::Melt, "melt", 0xf6ece0, 0x2f2721, ""),
    inking(Role::Limit, "limit", 0xa08a72, 0x8d7a66, "2 4"),
    inking(Role::Envelope, "envelope", 0xd5dcd2, 0x35433c, ""),
    inking(Role::Median, "median", 0x7c8d7a, 0x96ab94, "5 4"),
    inking(Role::Gap, "gap", 0xb3a596, 0x6e6257, ""),
    inking(Role::Event, "event", 0x33524a, 0x9cc5b8, ""),
    inking(Role::High, "high", 0xa61c1c, 0xff9a8c, ""),
    inking(Role::Medium, "medium", 0x935400, 0xf0b35c, ""),
    inking(Role::Low, "low", 0x35606f, 0x93c4d6, ""),
    inking(Role::PhaseQuiet, "phase-quiet", 0xf6f0e6, 0x241e19, ""),
    inking(Role::PhaseWarm, "phase-warm", 0xf1dfcb, 0x3b2e23, ""),
    inking(Role::PhaseCooling, "phase-cooling", 0xe1e6df, 0x2b3531, ""),
    inking(Role::PhaseWorking, "phase-working", 0xe9cb95, 0x5c4823, ""),
];

impl Role {
    fn inking(self) -> &'static Inking {
        &TABLE[self as usize]
    }

    /// Its colour for plotters.
    pub(crate) fn color(self) -> RGBColor {
        let (red, green, blue) = self.inking().rgb;
        RGBColor(red, green, blue)
    }

    /// Its colour as CSS writes it.
    pub(crate) fn hex(self) -> String {
        let (red, green, blue) = self.inking().rgb;
        format!("#{red:02x}{green:02x}{blue:02x}")
    }

    /// The row of a colour that plotters hands back.
    pub(crate) fn of_color(rgb: (u8, u8, u8)) -> &'static Inking {
        TABLE.iter().find(|row| row.rgb == rgb).expect("only colours of the table are drawn with")
    }
}

/// A reader who works by night sees the dark colours; paper is always light.
const BY_NIGHT: &str = "@media screen and (prefers-color-scheme:dark)";

/// Rules that let a page restyle every chart in it: set `--hd-cocoa` and its siblings on any element around the
/// chart. Without them the chart keeps its own colours, those for a dark ground where the reader asks for one.
pub fn stylesheet() -> String {
    let mut css = String::from(
        "/* Charts: set a custom property such as --hd-cocoa on any element around a chart to restyle it. */\n",
    );
    let dark: String = TABLE.iter().map(|row| format!("--hd-{}:#{:06x};", row.name, row.dark)).collect();
    writeln!(css, "{BY_NIGHT}{{:root{{{dark}}}}}").expect(CANNOT_FAIL);
    for Inking { role, name, .. } in &TABLE {
        let hex = role.hex();
        writeln!(
            css,
            ".hd-f-{name}{{fill:var(--hd-{name},{hex})}}.hd-s-{name}{{stroke:var(--hd-{name},{hex})}}"
        )
        .expect(CANNOT_FAIL);
    }
    css
}

/// What a drawing carries in itself, for where no page restyles it: alone in a window, or as a picture in a page.
pub(crate) fn night_style() -> String {
    let rule = |row: &Inking| {
        let Inking { name, dark, .. } = row;
        format!(".hd-f-{name}{{fill:#{dark:06x}}}.hd-s-{name}{{stroke:#{dark:06x}}}")
    };
    let rules: String = TABLE.iter().map(rule).collect();
    format!("<style>{BY_NIGHT}{{{rules}}}</style>\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_in_order_and_no_colour_stands_twice() {
        for (place, row) in TABLE.iter().enumerate() {
            assert_eq!(row.role as usize, place, "{}", row.name);
            assert_eq!(Role::of_color(row.rgb).name, row.name);
        }
    }

    #[test]
    fn words_stand_out_from_the_paper() {
        // WCAG 2.2, success criterion 1.4.3: text needs a contrast of 4.5 to 1; formulas of its definitions of
        // contrast ratio and relative luminance.
        for role in [Role::Ink, Role::Quiet, Role::Event, Role::High, Role::Medium, Role::Low] {
            for ground in [Role::Paper, Role::Working, Role::Melt, Role::PhaseWarm] {
                let by_day = contrast(luminance(role.inking().rgb), luminance(ground.inking().rgb));
                assert!(4.5 <= by_day, "{role:?} on {ground:?}: {by_day:.2}");
                let by_night =
                    contrast(luminance(parts(role.inking().dark)), luminance(parts(ground.inking().dark)));
                assert!(4.5 <= by_night, "{role:?} on {ground:?} by night: {by_night:.2}");
            }
        }
    }

    fn contrast(a: f64, b: f64) -> f64 {
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    fn luminance((red, green, blue): (u8, u8, u8)) -> f64 {
        let linear = |part: u8| {
            let share = f64::from(part) / 255.0;
            if share <= 0.04045 { share / 12.92 } else { ((share + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * linear(red) + 0.7152 * linear(green) + 0.0722 * linear(blue)
    }

    #[test]
    fn a_page_can_reach_every_colour() {
        let css = stylesheet();
        assert!(css.contains(".hd-s-cocoa{stroke:var(--hd-cocoa,#5e3019)}"));
        assert_eq!(css.matches("fill:var").count(), TABLE.len());
        assert!(css.contains("--hd-paper:#1b1613;"));
        assert!(night_style().contains(".hd-s-cocoa{stroke:#e6b88a}"));
    }
}
