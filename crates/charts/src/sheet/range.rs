//! Which values a sheet shows.
//!
//! Made for the chocolate: everything else may widen the sheet a little and is cut where it leaves.

use model::{Phase, PhaseSpan, Timestamp};

use super::Sheet;
use crate::panel::Curve;

/// °C that the close-up shows beyond the working range, at most.
const CLOSE_UP_REACH: f64 = 3.5;

/// Quieter temperatures widen the sheet by so much, °C; beyond it they leave the panel.
const QUIET_REACH: f64 = 6.0;

/// Free above and beneath the curve, °C.
const HEADROOM: f64 = 1.0;

/// Chocolate this near to the melt range brings it into sight, °C.
const NEAR_MELT: f64 = 4.0;

impl Sheet<'_> {
    /// Lowest and highest value of the main panel.
    pub(super) fn main_range(&self) -> (f64, f64) {
        let span_of = |curve: &Curve| {
            let values = || curve.runs.runs.iter().flatten().map(|point| point.1);
            Some((values().reduce(f64::min)?, values().reduce(f64::max)?))
        };
        let temperatures = self.curves.iter().filter(|(channel, _)| channel.is_temperature());
        let chocolate = self.chocolate().and_then(span_of);
        let working = self.working.map(|band| (band.low(), band.high()));
        let core = [chocolate, working].into_iter().flatten().reduce(wider).unwrap_or((20.0, 50.0));
        let (mut low, mut high) = core;
        for (_, curve) in temperatures {
            if let Some((least, most)) = span_of(curve) {
                low = low.min(least.max(core.0 - QUIET_REACH));
                high = high.max(most.min(core.1 + QUIET_REACH));
            }
        }
        if let Some(melt) = self.melt.filter(|melt| melt.low() - NEAR_MELT <= core.1) {
            high = high.max(melt.high());
        }
        ((low - HEADROOM).floor(), (high + HEADROOM).ceil())
    }

    /// Lowest and highest value of the close-up: the working range, the limits next to it, and what the chocolate did
    /// while settling and working.
    pub(super) fn close_up_range(&self) -> Option<(f64, f64)> {
        let working = self.working.filter(|_| self.close_up)?;
        let reach = (working.low() - CLOSE_UP_REACH, working.high() + CLOSE_UP_REACH);
        let limits =
            self.limits.iter().map(|rule| rule.value).filter(|value| reach.0 <= *value && *value <= reach.1);
        let held = self.held_values().map(|value| value.clamp(reach.0, reach.1));
        let (low, high) =
            limits.chain(held).fold((working.low() - 1.0, working.high() + 1.0), |(low, high), value| {
                (low.min(value), high.max(value))
            });
        Some((low - 0.3, high + 0.3))
    }

    /// The chocolate in settling, working and rewarming.
    fn held_values(&self) -> impl Iterator<Item = f64> {
        let held = |phase: Phase| match phase {
            Phase::Idle | Phase::Melting | Phase::Soak | Phase::Cooling => false,
            Phase::Settling | Phase::Working | Phase::Rewarming => true,
        };
        let spans: Vec<PhaseSpan> = self.phases.iter().copied().filter(|span| held(span.phase)).collect();
        let points = self.chocolate().into_iter().flat_map(|curve| curve.runs.runs.iter().flatten());
        points.filter_map(move |(at, value)| {
            let at = Timestamp::from_millis(*at);
            spans.iter().any(|span| span.from <= at && span.to.is_none_or(|to| at < to)).then_some(*value)
        })
    }
}

fn wider(a: (f64, f64), b: (f64, f64)) -> (f64, f64) {
    (a.0.min(b.0), a.1.max(b.1))
}
