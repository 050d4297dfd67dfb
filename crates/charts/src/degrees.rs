//! Degrees Celsius or Fahrenheit, as the reader has chosen.
//!
//! Everything is kept and drawn in °C; only what is read is turned, as late as can be. An axis has its round values in
//! the degrees that are read, so that a scale in °F is not a scale in °C with odd numbers.
//!
//! Never stored, and never part of a document for programs: those are in °C.

/// In which degrees a temperature is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Default)]
pub enum Degrees {
    /// °C
    #[default]
    Celsius,
    /// °F
    Fahrenheit,
}

impl Degrees {
    /// `°C`
    pub fn unit(self) -> &'static str {
        match self {
            Degrees::Celsius => "°C",
            Degrees::Fahrenheit => "°F",
        }
    }

    /// A temperature as it is read.
    pub fn of(self, celsius: f64) -> f64 {
        match self {
            Degrees::Celsius => celsius,
            Degrees::Fahrenheit => celsius * 1.8 + 32.0,
        }
    }

    /// The temperature in °C of one that was read or typed.
    pub fn to_celsius(self, read: f64) -> f64 {
        match self {
            Degrees::Celsius => read,
            Degrees::Fahrenheit => (read - 32.0) / 1.8,
        }
    }

    /// A difference, a slope or an area as it is read: the zero of the scale does not matter.
    pub fn of_difference(self, celsius: f64) -> f64 {
        match self {
            Degrees::Celsius => celsius,
            Degrees::Fahrenheit => celsius * 1.8,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_fixed_points_of_both_scales_meet() {
        // Ice point and boiling point of water, 0 °C = 32 °F and 100 °C = 212 °F; −40 is the same on both.
        let read = [0.0, 100.0, -40.0].map(|celsius| Degrees::Fahrenheit.of(celsius));
        assert_eq!(read, [32.0, 212.0, -40.0]);
        assert_eq!(read.map(|value| Degrees::Fahrenheit.to_celsius(value)), [0.0, 100.0, -40.0]);
        assert_eq!(Degrees::Fahrenheit.of_difference(0.5), 0.9);
        assert_eq!(Degrees::Celsius.of(31.5), 31.5);
    }
}
