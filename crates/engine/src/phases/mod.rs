//! Which phase a charge is in, from its chocolate and whatever else is known (contract, section 5).
//!
//! A state machine over ticks. What is noticed late is dated back ([`departure`]). Two stages are believed before they are proved: a
//! rise becomes a batch only when the soak is reached, and a fall out of the soak becomes the cooling only when it goes on; until
//! then they can be taken back. Temperature alone decides, set-point and events make it notice earlier.
//!
//! | stage | file |
//! | --- | --- |
//! | beginning of the history, idle, melting | [`rising`] |
//! | soak, cooling | [`falling`] |
//! | settling, rewarming, working | [`holding`] |
//!
//! | a change is dated by | file |
//! | --- | --- |
//! | the chocolate alone, where it leaves its level | [`departure`] |
//! | the chocolate alone, out of a swing or out of a charge of cold pieces | [`turn`] |
//! | the chocolate alone, after it had come to rest | [`rest`] |
//! | the set-point that asked for it | [`asked`] |
//! | the jacket that warms a restless charge, or the clock since it was asked to | [`driven`] |
//! | the jacket that cools a hot charge | [`cooled`] |

mod approach;
mod asked;
mod cooled;
mod departure;
mod driven;
mod falling;
mod hinge;
mod holding;
mod pace;
mod rest;
mod rising;
mod turn;

use maths::statistics::scatter;
use model::{Method, Phase, Span, Timestamp};
use plant::Limits;
use serde::{Deserialize, Serialize};

pub(crate) use self::pace::Pace;
use crate::history::{History, Line};
use crate::regular::Regular;
use crate::timeline::Timeline;

/// Soak begins this far below the lower end of the melt range (contract, section 5).
const SOAK_MARGIN: f64 = 2.0;
/// The working range with this margin counts as reached (contract, section 5).
pub(crate) const WORKING_MARGIN: f64 = 0.5;
/// Below this a machine can be idle (contract, section 5).
pub(crate) const IDLE_BELOW: f64 = 26.0;

/// A mean over so long does not flicker.
const STEADY_WINDOW: Span = Span::from_secs(60);

/// A charge that is back in its range for so long was none that is melted.
const CHARGE_FORGOTTEN: Span = Span::from_mins(30);

/// From where on a charge is in its soak, °C.
pub(crate) fn soak_from(limits: &Limits) -> f64 {
    limits.melt.low() - SOAK_MARGIN
}

/// What the tracker sees at a tick.
pub(crate) struct View<'a> {
    /// The tick.
    pub(crate) now: Timestamp,
    /// Chocolate of this tick, °C.
    pub(crate) chocolate: f64,
    /// Chocolate over the last seconds, °C.
    pub(crate) level: f64,
    /// Newest set-point, °C.
    pub(crate) setpoint: Option<f64>,
    /// When it is told.
    pub(crate) setpoint_told: &'a Regular,
    pub(crate) history: &'a History,
    /// Of the couverture that is in the machine.
    pub(crate) limits: &'a Limits,
    /// Of the couverture that the next rise will melt.
    pub(crate) next_limits: &'a Limits,
    pub(crate) method: Method,
    /// Something is missing between the last tick and this one.
    pub(crate) gap: bool,
    /// How often the chocolate is measured.
    pub(crate) pace: &'a Pace,
}

impl View<'_> {
    /// Straight line through the chocolate of the last `back`, or of longer where readings are far apart.
    fn line(&self, back: Span) -> Option<Line> {
        self.history.line_through(self.now, self.pace.widened(back), self.pace.fewest())
    }

    /// Chocolate over a minute, °C: one noisy reading neither takes a charge into its range nor out of it.
    fn steady_level(&self) -> f64 {
        self.history.mean_over(self.now, STEADY_WINDOW).unwrap_or(self.level)
    }

    /// Slope of that line, °C/min.
    fn slope(&self, back: Span) -> Option<f64> {
        self.line(back).map(|line| line.slope)
    }

    /// The standard error of a slope over `window`, °C/min, by the noise and the number of readings in the last `seen`: of n readings with noise σ,
    /// spread evenly over W, it is `σ·√(12/n)/W`.
    fn slope_known_to(&self, window: Span, seen: Span) -> f64 {
        let values = self.history.chocolate(self.now - seen, self.now).map(|(_, value)| value);
        let values: Vec<f64> = values.collect();
        let n = values.len().max(1) as f64 * (window.as_secs_f64() / seen.as_secs_f64());
        scatter(&values) * (12.0 / n).sqrt() / window.as_mins_f64()
    }

    /// Lowest and highest chocolate of the last `back`, or of longer where readings are far apart.
    fn extremes(&self, back: Span) -> Option<(f64, f64)> {
        self.history.extremes(self.now, self.pace.widened(back))
    }
}

/// A batch begins or ends.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Turn {
    /// A batch begins at the first of these phases; the one before ends there.
    Begins(Vec<(Phase, Timestamp)>),
    /// The batch is over and the machine idle.
    Ends(Timestamp),
}

/// Where the charge is on its way.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) enum Stage {
    /// The history begins here and nothing is sure yet.
    Unknown {
        since: Timestamp,
    },
    Idle,
    /// Rising; a batch only when the soak is reached.
    Melting {
        from: Timestamp,
        from_level: f64,
    },
    Soak {
        from: Timestamp,
    },
    Cooling {
        from: Timestamp,
        noticed: Timestamp,
        lowest: f64,
        lowest_at: Timestamp,
    },
    Settling {
        lowest: f64,
        lowest_at: Timestamp,
        /// The set-point asks for the melt range, and the charge follows.
        rise_from: Option<Timestamp>,
    },
    Rewarming,
    Working {
        rise_from: Option<Timestamp>,
        cold_since: Option<Timestamp>,
        /// Lowest since it was last in its range, °C.
        coldest: f64,
    },
}

impl Stage {
    /// Just come into the range.
    fn settling(view: &View<'_>) -> Stage {
        Stage::Settling { lowest: view.level, lowest_at: view.now, rise_from: None }
    }

    /// Just begun to work.
    fn working() -> Stage {
        Stage::Working { rise_from: None, cold_since: None, coldest: f64::INFINITY }
    }

    /// The same with nothing in it that would be after `at`.
    fn turned_back(self, at: Timestamp) -> Stage {
        match self {
            Stage::Unknown { since } => Stage::Unknown { since: since.min(at) },
            Stage::Melting { from, from_level } => Stage::Melting { from: from.min(at), from_level },
            Stage::Soak { from } => Stage::Soak { from: from.min(at) },
            Stage::Cooling { from, noticed, lowest, lowest_at } => Stage::Cooling {
                from: from.min(at),
                noticed: noticed.min(at),
                lowest,
                lowest_at: lowest_at.min(at),
            },
            Stage::Settling { lowest, lowest_at, .. } => {
                Stage::Settling { lowest, lowest_at: lowest_at.min(at), rise_from: None }
            }
            Stage::Working { coldest, .. } => Stage::Working { rise_from: None, cold_since: None, coldest },
            Stage::Idle | Stage::Rewarming => self,
        }
    }
}

/// Follows one machine through its phases.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Tracker {
    stage: Option<Stage>,
    before: Option<(Timestamp, f64)>,
    in_range_since: Option<Timestamp>,
    idle_low: f64,
    /// A rise is not looked for before this moment.
    idle_since: Option<Timestamp>,
    /// A new charge was reported while the old one was worked with: it will be melted. Or before the first phase was named: the record
    /// begins with it.
    charged_at: Option<Timestamp>,
}

impl Default for Tracker {
    fn default() -> Tracker {
        Tracker {
            stage: None,
            before: None,
            in_range_since: None,
            idle_low: f64::INFINITY,
            idle_since: None,
            charged_at: None,
        }
    }
}

impl Tracker {
    /// The phase as a live watch believes it; `None` while the beginning of the history is unclear.
    pub(crate) fn phase(&self) -> Option<Phase> {
        Some(match self.stage? {
            Stage::Unknown { .. } => return None,
            Stage::Idle => Phase::Idle,
            Stage::Melting { .. } => Phase::Melting,
            Stage::Soak { .. } => Phase::Soak,
            Stage::Cooling { .. } => Phase::Cooling,
            Stage::Settling { rise_from: Some(_), .. } => Phase::Melting,
            Stage::Settling { .. } => Phase::Settling,
            Stage::Rewarming => Phase::Rewarming,
            Stage::Working { rise_from: Some(_), .. } => Phase::Melting,
            Stage::Working { .. } => Phase::Working,
        })
    }

    /// When a new charge was filled in on the one that is worked with, if that was lately: it will be melted.
    pub(crate) fn charged_at(&self) -> Option<Timestamp> {
        self.charged_at.filter(|_| matches!(self.stage, Some(Stage::Working { .. })))
    }

    /// The phase whose findings are looked for. While the beginning of the history is unclear a charge below 26 °C is taken for idle, and any other
    /// for one that melts: it is watched for what may befall any charge, and for nothing else. `level`: the newest chocolate, °C.
    pub(crate) fn phase_watched(&self, level: impl FnOnce() -> Option<f64>) -> Phase {
        self.phase().unwrap_or_else(|| {
            if level().is_some_and(|level| level >= IDLE_BELOW) { Phase::Melting } else { Phase::Idle }
        })
    }

    /// It is `at` again: what was before that stays as it was, and nothing has been later.
    pub(crate) fn turn_back(&mut self, at: Timestamp) {
        self.stage = self.stage.map(|stage| stage.turned_back(at));
        self.before = None;
        for moment in [&mut self.in_range_since, &mut self.idle_since, &mut self.charged_at] {
            *moment = moment.map(|moment| moment.min(at));
        }
    }

    /// Takes one tick with chocolate.
    pub(crate) fn step(&mut self, view: &View<'_>, timeline: &mut Timeline) -> Option<Turn> {
        let stage = self.stage.unwrap_or(Stage::Unknown { since: view.now });
        self.note_range(view);
        let (stage, turn) = match stage {
            Stage::Unknown { since } => self.begin(view, timeline, since),
            Stage::Idle => self.idle(view, timeline),
            Stage::Melting { from, from_level } => self.melting(view, timeline, from, from_level),
            Stage::Soak { from } => self.soak(view, timeline, from),
            Stage::Cooling { .. } => self.cooling(view, timeline, stage),
            Stage::Settling { .. } => self.settling(view, timeline, stage),
            Stage::Rewarming => self.rewarming(view, timeline),
            Stage::Working { .. } => self.working(view, timeline, stage),
        };
        let steady_again = self.charged_at.is_some_and(|at| view.now - at >= CHARGE_FORGOTTEN)
            && self.in_range_since.is_some_and(|since| view.now - since >= CHARGE_FORGOTTEN);
        if steady_again || !matches!(stage, Stage::Working { .. } | Stage::Unknown { .. }) {
            self.charged_at = None;
        }
        self.stage = Some(stage);
        self.before = Some((view.now, view.chocolate));
        turn
    }

    /// Since when has the chocolate been in the working range? Dated where it went in; what a gap hides is not known.
    fn note_range(&mut self, view: &View<'_>) {
        let range = view.limits.working;
        // A bowl is in its range as soon as it is measured there: a person does not measure often enough for a mean.
        let level = if view.method == Method::PartialMelt { view.level } else { view.steady_level() };
        if view.gap || !range.holds(level, WORKING_MARGIN) {
            self.in_range_since = None;
        }
        if self.in_range_since.is_none() && range.holds(level, WORKING_MARGIN) {
            let bound = match self.before {
                Some((_, before)) if before < range.low() => range.low() - WORKING_MARGIN,
                Some(_) | None => range.high() + WORKING_MARGIN,
            };
            self.in_range_since = Some(self.crossed(view, bound));
        }
    }

    /// A new charge was filled in. Into a machine that works it says that a rise is that of its melt. Into one of which nothing is sure yet
    /// it is the beginning of the history. One that is told of late, and was filled in before the work began, says neither.
    pub(crate) fn charged(&mut self, at: Timestamp, timeline: &Timeline) {
        match self.stage {
            Some(Stage::Working { .. })
                if timeline.last_of(Phase::Working).is_some_and(|span| at < span.from) => {}
            None | Some(Stage::Unknown { .. } | Stage::Working { .. }) => self.charged_at = Some(at),
            Some(
                Stage::Idle
                | Stage::Melting { .. }
                | Stage::Soak { .. }
                | Stage::Cooling { .. }
                | Stage::Settling { .. }
                | Stage::Rewarming,
            ) => {}
        }
    }

    /// A person or program says that the charge is finished.
    pub(crate) fn end(&mut self, at: Timestamp, timeline: &mut Timeline) -> Option<Turn> {
        let was = self.stage.replace(Stage::Idle);
        self.becomes_idle(at, timeline);
        was.is_some().then_some(Turn::Ends(at))
    }

    fn becomes_idle(&mut self, at: Timestamp, timeline: &mut Timeline) {
        self.idle_low = f64::INFINITY;
        self.idle_since = Some(at);
        timeline.change(Phase::Idle, at);
    }

    /// When the chocolate of a minute, which has just gone through `level`, did so: a mean lags by half of its window.
    fn reached(&self, view: &View<'_>, level: f64) -> Timestamp {
        let apart = self.before.map_or(STEADY_WINDOW, |(before, _)| view.now - before);
        if view.gap || apart >= STEADY_WINDOW {
            return self.crossed(view, level);
        }
        view.now - STEADY_WINDOW / 2
    }

    /// When the chocolate went through `level` since the last tick. What lies in a gap is not known: then it is the tick itself.
    fn crossed(&self, view: &View<'_>, level: f64) -> Timestamp {
        let Some((before, value)) = self.before.filter(|_| !view.gap) else { return view.now };
        let share = (value - level) / (value - view.chocolate);
        if !(0.0..=1.0).contains(&share) {
            return view.now;
        }
        before + Span::from_mins_f64((view.now - before).as_mins_f64() * share)
    }
}
