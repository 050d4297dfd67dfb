//! # Cooling
//!
//! Newton's law of cooling: a stirred mass moves towards its surroundings at a rate in proportion to the difference.
//!
//! ```text
//! dT/dt = −(T − A)/τ            T(t) = A + (T₀ − A) e^(−t/τ)            t(T) = τ ln((T₀ − A)/(T − A))
//! ```
//!
//! | symbol | meaning | unit |
//! | --- | --- | --- |
//! | T, T₀ | temperature of the mass, now and at time zero | °C |
//! | A | level that the mass tends to: jacket, room, or a mixture of both (stirring heat included) | °C |
//! | τ = m·c/(U·A) | time constant: after one τ, 63.2 % of the way is done | s |
//!
//! *Range of validity.* One well stirred mass whose wall is the only resistance, and no crystals yet: for chocolate above about
//! 33 °C (common practice, no source). Below, heat of crystallisation slows the curve and a fitted τ is no
//! longer a property of the machine.
//!
//! *Sources.* OpenStax, Calculus volumes 1 and 2 and Algebra and Trigonometry (worked examples, all seven in the tests).
//!
//! | part | idea |
//! | --- | --- |
//! | this file | the law, forwards and backwards, and the correction for mass |
//! | [`jacket`] | the same law against a moving jacket, integrated |
//! | [`fitting`] | τ, level and start from noisy readings |
//! | [`turning`] | τ behind a wall that takes a while to turn cold |
//! | [`projection`] | when a temperature will be reached, with an interval that says how much it covers |
//!
//! Never says that chocolate is tempered: a curve that fits well is a machine that cools well, no more.

pub mod fitting;
mod growth;
pub mod jacket;
pub mod projection;
pub mod turning;

pub use fitting::{NewtonFit, Surroundings, fit, fit_near};
pub use jacket::{Jacket, follow};
pub use projection::{Arrival, Band, COVERAGE, Projection, arrival, time_to, time_to_with, value_at};
pub use turning::{TurningFit, fit_turning};

/// Temperature after `seconds`. `None` for a time constant that is not above zero, or for arguments that are not finite.
pub fn temperature_after(start: f64, ambient: f64, tau_s: f64, seconds: f64) -> Option<f64> {
    let value = ambient + (start - ambient) * (-seconds / tau_s).exp();
    (0.0 < tau_s && value.is_finite()).then_some(value)
}

/// Seconds until `target` is reached; negative when it lies in the past.
/// `None` when the level is never crossed: the target lies at or beyond `ambient`, or start and ambient are equal.
pub fn seconds_to(start: f64, ambient: f64, tau_s: f64, target: f64) -> Option<f64> {
    let ratio = (start - ambient) / (target - ambient);
    let seconds = tau_s * ratio.ln();
    (0.0 < tau_s && 0.0 < ratio && seconds.is_finite()).then_some(seconds)
}

/// Time constant that leads from `start` to `value` in `seconds`.
/// `None` when no positive time constant does: the value does not lie between start and ambient.
pub fn tau_between(start: f64, ambient: f64, seconds: f64, value: f64) -> Option<f64> {
    let tau_s = seconds / ((start - ambient) / (value - ambient)).ln();
    (0.0 < tau_s && tau_s.is_finite()).then_some(tau_s)
}

/// The time constant of the same vessel with another mass in it: `τ₂ = τ₁ (m₂ + v)/(m₁ + v)`.
///
/// `vessel_kg` (v) is the mass of chocolate that stores as much heat as the vessel does: its heat capacity over that of
/// chocolate. A steel vessel of 3 kg counts as 0.94 kg (0.5 against 1.6 kJ/(kg K), steel from memory). The wetted wall is taken
/// as unchanged, which holds for a jacketed kettle between about half and full (common practice, no source).
/// `None` for masses that are not above zero, a negative vessel, or arguments that are not finite.
pub fn tau_at_mass(tau_s: f64, mass_kg: f64, other_mass_kg: f64, vessel_kg: f64) -> Option<f64> {
    let other_tau_s = tau_s * (other_mass_kg + vessel_kg) / (mass_kg + vessel_kg);
    let sound = 0.0 < tau_s && 0.0 < mass_kg && 0.0 < other_mass_kg && 0.0 <= vessel_kg;
    (sound && other_tau_s.is_finite()).then_some(other_tau_s)
}

/// The time constant that a wall gives: `τ = (m·c + V)/(U·A)`, in seconds.
///
/// `vessel_kj_per_k` (V) is the heat capacity of the vessel, `wall_w_per_k` (U·A) what the wall passes for each degree.
/// `None` for a mass, specific heat or wall that is not above zero, a negative vessel, or arguments that are not finite.
pub fn tau_of_wall(
    mass_kg: f64,
    specific_kj_per_kg_k: f64,
    vessel_kj_per_k: f64,
    wall_w_per_k: f64,
) -> Option<f64> {
    let tau_s = 1e3 * (mass_kg * specific_kj_per_kg_k + vessel_kj_per_k) / wall_w_per_k;
    let sound = 0.0 < mass_kg && 0.0 < specific_kj_per_kg_k && 0.0 <= vessel_kj_per_k && 0.0 < wall_w_per_k;
    (sound && tau_s.is_finite()).then_some(tau_s)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn half_the_mass_cools_in_half_the_time_and_the_vessel_softens_it() {
        assert_eq!(tau_at_mass(2_400.0, 6.0, 3.0, 0.0), Some(1_200.0));
        let with_bowl = tau_at_mass(2_400.0, 6.0, 3.0, 0.9375).unwrap();
        assert!((with_bowl - 2_400.0 * 3.9375 / 6.9375).abs() < 1e-9);
    }

    #[test]
    fn what_never_happens_has_no_time() {
        assert_eq!(seconds_to(45.0, 20.0, 600.0, 20.0), None);
        assert_eq!(seconds_to(45.0, 20.0, 600.0, 19.0), None);
        assert_eq!(seconds_to(45.0, 45.0, 600.0, 30.0), None);
        assert_eq!(seconds_to(45.0, 20.0, 0.0, 30.0), None);
        assert_eq!(seconds_to(45.0, f64::NAN, 600.0, 30.0), None);
        assert_eq!(temperature_after(45.0, 20.0, -1.0, 10.0), None);
        assert_eq!(tau_between(45.0, 20.0, 10.0, 46.0), None);
        assert_eq!(tau_of_wall(6.0, 1.6, 0.0, 0.0), None);
        assert_eq!(tau_at_mass(600.0, 0.0, 3.0, 0.0), None);
    }

    proptest! {
        #[test]
        fn there_and_back(start in 40.0..60.0, ambient in 5.0..30.0, tau_s in 60.0..1e5, share in 0.01..3.0_f64) {
            let seconds = share * tau_s;
            let value = temperature_after(start, ambient, tau_s, seconds).unwrap();
            let back = seconds_to(start, ambient, tau_s, value).unwrap();
            prop_assert!((back - seconds).abs() < 1e-9 * tau_s);
            let tau_again = tau_between(start, ambient, seconds, value).unwrap();
            prop_assert!((tau_again - tau_s).abs() < 1e-9 * tau_s);
        }

        #[test]
        fn time_does_not_depend_on_the_scale(start in 40.0..60.0, ambient in 5.0..25.0, target in 30.0..39.0) {
            let celsius = seconds_to(start, ambient, 900.0, target).unwrap();
            let fahrenheit = |t: f64| t * 1.8 + 32.0;
            let other = seconds_to(fahrenheit(start), fahrenheit(ambient), 900.0, fahrenheit(target)).unwrap();
            prop_assert!((celsius - other).abs() < 1e-9);
        }
    }
}
