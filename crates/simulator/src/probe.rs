//! A probe in the charge: late, noisy, a little wrong, and rounded.
//!
//! It does not see the bulk alone. Cold pieces knock against it after seeding, lumps and air while a charge melts, and
//! the wall's eddies while the stirrer turns.

use crate::dice::Dice;

/// Steel sheath: first-order lag, seconds. Bare probes 10–40 s, thermowells 60–180 s (from memory).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct ProbeBuild {
    pub(crate) lag_s: f64,
    /// Electronics' deviation, °C.
    pub(crate) noise_c: f64,
    /// Smallest step, °C: 0.1 usual, 0.01 with better loggers.
    pub(crate) resolution_c: f64,
    /// Reads so much too high, °C (class B at 31 °C: ±0.46, IEC 60751).
    pub(crate) offset_c: f64,
    /// Ages by so much, °C a day.
    pub(crate) drift_c_per_day: f64,
}

/// What is around the probe.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Around {
    pub(crate) bulk_c: f64,
    pub(crate) wall_c: f64,
    pub(crate) stirred: bool,
    /// Share of the fat that is solid.
    pub(crate) solid: f64,
    /// Share of the mass that is undissolved pieces, and how much colder they are.
    pub(crate) pieces: f64,
    pub(crate) pieces_colder_by: f64,
}

/// Eddies last so long, seconds (assumed).
const EDDY_S: f64 = 6.0;
/// Deviation of eddies: a floor, and a share of the difference between wall and bulk (assumed).
const EDDY_FLOOR: f64 = 0.015;
const EDDY_SHARE: f64 = 0.006;
/// A still charge has so much of it left: noise falls by more than half (common practice).
const EDDY_AT_REST: f64 = 0.3;
/// Lumps and air while a charge melts: slow wandering of so much, °C, over so long, seconds (assumed).
const LUMPS_C: f64 = 0.7;
const LUMPS_S: f64 = 90.0;
/// Pieces that knock against the probe: a minute and share, and how much of their cold it feels (assumed).
const KNOCKS: f64 = 25.0;
const KNOCK_DEPTH: f64 = 0.6;
const KNOCK_S: (f64, f64) = (2.0, 7.0);

/// The probe as it stands.
#[derive(Debug, Clone)]
pub(crate) struct Probe {
    pub(crate) build: ProbeBuild,
    sheath_c: f64,
    eddy: f64,
    lumps: f64,
    knock_left_s: f64,
    knock_share: f64,
    age_days: f64,
    dice: Dice,
}

impl Probe {
    pub(crate) fn new(build: ProbeBuild, celsius: f64, dice: Dice) -> Probe {
        Probe {
            build,
            sheath_c: celsius,
            eddy: 0.0,
            lumps: 0.0,
            knock_left_s: 0.0,
            knock_share: 0.0,
            age_days: 0.0,
            dice,
        }
    }

    pub(crate) fn step(&mut self, seconds: f64, around: &Around) {
        let eddies = (EDDY_FLOOR + EDDY_SHARE * (around.wall_c - around.bulk_c).abs())
            * if around.stirred { 1.0 } else { EDDY_AT_REST };
        wander(&mut self.eddy, eddies, EDDY_S, seconds, &mut self.dice);
        let mut here = around.bulk_c + self.eddy;
        if around.solid > 0.1 {
            let rough = LUMPS_C * around.solid * ((around.wall_c - around.bulk_c).abs() / 10.0).min(1.5);
            wander(&mut self.lumps, rough, LUMPS_S, seconds, &mut self.dice);
            here += self.lumps;
        }
        if around.pieces > 0.0 && around.stirred {
            if self.knock_left_s > 0.0 {
                self.knock_left_s -= seconds;
                here -= self.knock_share * around.pieces_colder_by;
            } else if self.dice.chance(KNOCKS * around.pieces * seconds / 60.0) {
                self.knock_left_s = self.dice.between(KNOCK_S.0, KNOCK_S.1);
                self.knock_share = KNOCK_DEPTH * self.dice.even();
            }
        }
        self.sheath_c += (here - self.sheath_c) * (seconds / self.build.lag_s).min(1.0);
        self.age_days += seconds / 86_400.0;
    }

    /// What it shows now, with noise and offset, not yet rounded.
    pub(crate) fn read(&mut self) -> f64 {
        self.sheath_c
            + self.build.offset_c
            + self.build.drift_c_per_day * self.age_days
            + self.build.noise_c * self.dice.normal()
    }

    /// Without noise: what a controller's own filter makes of it.
    pub(crate) fn smooth(&self) -> f64 {
        self.sheath_c + self.build.offset_c
    }
}

/// One step of a wandering value with deviation `size` and memory `memory_s` (first-order autoregressive).
pub(crate) fn wander(value: &mut f64, size: f64, memory_s: f64, seconds: f64, dice: &mut Dice) {
    let keep = 1.0 - (seconds / memory_s).min(1.0);
    *value = keep * *value + size * (1.0 - keep * keep).sqrt() * dice.normal();
}

/// `value` in whole steps of `resolution`, as digits: what goes over the wire.
pub(crate) fn rounded(value: f64, resolution: f64) -> f64 {
    (value / resolution).round() * resolution
}

#[cfg(test)]
mod tests {
    use super::*;

    const BUILD: ProbeBuild =
        ProbeBuild { lag_s: 20.0, noise_c: 0.03, resolution_c: 0.01, offset_c: 0.2, drift_c_per_day: 0.0 };

    #[test]
    fn lags_by_63_percent_after_its_time_constant() {
        let calm = Around {
            bulk_c: 41.0,
            wall_c: 41.0,
            stirred: false,
            solid: 0.0,
            pieces: 0.0,
            pieces_colder_by: 0.0,
        };
        let mut probe = Probe::new(BUILD, 31.0, Dice::new(1, 1));
        for _ in 0..20 {
            probe.step(1.0, &calm);
        }
        // 1 − 1/e of ten degrees, offset counted; the second's step costs a little.
        assert!((probe.smooth() - 0.2 - 37.32).abs() < 0.2, "{}", probe.smooth());
    }

    #[test]
    fn cold_pieces_are_felt() {
        let seeding = Around {
            bulk_c: 34.0,
            wall_c: 28.0,
            stirred: true,
            solid: 0.0,
            pieces: 0.2,
            pieces_colder_by: 10.0,
        };
        let mut probe = Probe::new(BUILD, 34.0, Dice::new(1, 1));
        let mut lowest = f64::INFINITY;
        for _ in 0..60 {
            probe.step(1.0, &seeding);
            lowest = lowest.min(probe.smooth());
        }
        assert!(lowest < 33.5, "{lowest}");
    }
}
