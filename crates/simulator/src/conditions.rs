//! What was the matter with the chocolate itself, whatever caused it: the contract's limits (section 6) laid over the
//! noiseless temperature of the true phases.
//!
//! Definitions only, without delay or deadband: from the first moment past the limit to the last, for excursions that
//! last or weigh as much as the contract asks.

use model::{FindingKind, Phase, Timestamp};
use plant::Limits;

use crate::recorder::{KEPT_EVERY_S, Recorder};
use crate::true_phases::Course;

const SCORCH_S: i64 = 10;
const LOSS_C_MIN: f64 = 1.0;
const LOSS_APART_S: i64 = 900;
const HOLD_C: f64 = 0.5;
const HOLD_S: i64 = 300;
const UNDERSHOOT_C: f64 = 0.5;
const UNDERSHOOT_S: i64 = 60;
const UNDERSHOOT_WORKING_S: i64 = 1_800;
const SOLID_C: f64 = 2.0;
const SOLID_S: i64 = 120;

/// A stretch in which the chocolate was past a limit.
#[derive(Debug, Clone, PartialEq)]
pub struct Condition {
    /// Which limit.
    pub kind: FindingKind,
    /// First moment past it.
    pub from: Timestamp,
    /// First moment back.
    pub to: Timestamp,
    /// How far past it at most, °C; for `temper-loss` the area above it, °C·min.
    pub worst: f64,
}

/// Everything past a limit in one batch.
pub(crate) fn conditions(record: &Recorder, limits: &Limits, course: &Course) -> Vec<Condition> {
    let stretch = Stretch { record, course };
    let held = [Phase::Settling, Phase::Working, Phase::Rewarming];
    let all = Phase::ALL;
    let working = [Phase::Working];
    let (low, high) = (limits.working.low(), limits.working.high());
    let mut found = Vec::new();
    found.extend(stretch.beyond(FindingKind::Scorch, &all, SCORCH_S, |c| c - limits.scorch));
    found.extend(stretch.loss(limits.temper_loss, &held));
    found.extend(stretch.beyond(FindingKind::WarmHold, &working, HOLD_S, |c| c - high - HOLD_C));
    found.extend(stretch.beyond(FindingKind::ColdHold, &working, HOLD_S, |c| low - HOLD_C - c));
    let on_the_way = [Phase::Cooling, Phase::Settling, Phase::Rewarming, Phase::Working];
    let working_from = course.phases.iter().find(|p| p.phase == Phase::Working).map(|p| p.from);
    let floor = limits.floor;
    found.extend(
        stretch
            .beyond(FindingKind::Undershoot, &on_the_way, UNDERSHOOT_S, |c| floor - UNDERSHOOT_C - c)
            .into_iter()
            .filter(|c| {
                working_from.is_none_or(|w| c.from.since(w).as_secs_f64() < UNDERSHOOT_WORKING_S as f64)
            }),
    );
    found.extend(stretch.beyond(FindingKind::Solidifying, &on_the_way, SOLID_S, |c| floor - SOLID_C - c));
    found.sort_by_key(|c| c.from);
    found
}

struct Stretch<'a> {
    record: &'a Recorder,
    course: &'a Course,
}

impl Stretch<'_> {
    /// Temperatures of the phases in `phases`, with their places.
    fn walk(&self, phases: &[Phase]) -> Vec<(usize, f64)> {
        let last = self.course.sure_to;
        let spans = self.course.phases.iter().filter(|p| phases.contains(&p.phase));
        spans
            .flat_map(|p| self.record.place(p.from)..p.to.map_or(last, |to| self.record.place(to).min(last)))
            .map(|i| (i, f64::from(self.record.celsius[i])))
            .collect()
    }

    /// Stretches in which `past` is above zero for at least `seconds`.
    fn beyond(
        &self,
        kind: FindingKind,
        phases: &[Phase],
        seconds: i64,
        past: impl Fn(f64) -> f64,
    ) -> Vec<Condition> {
        let mut found = Vec::new();
        let mut open: Option<(usize, f64)> = None;
        let mut close = |from: usize, worst: f64, to: usize| {
            if (to - from) as i64 * KEPT_EVERY_S >= seconds {
                let (from, to) = (self.record.moment(from), self.record.moment(to));
                found.push(Condition { kind, from, to, worst });
            }
        };
        let mut last = 0;
        for (place, celsius) in self.walk(phases) {
            let by = past(celsius);
            open = match open {
                Some((from, worst)) if by > 0.0 && place == last + 1 => Some((from, worst.max(by))),
                Some((from, worst)) => {
                    close(from, worst, last + 1);
                    (by > 0.0).then_some((place, by))
                }
                None => (by > 0.0).then_some((place, by)),
            };
            last = place;
        }
        if let Some((from, worst)) = open {
            close(from, worst, last + 1);
        }
        found
    }

    /// Excursions above `limit` whose area reaches 1 °C·min; a new one begins after 15 min below it.
    fn loss(&self, limit: f64, phases: &[Phase]) -> Vec<Condition> {
        let mut found: Vec<Condition> = Vec::new();
        let minutes = KEPT_EVERY_S as f64 / 60.0;
        let mut excursion: Option<(usize, usize, f64)> = None;
        let mut close = |(from, to, area): (usize, usize, f64)| {
            if area >= LOSS_C_MIN {
                let (from, to) = (self.record.moment(from), self.record.moment(to + 1));
                found.push(Condition { kind: FindingKind::TemperLoss, from, to, worst: area });
            }
        };
        for (place, celsius) in self.walk(phases) {
            if celsius <= limit {
                continue;
            }
            let more = (celsius - limit) * minutes;
            excursion = match excursion {
                Some((from, to, area)) if ((place - to) as i64) * KEPT_EVERY_S <= LOSS_APART_S => {
                    Some((from, place, area + more))
                }
                Some(done) => {
                    close(done);
                    Some((place, place, more))
                }
                None => Some((place, place, more)),
            };
        }
        if let Some(done) = excursion {
            close(done);
        }
        found
    }
}
