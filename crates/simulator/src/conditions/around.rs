//! What is around the charge: the room, the stirrer, the heater.
//!
//! A healthy two-point controller that brings a charge back meets the jacket's half of `heater-stuck` to the letter, and a charge that
//! cools towards a lowered set-point may meet the chocolate's. Where nothing was planted that heats, both are excused.

use model::{Channel, FindingKind, Phase};

use super::{Condition, Ease, Excuse, Scene, Weight, places_in};

const HOT_C: f64 = 24.0;
const DAMP_RH: f64 = 60.0;
const ROOM_S: i64 = 600;
/// Moves of the room's limits that count as nothing: °C, %RH.
const ROOM_MARGIN: (f64, f64) = (0.3, 1.5);
const STIRRER_S: i64 = 120;
const HEATER_ABOVE_C: f64 = 3.0;
const HEATER_RISING_S: i64 = 300;
const HEATER_NEAR_C: f64 = 0.5;
const OFF_BELOW_C: f64 = 26.0;
/// A jacket rises if it is higher than so many seconds ago, for all of the time.
const RISING_OVER_S: f64 = 60.0;
/// What cools down towards a set-point that was lowered stands far above it for long, and may come up a little on the way.
const COME_UP_C: f64 = 1.0;
/// Chocolate rises if it has gained so much in two minutes, °C.
const CHOCOLATE_RISES_C: f64 = 0.15;
const CHOCOLATE_OVER_S: f64 = 120.0;
/// One relay, one condition: moments that are apart by less belong together, seconds.
const SAME_S: f64 = 900.0;

/// `hot-room`, `damp-room` and `stirrer-stopped`.
pub(super) fn around(scene: &Scene<'_>, ease: Ease) -> Vec<Condition> {
    let record = scene.record;
    let all = 0..record.celsius.len();
    let mut found = Vec::new();
    if scene.has(Channel::Room) {
        let limit = ease.within(HOT_C, ROOM_MARGIN.0);
        found.extend(scene.stretches(FindingKind::HotRoom, all.clone(), ease.long(ROOM_S), |i| {
            f64::from(record.room[i]) - limit
        }));
    }
    if scene.has(Channel::Humidity) {
        let limit = ease.within(DAMP_RH, ROOM_MARGIN.1);
        found.extend(scene.stretches(FindingKind::DampRoom, all, ease.long(ROOM_S), |i| {
            f64::from(record.humidity[i]) - limit
        }));
    }
    if scene.has(Channel::Stirrer) {
        let asked = [Phase::Cooling, Phase::Settling, Phase::Working];
        for places in scene.courses.letter.iter().flat_map(|course| scene.all_places(course, &asked)) {
            let still = |i: usize| if record.turning[i] { 0.0 } else { 1.0 };
            found.extend(scene.stretches(FindingKind::StirrerStopped, places, ease.long(STIRRER_S), still));
        }
    }
    found
}

/// `heater-stuck`, where the set-point is known.
pub(super) fn heater_stuck(scene: &Scene<'_>, ease: Ease) -> Vec<Condition> {
    if !scene.has(Channel::Setpoint) {
        return Vec::new();
    }
    let record = scene.record;
    let above = HEATER_ABOVE_C * ease.factor;
    let (rising, long) = (places_in(RISING_OVER_S), places_in(HEATER_RISING_S as f64 * ease.factor));
    let over = places_in(CHOCOLATE_OVER_S);
    let mut risen = 0usize;
    let mut lowest = f64::INFINITY;
    let mut found: Vec<Condition> = Vec::new();
    for i in rising.max(over)..record.celsius.len() {
        risen = if record.wall[i] > record.wall[i - rising] { risen + 1 } else { 0 };
        let (chocolate, setpoint) = (f64::from(record.celsius[i]), f64::from(record.setpoint[i]));
        lowest = if record.setpoint[i - 1] == record.setpoint[i] { lowest.min(chocolate) } else { chocolate };
        let jacket = scene.has(Channel::Jacket)
            && risen >= long
            && f64::from(record.wall[i]) > setpoint + above
            && chocolate >= setpoint - HEATER_NEAR_C;
        let itself = chocolate > setpoint + above
            && chocolate - f64::from(record.celsius[i - over]) > CHOCOLATE_RISES_C * ease.factor;
        // By the contract nothing is raised where the set-point says that nobody wants heat.
        if setpoint < OFF_BELOW_C || !(jacket || itself) {
            continue;
        }
        let moment = scene.moment(i);
        let why = if record.setpoint[i - over] != record.setpoint[i] {
            Some(Excuse::SetpointJustChanged)
        } else if scene.heats_by_fault(moment) || (itself && chocolate - lowest >= COME_UP_C * ease.factor) {
            None
        } else if itself {
            Some(Excuse::ComesUpALittle)
        } else {
            Some(Excuse::OrdinaryHeating)
        };
        match found.last_mut() {
            Some(last) if moment.since(last.to).as_secs_f64() <= SAME_S => {
                last.to = moment;
                if !last.is_sure() && why.is_none() {
                    (last.weight, last.due, last.latest) = (Weight::Sure, moment, moment);
                }
            }
            Some(_) | None => {
                let from = scene.moment(i.saturating_sub(if jacket { long } else { over }));
                let span = (from, scene.moment(i + 1));
                let one = Condition::new(FindingKind::HeaterStuck, span, moment, chocolate - setpoint);
                found.push(one.unless(why));
            }
        }
    }
    found
}
