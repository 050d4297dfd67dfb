//! The limits of the charge's temperature.

use model::{FindingKind, Phase, Timestamp};
use plant::Limits;

use super::{Condition, Ease, Weight};
use crate::recorder::{KEPT_EVERY_S, Recorder};
use crate::true_phases::Course;

const SCORCH_S: i64 = 10;
const LOSS_C_MIN: f64 = 1.0;
const LOSS_APART_S: i64 = 900;
const HOLD_C: f64 = 0.5;
const HOLD_S: i64 = 300;
const UNDERSHOOT_C: f64 = 0.5;
const UNDERSHOOT_S: i64 = 60;
const UNDERSHOOT_WORKING_S: f64 = 1_800.0;
const SOLID_C: f64 = 2.0;
const SOLID_S: i64 = 120;

/// Everything past a limit in one batch.
pub(crate) fn temperature(record: &Recorder, limits: &Limits, course: &Course, ease: Ease) -> Vec<Condition> {
    let stretch = Stretch { record, course, ease };
    let (low, high) = (limits.working.low(), limits.working.high());
    let working = [Phase::Working];
    let on_the_way = [Phase::Cooling, Phase::Settling, Phase::Rewarming, Phase::Working];
    let hold = ease.away(HOLD_C);
    let mut found =
        stretch.beyond(FindingKind::Scorch, &Phase::ALL, SCORCH_S, |c| c - limits.scorch - ease.celsius);
    let loss = stretch.loss(limits.temper_loss + ease.celsius);
    let warm = stretch.beyond(FindingKind::WarmHold, &working, HOLD_S, |c| c - high - hold);
    found.extend(warm.into_iter().filter(|w| !taken_over(w, &loss)));
    found.extend(loss);
    let solid = stretch
        .beyond(FindingKind::Solidifying, &on_the_way, SOLID_S, |c| limits.floor - ease.away(SOLID_C) - c);
    let cold = stretch.beyond(FindingKind::ColdHold, &working, HOLD_S, |c| low - hold - c);
    found.extend(cold.into_iter().filter(|c| !taken_over(c, &solid)));
    found.extend(solid);
    let working_from = course.phases.iter().find(|p| p.phase == Phase::Working).map(|p| p.from);
    let under = ease.away(UNDERSHOOT_C);
    found.extend(
        stretch
            .beyond(FindingKind::Undershoot, &on_the_way, UNDERSHOOT_S, |c| limits.floor - under - c)
            .into_iter()
            .filter(|c| working_from.is_none_or(|w| c.from.since(w).as_secs_f64() < UNDERSHOOT_WORKING_S)),
    );
    found.sort_by_key(|c| c.from);
    found
}

/// The worse condition stood already when this one was met: one cause, one finding.
fn taken_over(condition: &Condition, worse: &[Condition]) -> bool {
    worse.iter().any(|w| w.due <= condition.due && condition.from < w.to)
}

struct Stretch<'a> {
    record: &'a Recorder,
    course: &'a Course,
    ease: Ease,
}

impl Stretch<'_> {
    /// Temperatures of the phases in `phases`, with their places.
    fn walk(&self, phases: &[Phase]) -> impl Iterator<Item = (usize, f64)> {
        let last = self.course.sure_to;
        let spans = self.course.phases.iter().filter(move |p| phases.contains(&p.phase));
        spans
            .flat_map(move |p| {
                self.record.place(p.from)..p.to.map_or(last, |to| self.record.place(to).min(last))
            })
            .map(|i| (i, f64::from(self.record.celsius[i])))
    }

    /// Stretches in which `past` is above zero for at least `seconds`.
    fn beyond(
        &self,
        kind: FindingKind,
        phases: &[Phase],
        seconds: i64,
        past: impl Fn(f64) -> f64,
    ) -> Vec<Condition> {
        let least = self.ease.long(seconds);
        let mut found = Vec::new();
        let mut open: Option<(usize, f64)> = None;
        let mut close = |from: usize, worst: f64, to: usize| {
            if (to - from) as f64 * KEPT_EVERY_S as f64 >= least {
                let due = self.record.moment(from) + model::Span::from_millis((least * 1000.0) as i64);
                found.push(self.condition(kind, (from, to), due, worst));
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

    fn condition(
        &self,
        kind: FindingKind,
        (from, to): (usize, usize),
        due: Timestamp,
        worst: f64,
    ) -> Condition {
        let (from, to) = (self.record.moment(from), self.record.moment(to));
        Condition { kind, from, to, due, latest: due, worst, weight: Weight::Sure }
    }

    /// Excursions above `limit` whose area reaches 1 °C·min; a new one begins after 15 min below it.
    fn loss(&self, limit: f64) -> Vec<Condition> {
        let held = [Phase::Settling, Phase::Working, Phase::Rewarming];
        let asked = LOSS_C_MIN * self.ease.factor;
        let minutes = KEPT_EVERY_S as f64 / 60.0;
        let mut found: Vec<Condition> = Vec::new();
        let mut excursion: Option<Excursion> = None;
        let mut close = |done: Excursion| {
            if let Some(due) = done.due {
                found.push(self.condition(
                    FindingKind::TemperLoss,
                    (done.from, done.to + 1),
                    self.record.moment(due),
                    done.area,
                ));
            }
        };
        for (place, celsius) in self.walk(&held) {
            if celsius <= limit {
                continue;
            }
            let goes_on = |e: &Excursion| ((place - e.to) as i64) * KEPT_EVERY_S <= LOSS_APART_S;
            if let Some(done) = excursion.take_if(|e| !goes_on(e)) {
                close(done);
            }
            let now = excursion.get_or_insert(Excursion { from: place, to: place, area: 0.0, due: None });
            now.to = place;
            now.area += (celsius - limit) * minutes;
            if now.area >= asked {
                now.due.get_or_insert(place);
            }
        }
        if let Some(done) = excursion {
            close(done);
        }
        found
    }
}

/// Time above the temper-loss limit, as places.
struct Excursion {
    from: usize,
    to: usize,
    area: f64,
    due: Option<usize>,
}
