//! # Sensors
//!
//! From ohms and millivolts to degrees and back, what the standards allow a sensor to be wrong by, and the correction found by
//! comparing it with a better one.
//!
//! | part | formula | range | source |
//! | --- | --- | --- | --- |
//! | [`pt100_celsius`], [`pt100_ohm`] | Callendar–Van Dusen, R₀ = 100 Ω | −200…850 °C | IEC 60751 |
//! | [`pt100_tolerance`] | `a + b·\|t\|`, classes AA, A, B, C | by class | IEC 60751 |
//! | [`thermocouple_celsius`], [`thermocouple_millivolt`] | ITS-90 reference functions, types K, T, J | see [`Kind::range`] | NIST Monograph 175, IEC 60584-1 |
//! | [`thermocouple_tolerance`] | `max(a, b·\|t\|)`, classes 1 and 2 | by type | IEC 60584-1 (from memory) |
//! | [`Calibration`] | offset, or gain and offset through two points | between the points | common practice, no source |
//!
//! A class B Pt100 may be 0.46 K wrong at 31 °C and a class 1 type K thermocouple 1.5 K, against a working range of one degree:
//! a comparison is worth more than a class. Even an exact temperature does not prove temper.

pub mod calibration;
pub mod platinum;
mod reference_functions;
pub mod thermocouple;

pub use calibration::Calibration;
pub use platinum::{PlatinumClass, pt100_celsius, pt100_ohm, pt100_tolerance};
pub use thermocouple::{
    Kind, ThermocoupleClass, thermocouple_celsius, thermocouple_millivolt, thermocouple_tolerance,
};

/// Halvings of a range of 2,000 K that end below the last bit.
const HALVINGS: usize = 80;

/// The t in `low..=high` at which a rising function reaches `target`; `None` when it lies outside.
fn invert_rising(f: impl Fn(f64) -> f64, target: f64, mut low: f64, mut high: f64) -> Option<f64> {
    if !(f(low) <= target && target <= f(high)) {
        return None;
    }
    for _ in 0..HALVINGS {
        let middle = low + (high - low) / 2.0;
        if f(middle) < target {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(low + (high - low) / 2.0)
}
