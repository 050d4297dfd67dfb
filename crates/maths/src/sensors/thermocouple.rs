//! Thermocouples of the types K, T and J (ITS-90; NIST Monograph 175, equal to IEC 60584-1).
//!
//! The reference functions give millivolts from degrees, with the cold junction at 0 °C. Voltages add, temperatures do not: a
//! voltage measured against a cold junction at `t_c` is first raised by `E(t_c)`, and only then turned into degrees.
//!
//! The published inverse polynomials are up to 0.06 K off the reference functions. Degrees are therefore found by inverting the
//! reference function itself; the tests check that the result stays within the published error bounds of the polynomials.

use super::invert_rising;
use super::reference_functions::{J, K_ABOVE, K_BELOW, K_EXPONENTIAL, T_ABOVE, T_BELOW};

/// The metals of a thermocouple.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Nickel-chromium against nickel-aluminium.
    K,
    /// Copper against copper-nickel.
    T,
    /// Iron against copper-nickel.
    J,
}

impl Kind {
    /// Lowest and highest temperature that are converted, °C. Below −200 °C (J: −210) the functions grow too flat to invert.
    pub fn range(self) -> (f64, f64) {
        match self {
            Kind::K => (-200.0, 1372.0),
            Kind::T => (-200.0, 400.0),
            Kind::J => (-210.0, 760.0),
        }
    }
}

fn polynomial(coefficients: &[f64], t: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, coefficient| sum * t + coefficient)
}

fn millivolt(kind: Kind, celsius: f64) -> f64 {
    match kind {
        Kind::K if celsius < 0.0 => polynomial(&K_BELOW, celsius),
        Kind::K => {
            let [height, width, centre] = K_EXPONENTIAL;
            polynomial(&K_ABOVE, celsius) + height * (width * (celsius - centre).powi(2)).exp()
        }
        Kind::T if celsius < 0.0 => polynomial(&T_BELOW, celsius),
        Kind::T => polynomial(&T_ABOVE, celsius),
        Kind::J => polynomial(&J, celsius),
    }
}

/// Voltage with the cold junction at 0 °C. `None` outside [`Kind::range`].
pub fn thermocouple_millivolt(kind: Kind, celsius: f64) -> Option<f64> {
    let (low, high) = kind.range();
    (low..=high).contains(&celsius).then(|| millivolt(kind, celsius))
}

/// Temperature of the measuring junction from the voltage measured against a cold junction at `cold_junction_c`.
/// `None` when either lies outside [`Kind::range`].
pub fn thermocouple_celsius(kind: Kind, millivolts: f64, cold_junction_c: f64) -> Option<f64> {
    let (low, high) = kind.range();
    let cold = thermocouple_millivolt(kind, cold_junction_c)?;
    invert_rising(|celsius| millivolt(kind, celsius), millivolts + cold, low, high)
}

/// Tolerance classes of IEC 60584-1 (from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ThermocoupleClass {
    /// The better class: K and J ±1.5 K, T ±0.5 K, or 0.4 % of the reading where that is more.
    One,
    /// The usual class: K and J ±2.5 K, T ±1.0 K, or 0.75 % of the reading where that is more.
    Two,
}

/// What a thermocouple of this class may be wrong by, in kelvin. `None` outside the range of the class.
pub fn thermocouple_tolerance(kind: Kind, class: ThermocoupleClass, celsius: f64) -> Option<f64> {
    let (fixed, highest) = match (kind, class) {
        (Kind::K, ThermocoupleClass::One) => (1.5, 1000.0),
        (Kind::K, ThermocoupleClass::Two) => (2.5, 1200.0),
        (Kind::T, ThermocoupleClass::One) => (0.5, 350.0),
        (Kind::T, ThermocoupleClass::Two) => (1.0, 350.0),
        (Kind::J, ThermocoupleClass::One) => (1.5, 750.0),
        (Kind::J, ThermocoupleClass::Two) => (2.5, 750.0),
    };
    let share = match class {
        ThermocoupleClass::One => 0.004,
        ThermocoupleClass::Two => 0.0075,
    };
    (-40.0..=highest).contains(&celsius).then(|| f64::max(fixed, share * celsius.abs()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn outside_is_none() {
        for kind in [Kind::K, Kind::T, Kind::J] {
            let (low, high) = kind.range();
            assert_eq!(thermocouple_millivolt(kind, low - 0.1), None);
            assert_eq!(thermocouple_celsius(kind, 1e3, 20.0), None);
            assert_eq!(thermocouple_celsius(kind, f64::NAN, 20.0), None);
            assert_eq!(thermocouple_celsius(kind, 1.0, f64::NAN), None);
            assert_eq!(thermocouple_celsius(kind, 1.0, high + 1.0), None);
        }
    }

    /// Working range at room temperature: class 1 of type K is wider than the whole range of one degree.
    #[test]
    fn classes_at_31_degrees() {
        assert_eq!(thermocouple_tolerance(Kind::K, ThermocoupleClass::One, 31.0), Some(1.5));
        assert_eq!(thermocouple_tolerance(Kind::T, ThermocoupleClass::One, 31.0), Some(0.5));
        assert_eq!(thermocouple_tolerance(Kind::J, ThermocoupleClass::Two, 31.0), Some(2.5));
        assert_eq!(thermocouple_tolerance(Kind::T, ThermocoupleClass::One, -41.0), None);
    }

    fn any_kind() -> impl Strategy<Value = Kind> {
        prop_oneof![Just(Kind::K), Just(Kind::T), Just(Kind::J)]
    }

    proptest! {
        #[test]
        fn there_and_back_over_any_cold_junction(kind in any_kind(), share in 0.0..1.0_f64, cold in -20.0..60.0_f64) {
            let (low, high) = kind.range();
            let celsius = low + share * (high - low);
            let measured = thermocouple_millivolt(kind, celsius).unwrap() - thermocouple_millivolt(kind, cold).unwrap();
            let back = thermocouple_celsius(kind, measured, cold);
            // The very ends may fall outside by rounding.
            prop_assert!(back.is_none_or(|back| (back - celsius).abs() < 1e-9), "{celsius} {back:?}");
            prop_assert!(back.is_some() || !(1e-9..=1.0 - 1e-9).contains(&share));
        }

        #[test]
        fn equal_junctions_give_no_voltage(kind in any_kind(), celsius in -20.0..60.0_f64) {
            prop_assert!((thermocouple_celsius(kind, 0.0, celsius).unwrap() - celsius).abs() < 1e-9);
        }

        #[test]
        fn rises_without_a_step(kind in any_kind(), share in 0.0..0.999_f64) {
            let (low, high) = kind.range();
            let celsius = low + share * (high - low);
            let rise = thermocouple_millivolt(kind, celsius + 0.001).unwrap() - thermocouple_millivolt(kind, celsius).unwrap();
            prop_assert!(0.0 < rise && rise < 1e-4);
        }
    }
}
