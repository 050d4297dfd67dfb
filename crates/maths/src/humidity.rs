//! # Humidity
//!
//! When a cold piece, mould or jacket will sweat.
//!
//! ```text
//! e_s(t) = C exp(a t/(b + t))            g = ln(RH/100) + a t/(b + t)            t_d = b g/(a − g)
//! ```
//!
//! | symbol | meaning | unit |
//! | --- | --- | --- |
//! | e_s | pressure of saturated vapour over water | hPa |
//! | t, t_d | air temperature and dew point | °C |
//! | RH | relative humidity | % |
//!
//! *Range of validity.* Over liquid water, −40 to 60 °C, pure vapour (moist air at 1013 hPa adds under half a per cent). Within
//! 0.03 K of the ASHRAE equations between 10 and 30 °C and 40 to 80 % RH, which the tests check.
//! *Sources.* Alduchov & Eskridge 1996, J. Appl. Meteorol. 35, 601–609, eq. 21 (the default, [`Magnus::AERK`]); WMO-No. 8, annex 4.B;
//! Murray 1967 after Tetens.
//!
//! The demoulding rule: what leaves the cabinet must be warmer than the room's dew point, with a margin of one to two degrees
//! (common practice, no source). Sugar on a wet surface blooms later; and where water drips, lift electrical covers only when
//! they are isolated.

/// One set of constants of the Magnus formula.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Magnus {
    c_hpa: f64,
    a: f64,
    b_c: f64,
}

/// Air that the formulas are good for, °C.
const AIR_C: std::ops::RangeInclusive<f64> = -40.0..=60.0;

impl Magnus {
    /// Alduchov & Eskridge 1996; relative error of the pressure at most 0.384 %.
    pub const AERK: Magnus = Magnus { c_hpa: 6.1094, a: 17.625, b_c: 243.04 };
    /// WMO-No. 8, annex 4.B.
    pub const WMO: Magnus = Magnus { c_hpa: 6.112, a: 17.62, b_c: 243.12 };
    /// Tetens' form with Murray's constants, rounded as commonly used.
    pub const TETENS: Magnus = Magnus { c_hpa: 6.1078, a: 17.27, b_c: 237.3 };

    fn exponent(&self, celsius: f64) -> f64 {
        self.a * celsius / (self.b_c + celsius)
    }

    /// Pressure of saturated vapour over water, hPa. `None` outside −40…60 °C.
    pub fn saturation_hpa(&self, celsius: f64) -> Option<f64> {
        AIR_C.contains(&celsius).then(|| self.c_hpa * self.exponent(celsius).exp())
    }

    /// Dew point, °C. `None` outside −40…60 °C, or unless `0 < humidity ≤ 100`.
    pub fn dew_point(&self, celsius: f64, humidity_percent: f64) -> Option<f64> {
        let inside = AIR_C.contains(&celsius) && 0.0 < humidity_percent && humidity_percent <= 100.0;
        let g = (humidity_percent / 100.0).ln() + self.exponent(celsius);
        inside.then(|| self.b_c * g / (self.a - g))
    }

    /// Relative humidity, %, from the dew point. `None` outside −40…60 °C, or for a dew point above the air.
    pub fn relative_humidity(&self, celsius: f64, dew_point_c: f64) -> Option<f64> {
        let inside = AIR_C.contains(&celsius) && -self.b_c < dew_point_c && dew_point_c <= celsius;
        inside.then(|| 100.0 * (self.exponent(dew_point_c) - self.exponent(celsius)).exp())
    }
}

/// Dew point, °C, by Alduchov & Eskridge. `None` as for [`Magnus::dew_point`].
pub fn dew_point(celsius: f64, humidity_percent: f64) -> Option<f64> {
    Magnus::AERK.dew_point(celsius, humidity_percent)
}

/// Largest relative error of the formula's pressure.
const FORMULA_ERROR: f64 = 0.003_84;

/// Dew point and its standard error, from the standard errors of both sensors; the formula's own bound is added as if it were
/// one. At 20 °C and 60 %, ±0.5 °C and ±3 % RH make ±0.9 °C. `None` as for [`Magnus::dew_point`], or for negative errors.
pub fn dew_point_with_error(
    celsius: f64,
    humidity_percent: f64,
    celsius_se: f64,
    humidity_se: f64,
) -> Option<(f64, f64)> {
    let Magnus { a, b_c, .. } = Magnus::AERK;
    let dew_point_c = dew_point(celsius, humidity_percent)?;
    let g = (humidity_percent / 100.0).ln() + Magnus::AERK.exponent(celsius);
    let by_air = a * b_c / (b_c + celsius).powi(2) * celsius_se;
    let by_humidity = humidity_se / humidity_percent;
    let error = b_c * a / (a - g).powi(2) * by_air.hypot(by_humidity).hypot(FORMULA_ERROR);
    (0.0 <= celsius_se && 0.0 <= humidity_se && error.is_finite()).then_some((dew_point_c, error))
}

/// Gas constant of water vapour, J/(kg K), as R/M with M = 18.015 g/mol.
const VAPOUR_GAS_CONSTANT: f64 = 461.52;
/// 0 °C in kelvin.
const KELVIN: f64 = 273.15;

/// Water in the air, g/m³: vapour pressure over (gas constant × absolute temperature). `None` as for [`Magnus::dew_point`].
pub fn absolute_humidity(celsius: f64, humidity_percent: f64) -> Option<f64> {
    let inside = (0.0..=100.0).contains(&humidity_percent);
    let vapour_pa = Magnus::AERK.saturation_hpa(celsius)? * humidity_percent;
    inside.then(|| vapour_pa / (VAPOUR_GAS_CONSTANT * (celsius + KELVIN)) * 1e3)
}

/// What happens to a cold surface that meets the room.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sweating {
    /// Warmer than dew point and margin: it stays dry.
    Dry,
    /// Warmer than the dew point, but within the margin.
    Close,
    /// At or below the dew point: it sweats.
    Sweats,
}

/// The demoulding rule, with its numbers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Demoulding {
    /// Dew point of the room, °C.
    pub dew_point_c: f64,
    /// How much warmer the surface is than the dew point, K; negative when it is colder.
    pub above_dew_point_c: f64,
    /// What follows.
    pub sweating: Sweating,
}

/// Applies the demoulding rule to a surface (piece, mould, jacket, bowl). `None` as for [`Magnus::dew_point`], or for a surface or
/// margin that is not finite.
pub fn demoulding(surface_c: f64, room_c: f64, humidity_percent: f64, margin_c: f64) -> Option<Demoulding> {
    let dew_point_c = dew_point(room_c, humidity_percent)?;
    let above_dew_point_c = surface_c - dew_point_c;
    let sweating = if above_dew_point_c <= 0.0 {
        Sweating::Sweats
    } else if above_dew_point_c < margin_c {
        Sweating::Close
    } else {
        Sweating::Dry
    };
    (above_dew_point_c.is_finite() && margin_c.is_finite()).then_some(Demoulding {
        dew_point_c,
        above_dew_point_c,
        sweating,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn outside_is_none() {
        for (t, rh) in
            [(20.0, 0.0), (20.0, 101.0), (-41.0, 50.0), (61.0, 50.0), (f64::NAN, 50.0), (20.0, f64::NAN)]
        {
            assert_eq!(dew_point(t, rh), None);
            assert_eq!(demoulding(14.0, t, rh, 1.5), None);
            assert_eq!(dew_point_with_error(t, rh, 0.5, 3.0), None);
        }
        assert_eq!(demoulding(f64::NAN, 20.0, 60.0, 1.5), None);
        assert_eq!(absolute_humidity(20.0, -1.0), None);
        assert_eq!(Magnus::AERK.relative_humidity(20.0, 21.0), None);
        assert_eq!(dew_point_with_error(20.0, 60.0, -0.5, 3.0), None);
    }

    /// The error by formula against two dew points a little apart.
    #[test]
    fn error_is_the_slope() {
        let (middle, error) = dew_point_with_error(20.0, 60.0, 0.5, 0.0).unwrap();
        let half = (dew_point(20.5, 60.0).unwrap() - dew_point(19.5, 60.0).unwrap()) / 2.0;
        assert!((middle - 12.0).abs() < 0.05 && (error - half.hypot(0.06)).abs() < 0.01, "{error} {half}");
        let (_, error) = dew_point_with_error(20.0, 60.0, 0.5, 3.0).unwrap();
        assert!((error - 0.9).abs() < 0.05, "{error}");
    }

    proptest! {
        #[test]
        fn there_and_back(celsius in -20.0..50.0_f64, humidity in 5.0..100.0_f64) {
            let dew = dew_point(celsius, humidity).unwrap();
            prop_assert!(dew <= celsius + 1e-9);
            let back = Magnus::AERK.relative_humidity(celsius, dew.min(celsius)).unwrap();
            prop_assert!((back - humidity).abs() < 1e-8);
        }

        #[test]
        fn rises_with_both(celsius in -20.0..50.0_f64, humidity in 5.0..98.0_f64) {
            prop_assert!(dew_point(celsius, humidity).unwrap() < dew_point(celsius, humidity + 1.0).unwrap());
            prop_assert!(dew_point(celsius, humidity).unwrap() < dew_point(celsius + 1.0, humidity).unwrap());
            prop_assert!(absolute_humidity(celsius, humidity).unwrap() < absolute_humidity(celsius, humidity + 1.0).unwrap());
        }
    }
}
