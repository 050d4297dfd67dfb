//! The air of the works: warmer in the afternoon, damper when it is cooler, never quite still.

use crate::dice::Dice;
use crate::probe::wander;

/// Workroom about 20 °C, default band 18–22 °C, below 50–60 % RH (courses and common practice).
const MEAN_C: f64 = 20.0;
const DAY_SWING_C: f64 = 1.2;
const WARMEST_HOUR: f64 = 16.0;
const MEAN_RH: f64 = 48.0;
/// Relative humidity falls by some 3 % a kelvin at the same dew point (Magnus, from memory).
const RH_PER_K: f64 = 3.0;
/// Slow weather in the room: deviation and memory (assumed).
const WANDER_C: f64 = 0.3;
const WANDER_RH: f64 = 2.0;
const WANDER_S: f64 = 7_200.0;
/// People and warm machines in working hours, °C (assumed).
const WORK_C: f64 = 0.8;

/// The room as it stands. Two rooms of the same seed are the same room.
#[derive(Debug, Clone)]
pub(crate) struct Room {
    drift_c: f64,
    drift_rh: f64,
    rise_c: f64,
    rise_rh: f64,
    hour: f64,
    dice: Dice,
}

/// A rise that was switched on is there after so long, seconds: air-conditioning that failed.
const RISE_S: f64 = 1_800.0;

impl Room {
    pub(crate) fn new(dice: Dice) -> Room {
        Room { drift_c: 0.0, drift_rh: 0.0, rise_c: 0.0, rise_rh: 0.0, hour: 0.0, dice }
    }

    /// Moves on by `seconds` to local `hour`, towards a rise by `rise_c` and `rise_rh`.
    pub(crate) fn step(&mut self, seconds: f64, hour: f64, rise_c: f64, rise_rh: f64) {
        self.hour = hour;
        wander(&mut self.drift_c, WANDER_C, WANDER_S, seconds, &mut self.dice);
        wander(&mut self.drift_rh, WANDER_RH, WANDER_S, seconds, &mut self.dice);
        let share = (seconds / RISE_S).min(1.0);
        self.rise_c += (rise_c - self.rise_c) * share;
        self.rise_rh += (rise_rh - self.rise_rh) * share;
    }

    pub(crate) fn celsius(&self) -> f64 {
        let day = (std::f64::consts::TAU * (self.hour - WARMEST_HOUR) / 24.0).cos();
        let work = if (6.0..18.0).contains(&self.hour) { WORK_C } else { 0.0 };
        MEAN_C + DAY_SWING_C * day + work + self.drift_c + self.rise_c
    }

    pub(crate) fn humidity(&self) -> f64 {
        let warmer = self.celsius() - MEAN_C;
        (MEAN_RH - RH_PER_K * (warmer - self.rise_c) + self.drift_rh + self.rise_rh).clamp(15.0, 98.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_ordinary_week_stays_in_the_usual_band() {
        let mut room = Room::new(Dice::new(3, 0));
        let mut worst: f64 = 0.0;
        for step in 0..7 * 8640 {
            room.step(10.0, (f64::from(step) / 360.0) % 24.0, 0.0, 0.0);
            worst = worst.max((room.celsius() - 20.5).abs());
            assert!(room.humidity() < 60.0, "{}", room.humidity());
        }
        assert!(worst < 3.4, "{worst}");
    }
}
