//! Degrees Celsius, differences of them, and ranges.

use std::fmt;
use std::ops::{Add, Sub};

use serde::{Deserialize, Serialize};

/// A temperature in °C, never NaN or infinite.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
pub struct Celsius(f64);

/// A difference of two temperatures in °C (kelvin), never NaN or infinite.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
pub struct CelsiusDelta(f64);

/// A range of temperatures, `low` ≤ `high`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Band {
    low: Celsius,
    high: Celsius,
}

impl Celsius {
    /// `None` unless `value` is finite.
    pub fn new(value: f64) -> Option<Celsius> {
        value.is_finite().then_some(Celsius(value))
    }

    /// The number, for arithmetic.
    pub fn get(self) -> f64 {
        self.0
    }
}

impl CelsiusDelta {
    /// `None` unless `value` is finite.
    pub fn new(value: f64) -> Option<CelsiusDelta> {
        value.is_finite().then_some(CelsiusDelta(value))
    }

    /// The number, for arithmetic.
    pub fn get(self) -> f64 {
        self.0
    }
}

impl Sub for Celsius {
    type Output = CelsiusDelta;
    fn sub(self, other: Celsius) -> CelsiusDelta {
        CelsiusDelta(self.0 - other.0)
    }
}

impl Add<CelsiusDelta> for Celsius {
    type Output = Celsius;
    fn add(self, delta: CelsiusDelta) -> Celsius {
        Celsius(self.0 + delta.0)
    }
}

impl fmt::Display for Celsius {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.*} °C", f.precision().unwrap_or(1), self.0)
    }
}

impl Band {
    /// `None` if either end is not finite or they are upside down.
    pub fn new(low: f64, high: f64) -> Option<Band> {
        (low <= high).then_some(())?;
        Some(Band { low: Celsius::new(low)?, high: Celsius::new(high)? })
    }

    /// The lower end, °C.
    pub fn low(self) -> f64 {
        self.low.0
    }

    /// The upper end, °C.
    pub fn high(self) -> f64 {
        self.high.0
    }

    /// Halfway between the ends, °C.
    pub fn middle(self) -> f64 {
        (self.low.0 + self.high.0) / 2.0
    }

    /// Is `value` between the ends, each moved outward by `margin`? NaN is not.
    pub fn holds(self, value: f64, margin: f64) -> bool {
        self.low.0 - margin <= value && value <= self.high.0 + margin
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_undefined_gets_in() {
        assert_eq!(Celsius::new(f64::NAN), None);
        assert_eq!(Band::new(32.0, 31.0), None);
        assert_eq!(Band::new(f64::NAN, 31.0), None);
        assert!(!Band::new(31.0, 32.0).unwrap().holds(f64::NAN, 0.5));
    }
}
