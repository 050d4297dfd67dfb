//! Correction of a probe by comparison with a better one.
//!
//! One point gives an offset: `t = r + d`. Two points give gain and offset: the straight line through both. The usual points are
//! melting ice (0 °C) and a stirred bath near the working range, with the reference in the same bath (common practice, no
//! source). Between the points the correction is as good as the points; outside, its error grows with the distance.
//! It never corrects a drift: a probe that has moved will move again.

/// Turns a probe's reading into a temperature: `t = offset + gain·r`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Calibration {
    gain: f64,
    offset: f64,
    /// Where the two readings lay; equal for an offset.
    points: (f64, f64),
}

impl Calibration {
    /// From one comparison. `None` for values that are not finite.
    pub fn from_offset(reading: f64, reference: f64) -> Option<Calibration> {
        let offset = reference - reading;
        offset.is_finite().then_some(Calibration { gain: 1.0, offset, points: (reading, reading) })
    }

    /// From two comparisons, each a reading and its reference. `None` when both readings or both references are equal, or a
    /// value is not finite.
    pub fn from_two_points(first: (f64, f64), second: (f64, f64)) -> Option<Calibration> {
        let gain = (second.1 - first.1) / (second.0 - first.0);
        let offset = first.1 - gain * first.0;
        (gain.is_finite() && gain != 0.0 && offset.is_finite()).then_some(Calibration {
            gain,
            offset,
            points: (first.0, second.0),
        })
    }

    /// Degrees of temperature for each degree of reading.
    pub fn gain(&self) -> f64 {
        self.gain
    }

    /// Temperature at a reading of zero.
    pub fn offset(&self) -> f64 {
        self.offset
    }

    /// Temperature that belongs to a reading. `None` for a reading that is not finite.
    pub fn correct(&self, reading: f64) -> Option<f64> {
        finite(self.offset + self.gain * reading)
    }

    /// Reading that belongs to a temperature. `None` for a temperature that is not finite.
    pub fn reading(&self, temperature: f64) -> Option<f64> {
        finite((temperature - self.offset) / self.gain)
    }

    /// Standard error of a corrected reading, when each comparison had the standard error `point_se`.
    ///
    /// For an offset it is the same everywhere (and says nothing of a wrong gain). For two points it is
    /// `point_se·√(w² + (1 − w)²)`, w being the position between them: least half way, and growing outside.
    /// `None` for values that are not finite, or an error below zero.
    pub fn standard_error(&self, reading: f64, point_se: f64) -> Option<f64> {
        let (first, second) = self.points;
        let position = if first == second { 0.0 } else { (reading - first) / (second - first) };
        finite(point_se * position.hypot(1.0 - position)).filter(|error| 0.0 <= *error)
    }
}

fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Ice reads 0.3, a bath of 45.0 reads 44.8: at 31 the probe is nearly right.
    #[test]
    fn ice_and_bath() {
        let calibration = Calibration::from_two_points((0.3, 0.0), (44.8, 45.0)).unwrap();
        assert!(
            calibration.correct(0.3).unwrap().abs() < 1e-12
                && (calibration.correct(44.8).unwrap() - 45.0).abs() < 1e-12
        );
        assert!((calibration.correct(31.0).unwrap() - 45.0 * 30.7 / 44.5).abs() < 1e-12);
        assert!((calibration.standard_error(0.3, 0.1).unwrap() - 0.1).abs() < 1e-12);
        assert!((calibration.standard_error(22.55, 0.1).unwrap() - 0.1 / 2f64.sqrt()).abs() < 1e-12);
        assert!(0.2 < calibration.standard_error(100.0, 0.1).unwrap());
    }

    #[test]
    fn one_point() {
        let calibration = Calibration::from_offset(31.8, 31.4).unwrap();
        assert!((calibration.correct(45.0).unwrap() - 44.6).abs() < 1e-12);
        assert_eq!(calibration.standard_error(45.0, 0.2), Some(0.2));
    }

    #[test]
    fn what_gives_no_line() {
        assert_eq!(Calibration::from_offset(f64::NAN, 1.0), None);
        assert_eq!(Calibration::from_two_points((1.0, 0.0), (1.0, 2.0)), None);
        assert_eq!(Calibration::from_two_points((1.0, 5.0), (2.0, 5.0)), None);
        assert_eq!(Calibration::from_two_points((1.0, f64::INFINITY), (2.0, 5.0)), None);
    }

    proptest! {
        #[test]
        fn there_and_back(low in -1.0..1.0_f64, high in 40.0..50.0_f64, reading in -10.0..60.0_f64) {
            let calibration = Calibration::from_two_points((low, 0.0), (high, 45.0)).unwrap();
            prop_assert!((calibration.reading(calibration.correct(reading).unwrap()).unwrap() - reading).abs() < 1e-10);
        }
    }
}
