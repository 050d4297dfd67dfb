//! How long a cooling will take: Newton's law through the cooling so far, carried on to the end of the phase.
//!
//! With a measured jacket the charge follows it (`dT/dt = −(T − J − d)/τ`), and the jacket itself is still on its way to the cold water:
//! its own curve is carried on with it. Without one, the level is fitted, and only the part after the steepest slope is used: until
//! then the wall is still turning cold and the curve bends the wrong way. The part below the working range's end plus a degree is left
//! out, because crystals warm it (heat of crystallisation). A projection has an early end, which the charge is very unlikely to beat: the jacket is
//! taken as cold as it may become, and seed, where it will be added, as added early.

use maths::cooling::{Arrival, Jacket, NewtonFit, Surroundings, arrival, fit, seconds_to};
use model::{Span, Timestamp};
use plant::Limits;
use serde::{Deserialize, Serialize};

use crate::history::History;
use crate::jacket::{HOLDS, jacket_between};
use crate::phases::WORKING_MARGIN;

/// The early end is missed by one cooling in ten.
const COVERAGE: f64 = 0.8;
/// Standard errors that leave one in ten on one side.
const ONE_IN_TEN: f64 = 1.28;
/// No projection from less than this.
const SHORTEST: Span = Span::from_mins(8);
/// A fit of this many points takes well below a millisecond.
const MOST_POINTS: usize = 160;
/// Seed goes in at 33–35 °C (common practice, no source), or at least this far above the end of the cooling, °C.
const SEEDED_AT: f64 = 35.0;
const SEEDED_ABOVE: f64 = 2.0;
/// No projection from a smaller fall, °C: until then the wall decides, not the charge.
const SMALLEST_FALL: f64 = 2.0;
/// Slopes are compared over this.
const SLOPE: Span = Span::from_mins(6);
/// A slope that has grown by more than this share is still growing.
const STILL_STEEPER: f64 = 1.05;
/// Chilled water is hardly ever colder, °C (common practice, no source).
const COLDEST_WATER: f64 = 6.0;
/// A jacket is carried on in such steps, for so long at most, s.
const STEP_S: f64 = 10.0;
const LONGEST_S: f64 = 24.0 * 3600.0;

/// Length of the cooling from its start, minutes; infinite where it will not end by itself.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) struct Projected {
    pub(crate) early_min: f64,
    pub(crate) likely_min: f64,
    pub(crate) late_min: Option<f64>,
    pub(crate) from: Timestamp,
}

/// A cooling as it stands at a tick.
pub(crate) struct Cooling<'a> {
    /// The tick's first moment.
    pub(crate) at: Timestamp,
    /// The tick's end.
    pub(crate) known: Timestamp,
    pub(crate) since: Timestamp,
    /// Chocolate over the last seconds, °C.
    pub(crate) level: f64,
    pub(crate) history: &'a History,
    pub(crate) limits: &'a Limits,
    /// Seed will be added on the way.
    pub(crate) seeded: bool,
}

/// How it falls now.
struct Fall {
    /// The steeper of its newest slopes, °C/min.
    slope: f64,
    /// It is still growing steeper.
    steeper: bool,
}

/// Points of the cooling so far; seconds since its start.
struct Points {
    seconds: Vec<f64>,
    values: Vec<f64>,
    jacket_seconds: Vec<f64>,
    jacket_values: Vec<f64>,
}

impl Cooling<'_> {
    /// Length that [`Cooling::projected`] will not put its early end behind, minutes: as if it went on as straight as it falls now. Newton's law
    /// bends away from that, so whatever is fitted, the charge will hardly be earlier. Without it nothing is projected.
    pub(crate) fn not_later_than_min(&self) -> Option<f64> {
        self.fall().map(|fall| self.straight_on_min(&fall))
    }

    /// `None` while the readings leave it open.
    pub(crate) fn projected(&self) -> Option<Projected> {
        let fall = self.fall()?;
        let points = Points::of(self, self.since);
        let projected = if points.knows_jacket() {
            points.follow_jacket(self)
        } else if fall.steeper {
            None
        } else {
            Points::of(self, self.steepest()?).to_fitted_level(self)
        };
        projected.map(|projected| projected.not_later_than(self.straight_on_min(&fall)))
    }

    fn fall(&self) -> Option<Fall> {
        let now = self.history.line(self.at, SLOPE)?;
        let before = self.history.line(self.at - SLOPE, SLOPE)?;
        let top = self.history.level(self.since)?;
        let has_fallen = now.slope < 0.0 && top - self.level >= SMALLEST_FALL;
        (self.known - self.since >= SHORTEST && has_fallen).then(|| Fall {
            slope: now.slope.min(before.slope),
            steeper: now.slope.abs() > STILL_STEEPER * before.slope.abs(),
        })
    }

    fn passed_s(&self) -> f64 {
        (self.known - self.since).as_secs_f64()
    }

    fn straight_on_min(&self, fall: &Fall) -> f64 {
        let (_, early_target) = self.targets();
        self.passed_s() / 60.0 + (self.level - early_target).max(0.0) / fall.slope.abs()
    }

    /// When the chocolate fell fastest: from then on the wall is cold.
    fn steepest(&self) -> Option<Timestamp> {
        let (mut at, mut best) = (self.since + SLOPE, None);
        while at <= self.at {
            let slope = self.history.line(at, SLOPE).map(|line| line.slope);
            if let Some(slope) = slope.filter(|slope| best.is_none_or(|(least, _)| *slope < least)) {
                best = Some((slope, at));
            }
            at += Span::from_mins(1);
        }
        best.map(|(_, at)| at - SLOPE / 2)
    }

    fn targets(&self) -> (f64, f64) {
        let target = self.limits.working.high() + WORKING_MARGIN;
        (target, if self.seeded { SEEDED_AT.max(target + SEEDED_ABOVE) } else { target })
    }
}

impl Projected {
    fn not_later_than(self, early_min: f64) -> Projected {
        Projected { early_min: self.early_min.min(early_min), ..self }
    }
}

impl Points {
    fn of(c: &Cooling<'_>, from: Timestamp) -> Points {
        let chocolate: Vec<_> = c.history.chocolate(from, c.known).collect();
        let step = chocolate.len().div_ceil(MOST_POINTS).max(1);
        let since = |(at, value): (Timestamp, f64)| ((at - c.since).as_secs_f64(), value);
        let (seconds, values) = chocolate.into_iter().step_by(step).map(since).unzip();
        let jacket = jacket_between(c.history, from, c.known, HOLDS, MOST_POINTS).unwrap_or_default();
        let (jacket_seconds, jacket_values) = jacket.into_iter().map(since).unzip();
        Points { seconds, values, jacket_seconds, jacket_values }
    }

    fn knows_jacket(&self) -> bool {
        !self.jacket_seconds.is_empty()
    }

    fn to_fitted_level(&self, c: &Cooling<'_>) -> Option<Projected> {
        let passed_s = c.passed_s();
        let fitted = fit(&self.seconds, &self.values, Surroundings::Unknown).ok()?;
        let (target, early_target) = c.targets();
        let early_s = match arrival(&fitted, early_target, COVERAGE)? {
            Arrival::Passed => passed_s,
            Arrival::Expected(projection) => projection.low,
            // It will not come down by itself, or only if the level lies lower than it seems.
            Arrival::NotExpected { earliest } => earliest.unwrap_or(f64::INFINITY),
        };
        let (likely_s, late_s) = match arrival(&fitted, target, COVERAGE)? {
            Arrival::Passed => (passed_s, Some(passed_s)),
            Arrival::Expected(projection) => (projection.seconds, projection.high),
            Arrival::NotExpected { .. } => (f64::INFINITY, None),
        };
        Some(Projected {
            early_min: early_s / 60.0,
            likely_min: likely_s / 60.0,
            late_min: late_s.map(|late| late / 60.0),
            from: c.since,
        })
    }

    fn follow_jacket(&self, c: &Cooling<'_>) -> Option<Projected> {
        let passed_s = c.passed_s();
        let measured = Jacket { seconds: &self.jacket_seconds, values: &self.jacket_values };
        let charge = fit(&self.seconds, &self.values, Surroundings::JacketAndOffset(measured)).ok()?;
        let jacket_now = *self.jacket_values.last()?;
        let offset = charge.ambient - jacket_now;
        let jacket = self.carried_on(jacket_now);
        let (target, early_target) = c.targets();
        let tau_low = (charge.tau_s - ONE_IN_TEN * charge.tau_se_s).max(charge.tau_s / 4.0);
        let early = |level: f64| match c.level <= early_target {
            true => Some(0.0),
            false => seconds_to(c.level, level, tau_low, early_target),
        };
        let early_s = early(jacket.coldest + offset).map_or(f64::INFINITY, |more| passed_s + more);
        let likely_s =
            carry(c.level, target, charge.tau_s, |s| jacket.at(s) + offset).map(|more| passed_s + more);
        let slower = charge.tau_s + ONE_IN_TEN * charge.tau_se_s;
        let late_s = carry(c.level, target, slower, |s| jacket.at(s) + offset).map(|more| passed_s + more);
        Some(Projected {
            early_min: early_s / 60.0,
            likely_min: likely_s.unwrap_or(f64::INFINITY) / 60.0,
            late_min: late_s.map(|late| late / 60.0),
            from: c.since,
        })
    }

    /// The jacket's own way down: its last half fitted, or held where it is if it has arrived.
    fn carried_on(&self, now: f64) -> JacketAhead {
        let half = self.jacket_seconds.len() / 2;
        let fitted =
            fit(&self.jacket_seconds[half..], &self.jacket_values[half..], Surroundings::Unknown).ok();
        let goes_down = |fit: &NewtonFit| fit.ambient < now && fit.ambient > COLDEST_WATER;
        match fitted.filter(goes_down) {
            Some(fit) => JacketAhead {
                now,
                level: fit.ambient,
                tau_s: fit.tau_s,
                coldest: (fit.ambient - ONE_IN_TEN * fit.ambient_se).max(COLDEST_WATER).min(now),
            },
            None => JacketAhead { now, level: now, tau_s: 1.0, coldest: COLDEST_WATER.min(now) },
        }
    }
}

/// A jacket as it will go on.
struct JacketAhead {
    now: f64,
    level: f64,
    tau_s: f64,
    coldest: f64,
}

impl JacketAhead {
    fn at(&self, seconds: f64) -> f64 {
        self.level + (self.now - self.level) * (-seconds / self.tau_s).exp()
    }
}

/// Seconds until a charge that follows `level` reaches `target`.
fn carry(from: f64, target: f64, tau_s: f64, level: impl Fn(f64) -> f64) -> Option<f64> {
    let (mut celsius, mut seconds) = (from, 0.0);
    while celsius > target {
        let towards = level(seconds + STEP_S / 2.0);
        celsius = towards + (celsius - towards) * (-STEP_S / tau_s).exp();
        seconds += STEP_S;
        if seconds > LONGEST_S {
            return None;
        }
    }
    Some(seconds)
}
