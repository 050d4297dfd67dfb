//! What is around the charge: the room, the stirrer, the heater.
//!
//! A healthy two-point controller that brings a charge back meets the jacket's half of `heater-stuck` to the letter. Where
//! nothing was planted that heats, that half is borderline.

use model::{Channel, FindingKind, Phase};

use super::{Condition, Ease, Scene, Weight, places_in};

const HOT_C: f64 = 24.0;
const DAMP_RH: f64 = 60.0;
const ROOM_S: i64 = 600;
/// Moves of the room's limits that count as nothing: °C, %RH.
const ROOM_MARGIN: (f64, f64) = (0.3, 1.5);
const STIRRER_S: i64 = 120;
const HEATER_ABOVE_C: f64 = 3.0;
const HEATER_RISING_S: i64 = 300;
const HEATER_NEAR_C: f64 = 0.5;
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
    let easier = ease.factor - 1.0;
    let mut found = Vec::new();
    if scene.has(Channel::Room) {
        let limit = HOT_C + easier / 0.15 * ROOM_MARGIN.0;
        found.extend(scene.stretches(FindingKind::HotRoom, all.clone(), ease.long(ROOM_S), |i| {
            f64::from(record.room[i]) - limit
        }));
    }
    if scene.has(Channel::Humidity) {
        let limit = DAMP_RH + easier / 0.15 * ROOM_MARGIN.1;
        found.extend(scene.stretches(FindingKind::DampRoom, all, ease.long(ROOM_S), |i| {
            f64::from(record.humidity[i]) - limit
        }));
    }
    if scene.has(Channel::Stirrer) {
        for course in scene.courses {
            let spans: Vec<_> = [Phase::Cooling, Phase::Settling, Phase::Rewarming, Phase::Working]
                .into_iter()
                .filter_map(|phase| scene.places(course, phase))
                .collect();
            let (Some(first), Some(last)) =
                (spans.iter().map(|s| s.start).min(), spans.iter().map(|s| s.end).max())
            else {
                continue;
            };
            found.extend(scene.stretches(
                FindingKind::StirrerStopped,
                first..last,
                ease.long(STIRRER_S),
                |i| {
                    if record.turning[i] { 0.0 } else { 1.0 }
                },
            ));
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
        // A set-point that has just been changed says nothing of what was heated before.
        let asked = record.setpoint[i - over] == record.setpoint[i] && setpoint >= 26.0;
        let jacket = scene.has(Channel::Jacket)
            && risen >= long
            && f64::from(record.wall[i]) > setpoint + above
            && chocolate >= setpoint - HEATER_NEAR_C;
        let itself = chocolate > setpoint + above
            && chocolate - f64::from(record.celsius[i - over]) > CHOCOLATE_RISES_C * ease.factor;
        if !asked || !(jacket || itself) {
            continue;
        }
        let itself = itself && chocolate - lowest >= COME_UP_C * ease.factor;
        let moment = scene.moment(i);
        let far = |last: &Condition| moment.since(last.to).as_secs_f64() > SAME_S;
        match found.last_mut() {
            Some(last) if !far(last) => {
                last.to = moment;
                if last.weight == Weight::Borderline && (itself || scene.heats_by_fault(moment)) {
                    (last.weight, last.due, last.latest) = (Weight::Sure, moment, moment);
                }
            }
            _ => {
                let from = i.saturating_sub(if jacket { long } else { over });
                let mut one =
                    scene.condition(FindingKind::HeaterStuck, (from, i + 1), i, chocolate - setpoint);
                if !itself && !scene.heats_by_fault(one.due) {
                    one.weight = Weight::Borderline;
                }
                found.push(one);
            }
        }
    }
    found
}
