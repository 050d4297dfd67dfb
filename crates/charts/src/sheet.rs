//! The curve sheet: what is to be shown, gathered before it is drawn.
//!
//! The caller tells facts (curves, bands, phases, findings, events); how they are drawn is decided here and in
//! `layout`, so that every page and report looks alike.
//!
//! Never computes a finding or a phase, and never fills a gap.

mod key;
mod layout;
mod range;

use jiff::tz::TimeZone;
use model::{Band, Channel, Event, Finding, PhaseSpan, Timestamp};

use crate::degrees::Degrees;
use crate::palette::Role;
use crate::panel::{Curve, Rule, Shade};
use crate::thin::runs;

/// For which room a sheet is drawn. It scales in its page; this decides how much it says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Width {
    /// 1100 pixels: a screen or a printed page.
    #[default]
    Wide,
    /// 360 pixels: a telephone held upright. Fewer ticks, names inside the panel.
    Narrow,
    /// As many pixels as the page has room for, from [`Width::LEAST`] to [`Width::MOST`].
    Pixels(u16),
}

impl Width {
    /// Narrower than the smallest telephone there is nothing to see.
    pub const LEAST: u16 = 280;
    /// A wall screen of the finest kind.
    pub const MOST: u16 = 3_840;
    /// From here on there is room for names beside the panels.
    const ROOMY: u16 = 640;

    /// Pixels across.
    pub fn pixels(self) -> u16 {
        match self {
            Width::Wide => 1_100,
            Width::Narrow => 360,
            Width::Pixels(pixels) => pixels.clamp(Width::LEAST, Width::MOST),
        }
    }

    pub(crate) fn is_roomy(self) -> bool {
        Width::ROOMY <= self.pixels()
    }
}

/// The usual course at one moment, °C: median and 10–90 % envelope of earlier good batches.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReferencePoint {
    /// When, on this sheet's time.
    pub at: Timestamp,
    /// Nine of ten batches were warmer.
    pub low: f64,
    /// Half of the batches were warmer.
    pub median: f64,
    /// Nine of ten batches were colder.
    pub high: f64,
}

/// Curves over time with everything that belongs to them. [`Sheet::svg`] draws it.
///
/// ```
/// use charts::{Sheet, Width};
/// use model::{Band, Channel, Span, Timestamp};
///
/// let from: Timestamp = "2026-03-02T07:00:00Z".parse()?;
/// let readings: Vec<_> = (0..600).map(|s| (from + Span::from_secs(s), Some(31.5))).collect();
/// let zone = jiff::tz::TimeZone::get("Europe/Lisbon")?;
/// let svg = Sheet::new("Alder", from, from + Span::from_mins(10), &zone)
///     .width(Width::Narrow)
///     .curve(Channel::Chocolate, &readings)
///     .working(Band::new(31.0, 32.0).expect("31 is below 32"))
///     .svg();
/// assert!(svg.contains("working range"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub struct Sheet<'a> {
    title: String,
    from: Timestamp,
    to: Timestamp,
    seen_to: Timestamp,
    zone: &'a TimeZone,
    width: Width,
    degrees: Degrees,
    curves: Vec<(Channel, Curve)>,
    working: Option<Band>,
    melt: Option<Band>,
    limits: Vec<Rule>,
    reference: Vec<ReferencePoint>,
    phases: Vec<PhaseSpan>,
    findings: Vec<&'a Finding>,
    events: Vec<&'a Event>,
    close_up: bool,
}

impl<'a> Sheet<'a> {
    /// An empty sheet from `from` to `to`, on the plant's clock. Times that are upside down or equal give a sheet of
    /// one minute.
    pub fn new(title: impl Into<String>, from: Timestamp, to: Timestamp, zone: &'a TimeZone) -> Sheet<'a> {
        let to = to.max(from + model::Span::from_mins(1));
        Sheet {
            title: title.into(),
            from,
            to,
            seen_to: to,
            zone,
            width: Width::default(),
            degrees: Degrees::default(),
            curves: Vec::new(),
            working: None,
            melt: None,
            limits: Vec::new(),
            reference: Vec::new(),
            phases: Vec::new(),
            findings: Vec::new(),
            events: Vec::new(),
            close_up: false,
        }
    }

    /// For which room it is drawn.
    pub fn width(mut self, width: Width) -> Sheet<'a> {
        self.width = width;
        self
    }

    /// In which degrees it is read. Everything is given in °C all the same.
    pub fn degrees(mut self, degrees: Degrees) -> Sheet<'a> {
        self.degrees = degrees;
        self
    }

    /// How far anything can be known: later there is no gap, only the future. Without it, the whole sheet.
    pub fn seen_to(mut self, at: Timestamp) -> Sheet<'a> {
        self.seen_to = at.clamp(self.from, self.to);
        self
    }

    /// Readings of a channel, sorted by time; `None` is a missing reading. Temperatures share a panel; each other
    /// quantity gets one of its own.
    pub fn curve(mut self, channel: Channel, readings: &[(Timestamp, Option<f64>)]) -> Sheet<'a> {
        let (role, width) = match channel {
            Channel::Chocolate => (Role::Cocoa, 1.9),
            Channel::Jacket => (Role::Jacket, 1.1),
            Channel::Room => (Role::Room, 1.3),
            Channel::Setpoint => (Role::Setpoint, 1.1),
            Channel::Humidity | Channel::Stirrer | Channel::Motor => (Role::Quiet, 1.2),
        };
        let steps = matches!(channel, Channel::Setpoint | Channel::Stirrer);
        let first = readings.partition_point(|(at, _)| *at < self.from);
        let last = readings.partition_point(|(at, _)| *at <= self.to);
        // One reading more at each end, so that a line runs to the edge.
        let near = first.saturating_sub(1)..(last + 1).min(readings.len());
        let curve = Curve { role, width, runs: runs(&readings[near]), steps };
        self.curves.push((channel, curve));
        self
    }

    /// Where the chocolate is worked.
    pub fn working(mut self, band: Band) -> Sheet<'a> {
        self.working = Some(band);
        self
    }

    /// Where it is melted.
    pub fn melt(mut self, band: Band) -> Sheet<'a> {
        self.melt = Some(band);
        self
    }

    /// A limit with its name (`temper-loss limit`), °C. It is drawn where the sheet's values reach it.
    pub fn limit(mut self, name: &str, value: f64) -> Sheet<'a> {
        if value.is_finite() {
            self.limits.push(Rule { name: name.to_owned(), value });
        }
        self
    }

    /// The usual course, sorted by time.
    pub fn reference(mut self, points: Vec<ReferencePoint>) -> Sheet<'a> {
        self.reference = points;
        self
    }

    /// What the charge went through.
    pub fn phases(mut self, phases: &[PhaseSpan]) -> Sheet<'a> {
        self.phases = phases.to_vec();
        self
    }

    /// Findings to mark.
    pub fn findings(mut self, findings: impl IntoIterator<Item = &'a Finding>) -> Sheet<'a> {
        self.findings.extend(findings);
        self.findings.sort_by_key(|finding| finding.raised_at);
        self
    }

    /// Events to mark.
    pub fn events(mut self, events: impl IntoIterator<Item = &'a Event>) -> Sheet<'a> {
        self.events.extend(events);
        self.events.sort_by_key(|event| event.at);
        self
    }

    /// A second panel beneath that shows the working range from near, where a whole day would squeeze it.
    pub fn close_up(mut self) -> Sheet<'a> {
        self.close_up = true;
        self
    }

    fn chocolate(&self) -> Option<&Curve> {
        self.curves.iter().find(|(channel, _)| *channel == Channel::Chocolate).map(|(_, curve)| curve)
    }

    /// When nothing was known of the chocolate, up to `seen_to`.
    fn gaps(&self) -> Vec<(Timestamp, Timestamp)> {
        let Some(curve) = self.chocolate() else { return Vec::new() };
        let runs = &curve.runs;
        let Some((first, last)) = runs.known() else { return vec![(self.from, self.seen_to)] };
        let shortest = runs.longest_silence();
        let open = [(self.from, first), (last, self.seen_to)].into_iter().filter(|(a, b)| shortest < *b - *a);
        let mut gaps: Vec<_> = runs.gaps.iter().copied().chain(open).collect();
        gaps.sort();
        gaps
    }

    /// The limits, each with its value behind its name.
    fn named_limits(&self) -> impl Iterator<Item = Rule> {
        self.limits.iter().map(|Rule { name, value }| Rule {
            name: format!("{name} {:.1}", self.degrees.of(*value)),
            value: *value,
        })
    }

    fn working_shade(&self) -> Option<Shade> {
        self.working.map(|band| Shade {
            name: format!(
                "working range {:.1}–{:.1}",
                self.degrees.of(band.low()),
                self.degrees.of(band.high())
            ),
            low: band.low(),
            high: band.high(),
            fill: Role::Working,
            edge: Some(Role::WorkingEdge),
        })
    }

    fn melt_shade(&self) -> Option<Shade> {
        self.melt.map(|band| Shade {
            name: format!(
                "melt range {:.0}–{:.0}",
                self.degrees.of(band.low()),
                self.degrees.of(band.high())
            ),
            low: band.low(),
            high: band.high(),
            fill: Role::Melt,
            edge: None,
        })
    }
}
