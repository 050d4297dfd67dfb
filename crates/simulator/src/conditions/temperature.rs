//! The limits of the charge's temperature.

use model::{FindingKind, Phase};

use super::{Condition, Ease, Scene};
use crate::recorder::KEPT_EVERY_S;
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
pub(super) fn temperature(scene: &Scene<'_>, course: &Course, ease: Ease) -> Vec<Condition> {
    let limits = &scene.spec.limits;
    let (low, high) = (limits.working.low(), limits.working.high());
    let working = [Phase::Working];
    let on_the_way = [Phase::Cooling, Phase::Settling, Phase::Rewarming, Phase::Working];
    let beyond = |kind, phases: &[Phase], seconds, past: &dyn Fn(f64) -> f64| -> Vec<Condition> {
        let past = |place: usize| past(f64::from(scene.record.celsius[place]));
        let mut all = scene.all_places(course, phases);
        if let (Some(last), Some(cold_to)) = (all.last_mut(), course.cold_to)
            && matches!(kind, FindingKind::Solidifying | FindingKind::ColdHold)
        {
            last.end = last.end.max(cold_to);
        }
        all.into_iter().flat_map(|places| scene.stretches(kind, places, ease.long(seconds), past)).collect()
    };
    let hold = ease.away(HOLD_C);
    let mut found = beyond(FindingKind::Scorch, &Phase::ALL, SCORCH_S, &|c| c - limits.scorch - ease.celsius);
    let loss = loss(scene, course, ease, limits.temper_loss + ease.celsius);
    let warm = beyond(FindingKind::WarmHold, &working, HOLD_S, &|c| c - high - hold);
    found.extend(warm.into_iter().filter(|w| !taken_over(w, &loss)));
    found.extend(loss);
    let solid =
        beyond(FindingKind::Solidifying, &on_the_way, SOLID_S, &|c| limits.floor - ease.away(SOLID_C) - c);
    let cold = beyond(FindingKind::ColdHold, &working, HOLD_S, &|c| low - hold - c);
    found.extend(cold.into_iter().filter(|c| !taken_over(c, &solid)));
    found.extend(solid);
    let working_from = course.phases.iter().find(|p| p.phase == Phase::Working).map(|p| p.from);
    let under = ease.away(UNDERSHOOT_C);
    let undershoot =
        beyond(FindingKind::Undershoot, &on_the_way, UNDERSHOOT_S, &|c| limits.floor - under - c);
    let in_time =
        |c: &Condition| working_from.is_none_or(|w| c.from.since(w).as_secs_f64() < UNDERSHOOT_WORKING_S);
    found.extend(undershoot.into_iter().filter(in_time));
    found.sort_by_key(|c| c.from);
    found
}

/// The worse condition stood already when this one was met: one cause, one finding.
fn taken_over(condition: &Condition, worse: &[Condition]) -> bool {
    worse.iter().any(|w| w.due <= condition.due && condition.from < w.to)
}

/// Excursions above `limit` whose area reaches 1 °C·min; a new one begins after 15 min below it.
fn loss(scene: &Scene<'_>, course: &Course, ease: Ease, limit: f64) -> Vec<Condition> {
    let asked = LOSS_C_MIN * ease.factor;
    let minutes = KEPT_EVERY_S as f64 / 60.0;
    let mut found: Vec<Condition> = Vec::new();
    let mut excursion: Option<Excursion> = None;
    let mut close = |done: Excursion| {
        if let Some(due) = done.due {
            let span = (scene.moment(done.from), scene.moment(done.to + 1));
            found.push(Condition::new(FindingKind::TemperLoss, span, scene.moment(due), done.area));
        }
    };
    for place in scene.all_places(course, &[Phase::Settling, Phase::Working]).into_iter().flatten() {
        let celsius = f64::from(scene.record.celsius[place]);
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

/// Time above the temper-loss limit, as places.
struct Excursion {
    from: usize,
    to: usize,
    area: f64,
    due: Option<usize>,
}
