//! What holds the temperature: a jacket loop for kettles, a plain thermostat with a fan for wheel machines.
//!
//! Both switch a heater on and off with hysteresis, so that the hold is a saw-tooth and not a line. The controller has a
//! sensor of its own: what goes wrong with the recorded probe does not fool it.

/// Below this set-point a machine is off.
pub(crate) const OFF_BELOW: f64 = 26.0;

/// What the controller asks for.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Asked {
    pub(crate) heater_w: f64,
    pub(crate) valve_open: bool,
    pub(crate) fan_on: bool,
}

/// How it holds.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Kind {
    /// Chocolate error × gain shifts the jacket's target; heater and water valve hold the jacket there.
    Jacket {
        /// Jacket °C for each °C of chocolate error.
        gain: f64,
        /// The jacket's coldest and hottest target.
        range: (f64, f64),
    },
    /// Heater below, fan above.
    Thermostat {
        /// Half the distance between switching on and off, °C.
        hysteresis: f64,
        /// Within [`LOW_HEAT_NEAR`] of the set-point the heater runs at this share of its power.
        low_heat: f64,
        /// The bowl's own limit switch, °C.
        wall_most: f64,
    },
    /// Nothing there: a bowl on the bench.
    ByHand,
}

/// Half the jacket loop's hysteresis, °C (assumed).
const JACKET_HYSTERESIS: f64 = 0.5;
/// The water valve stays shut up to here above the target, °C, so that it does not fight the heater.
const VALVE_DEAD_ZONE: f64 = 1.0;
/// The fan starts so far above the set-point and stops nearer to it, °C.
const FAN_ON: f64 = 0.5;
const FAN_OFF: f64 = 0.15;
/// A thermostat's low stage, °C below the set-point: full heat would carry a light bowl a degree past it.
const LOW_HEAT_NEAR: f64 = 2.0;
/// Reset time of the slow integral part, seconds, and how far it may shift the jacket, °C.
const RESET_S: f64 = 1_500.0;
const RESET_MOST: f64 = 4.0;
/// The integral part works only this near the set-point, °C, so that it does not wind up on the way down.
const RESET_NEAR: f64 = 0.7;

/// A controller and its switches.
#[derive(Debug, Clone)]
pub(crate) struct Controller {
    kind: Kind,
    heater_w: f64,
    heater_on: bool,
    valve_open: bool,
    fan_on: bool,
    /// Of full heat.
    share: f64,
    reset: f64,
}

impl Controller {
    pub(crate) fn new(kind: Kind, heater_w: f64) -> Controller {
        Controller {
            kind,
            heater_w,
            heater_on: false,
            valve_open: false,
            fan_on: false,
            share: 1.0,
            reset: 0.0,
        }
    }

    pub(crate) fn full_heat(&self) -> f64 {
        self.heater_w
    }

    /// One look at the sensors. `overtuned` multiplies the jacket's gain and sharpens the fan (1 when all is well).
    pub(crate) fn act(
        &mut self,
        seconds: f64,
        setpoint: f64,
        sensor_c: f64,
        wall_c: f64,
        overtuned: f64,
    ) -> Asked {
        if setpoint < OFF_BELOW {
            (self.heater_on, self.valve_open, self.fan_on, self.reset) = (false, false, false, 0.0);
            return Asked::default();
        }
        let error = setpoint - sensor_c;
        match self.kind {
            Kind::Jacket { gain, range } => {
                if error.abs() < RESET_NEAR {
                    let push = gain * error * seconds / RESET_S;
                    self.reset = (self.reset + push).clamp(-RESET_MOST, RESET_MOST);
                }
                let target = (setpoint + gain * overtuned * error + self.reset).clamp(range.0, range.1);
                self.heater_on = switched(self.heater_on, target - wall_c, JACKET_HYSTERESIS);
                self.valve_open =
                    switched(self.valve_open, wall_c - target - VALVE_DEAD_ZONE, JACKET_HYSTERESIS);
            }
            Kind::Thermostat { hysteresis, low_heat, wall_most } => {
                self.share = if error < LOW_HEAT_NEAR { low_heat } else { 1.0 };
                self.heater_on = switched(self.heater_on, error, hysteresis) && wall_c < wall_most;
                let fan_at = if self.fan_on { FAN_OFF } else { FAN_ON };
                self.fan_on = -error > fan_at / overtuned;
            }
            Kind::ByHand => {}
        }
        Asked {
            heater_w: if self.heater_on { self.heater_w * self.share } else { 0.0 },
            valve_open: self.valve_open && !self.heater_on,
            fan_on: self.fan_on,
        }
    }
}

/// On above `+hysteresis`, off below `−hysteresis`, as it was between.
fn switched(on: bool, wanted: f64, hysteresis: f64) -> bool {
    if on { wanted > -hysteresis } else { wanted > hysteresis }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_thermostat_switches_only_outside_its_hysteresis() {
        let mut one =
            Controller::new(Kind::Thermostat { hysteresis: 0.2, low_heat: 0.2, wall_most: 60.0 }, 500.0);
        let heats = |c: &mut Controller, sensor| c.act(1.0, 31.5, sensor, 32.0, 1.0).heater_w > 0.0;
        assert!(!heats(&mut one, 31.4));
        assert!(heats(&mut one, 31.2));
        assert!(heats(&mut one, 31.6));
        assert!(!heats(&mut one, 31.8));
    }

    #[test]
    fn a_low_setpoint_is_off() {
        let mut one = Controller::new(Kind::Jacket { gain: 4.0, range: (22.0, 52.0) }, 1000.0);
        assert_eq!(one.act(1.0, 20.0, 10.0, 10.0, 1.0), Asked::default());
    }

    #[test]
    fn the_jacket_never_aims_past_its_range() {
        let mut one = Controller::new(Kind::Jacket { gain: 4.0, range: (22.0, 52.0) }, 1000.0);
        assert_eq!(one.act(1.0, 46.0, 25.0, 53.0, 1.0).heater_w, 0.0);
        assert!(!one.act(1.0, 31.5, 45.0, 21.0, 1.0).valve_open);
    }
}
