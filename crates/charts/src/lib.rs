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
//! - [`Overlay`]: courses laid over each other at the start of cooling; [`Multiples`]: each in a field of its own.
//! - [`ControlChart`]: one value a batch, its limits, and its signals with their rules.
//! - [`stylesheet`]: what a page includes to restyle them all, by night too.
//! - [`png()`]: any of them as a picture of pixels.
//!
//! Never reads a clock, a file or the network; never decides what is a finding.

mod canvas;
mod control;
mod degrees;
mod ink;
mod lanes;
mod mass;
mod multiples;
mod overlay;
mod palette;
mod panel;
mod plain;
mod png;
mod ruler;
mod sample_curve;
mod sheet;
mod sparkline;
mod svg;
mod thin;
mod ticks;
mod words;

pub use crate::control::{ControlChart, ControlPoint};
pub use crate::degrees::Degrees;
pub use crate::mass::{kilograms, to_the_gram};
pub use crate::multiples::{Field, Multiples};
pub use crate::overlay::{BandAt, Laid, Overlay};
pub use crate::palette::stylesheet;
pub use crate::png::{PngError, png};
pub use crate::ruler::Ruler;
pub use crate::sample_curve::SampleCurve;
pub use crate::sheet::{ReferencePoint, Sheet, Width};
pub use crate::sparkline::Sparkline;
