//! Charts in the manner of paper and cocoa: readings, bands, phases, findings and events as SVG text.
//!
//! plotters draws; a pen of our own writes it down, so that each colour has a class that a page can restyle and slow
//! curves keep their tenths of a pixel. A chart always carries its own sentence (`<title>` and `<desc>`), scales with
//! its page, and shows what is not known as not known. Whatever asks for a person has a word and a shape besides its
//! colour.
//!
//! - [`Sheet`]: curves over time with everything that belongs to them.
//! - [`Ruler`]: where the chocolate stands now, and where it came from.
//! - [`Sparkline`]: a curve the size of a word.
//! - [`stylesheet`]: what a page includes to restyle them all.
//!
//! Never reads a clock, a file or the network; never decides what is a finding.

mod canvas;
mod ink;
mod lanes;
mod palette;
mod panel;
mod ruler;
mod sheet;
mod sparkline;
mod svg;
mod thin;
mod ticks;
mod words;

pub use crate::palette::stylesheet;
pub use crate::ruler::Ruler;
pub use crate::sheet::{ReferencePoint, Sheet, Width};
pub use crate::sparkline::Sparkline;
