//! Pt100 resistance thermometers (IEC 60751).
//!
//! ```text
//! R(t) = R₀ (1 + A t + B t²)                     0 ≤ t ≤ 850 °C
//! R(t) = R₀ (1 + A t + B t² + C (t − 100) t³)    −200 ≤ t ≤ 0 °C
//! ```
//! Above 0 °C the inverse is the root of a square; below, the function is inverted by halving.

use super::invert_rising;

const R0_OHM: f64 = 100.0;
const A: f64 = 3.9083e-3;
const B: f64 = -5.775e-7;
const C: f64 = -4.183e-12;
const LOWEST_C: f64 = -200.0;
const HIGHEST_C: f64 = 850.0;

fn ohm(celsius: f64) -> f64 {
    let below_zero = if celsius < 0.0 { C * (celsius - 100.0) * celsius.powi(3) } else { 0.0 };
    R0_OHM * (1.0 + A * celsius + B * celsius * celsius + below_zero)
}

/// Resistance of a Pt100. `None` outside −200…850 °C.
pub fn pt100_ohm(celsius: f64) -> Option<f64> {
    (LOWEST_C..=HIGHEST_C).contains(&celsius).then(|| ohm(celsius))
}

/// Temperature of a Pt100. `None` outside 18.52…390.48 Ω, which is −200…850 °C: a broken wire or a short circuit.
pub fn pt100_celsius(resistance_ohm: f64) -> Option<f64> {
    if !(ohm(LOWEST_C)..=ohm(HIGHEST_C)).contains(&resistance_ohm) {
        return None;
    }
    if resistance_ohm < R0_OHM {
        return invert_rising(ohm, resistance_ohm, LOWEST_C, 0.0);
    }
    // The textbook root (−A + √…)/2B loses digits near 0 °C; this form of the same root does not.
    let excess = resistance_ohm / R0_OHM - 1.0;
    Some(2.0 * excess / (A + (A * A + 4.0 * B * excess).sqrt()))
}

/// Tolerance classes of IEC 60751 (class C and the ranges from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlatinumClass {
    /// ±(0.10 + 0.0017·|t|) K
    AA,
    /// ±(0.15 + 0.002·|t|) K
    A,
    /// ±(0.30 + 0.005·|t|) K
    B,
    /// ±(0.60 + 0.010·|t|) K
    C,
}

/// What a wire-wound Pt100 of this class may be wrong by, in kelvin. `None` outside the range of the class.
pub fn pt100_tolerance(class: PlatinumClass, celsius: f64) -> Option<f64> {
    let (fixed, share, range) = match class {
        PlatinumClass::AA => (0.1, 0.0017, -50.0..=250.0),
        PlatinumClass::A => (0.15, 0.002, -100.0..=450.0),
        PlatinumClass::B => (0.3, 0.005, -196.0..=600.0),
        PlatinumClass::C => (0.6, 0.01, -196.0..=600.0),
    };
    range.contains(&celsius).then(|| fixed + share * celsius.abs())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn ends_of_the_range() {
        assert!((pt100_ohm(-200.0).unwrap() - 18.52).abs() < 5e-3, "IEC 60751 table: 18.52 Ω (from memory)");
        assert!((pt100_ohm(850.0).unwrap() - 390.48).abs() < 5e-3, "IEC 60751 table: 390.48 Ω (from memory)");
        for outside in [-1.0, 0.0, 18.4, 390.6, f64::INFINITY, f64::NAN] {
            assert_eq!(pt100_celsius(outside), None);
        }
        assert_eq!(pt100_ohm(f64::NAN), None);
        assert_eq!(pt100_tolerance(PlatinumClass::AA, 300.0), None);
    }

    proptest! {
        #[test]
        fn there_and_back(celsius in -200.0..850.0_f64) {
            let back = pt100_celsius(pt100_ohm(celsius).unwrap()).unwrap();
            prop_assert!((back - celsius).abs() < 1e-9, "{celsius} {back}");
        }

        #[test]
        fn rises(celsius in -200.0..849.0_f64, step in 1e-6..1.0_f64) {
            prop_assert!(pt100_ohm(celsius) < pt100_ohm(celsius + step));
        }
    }
}
