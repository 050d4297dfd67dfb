//! Paper and cocoa: every colour that a chart may use, each with the name that a stylesheet can reach it by.
//!
//! A drawing carries its colours as plain attributes, so that a saved file looks right anywhere, and beside each a
//! class, so that a page can restyle it (dark, print) through the custom properties of [`stylesheet`]. The colours are
//! told apart by lightness first; where one asks for a person, a word and a shape stand beside it.
//!
//! Never decides what is drawn, only how it is inked.

use std::fmt::Write as _;

use plotters::style::RGBColor;

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
    /// Dashes of its strokes, as SVG writes them; empty for an unbroken line.
    pub(crate) dashes: &'static str,
}

const fn inking(role: Role, name: &'static str, hex: u32, dashes: &'static str) -> Inking {
    let rgb = ((hex >> 16) as u8, (hex >> 8) as u8, hex as u8);
    Inking { role, name, rgb, dashes }
}

/// One row a role, in the order of [`Role`]. No colour stands twice: the drawing finds the role by its colour.
pub(crate) const TABLE: [Inking; 24] = [
    inking(Role::Paper, "paper", 0xfcf9f3, ""),
    inking(Role::Ink, "ink", 0x2a201a, ""),
    inking(Role::Quiet, "quiet", 0x6a5d53, ""),
    inking(Role::Faint, "faint", 0xcdbfae, ""),
    inking(Role::Grid, "grid", 0xece3d7, ""),
    inking(Role::Cocoa, "cocoa", 0x5e3019, ""),
    inking(Role::Jacket, "jacket", 0x8c7f74, "6 3"),
    inking(Role::Room, "room", 0x94887d, "1.5 3"),
    inking(Role::Setpoint, "setpoint", 0x57707a, ""),
    inking(Role::Working, "working", 0xf3dfbd, ""),
    inking(Role::WorkingEdge, "working-edge", 0xd3ac6c, ""),
    inking(Role::Melt, "melt", 0xf6ece0, ""),
    inking(Role::Limit, "limit", 0xa08a72, "2 4"),
    inking(Role::Envelope, "envelope", 0xd5dcd2, ""),
    inking(Role::Median, "median", 0x7c8d7a, "5 4"),
    inking(Role::Gap, "gap", 0xb3a596, ""),
    inking(Role::Event, "event", 0x33524a, ""),
    inking(Role::High, "high", 0xa61c1c, ""),
    inking(Role::Medium, "medium", 0x935400, ""),
    inking(Role::Low, "low", 0x35606f, ""),
    inking(Role::PhaseQuiet, "phase-quiet", 0xf6f0e6, ""),
    inking(Role::PhaseWarm, "phase-warm", 0xf1dfcb, ""),
    inking(Role::PhaseCooling, "phase-cooling", 0xe1e6df, ""),
    inking(Role::PhaseWorking, "phase-working", 0xe9cb95, ""),
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

/// Rules that let a page restyle every chart in it: set `--hd-cocoa` and its siblings on any element around the
/// chart. Without them the chart keeps its own colours.
pub fn stylesheet() -> String {
    let mut css = String::from(
        "/* Charts: set a custom property such as --hd-cocoa on any element around a chart to restyle it. */\n",
    );
    for Inking { role, name, .. } in &TABLE {
        let hex = role.hex();
        writeln!(
            css,
            ".hd-f-{name}{{fill:var(--hd-{name},{hex})}}.hd-s-{name}{{stroke:var(--hd-{name},{hex})}}"
        )
        .expect("a String takes all that is written");
    }
    css
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
                let ratio = (luminance(ground) + 0.05) / (luminance(role) + 0.05);
                assert!(4.5 <= ratio, "{role:?} on {ground:?}: {ratio:.2}");
            }
        }
    }

    fn luminance(role: Role) -> f64 {
        let linear = |part: u8| {
            let share = f64::from(part) / 255.0;
            if share <= 0.04045 { share / 12.92 } else { ((share + 0.055) / 1.055).powf(2.4) }
        };
        let (red, green, blue) = role.inking().rgb;
        0.2126 * linear(red) + 0.7152 * linear(green) + 0.0722 * linear(blue)
    }

    #[test]
    fn a_page_can_reach_every_colour() {
        let css = stylesheet();
        assert!(css.contains(".hd-s-cocoa{stroke:var(--hd-cocoa,#5e3019)}"));
        assert_eq!(css.matches("fill:var").count(), TABLE.len());
    }
}
