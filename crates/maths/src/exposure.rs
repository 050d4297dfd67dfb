//! # Exposure
//!
//! How long, and how far, a temperature stood outside its band.
//!
//! ```text
//! area above = ∫ max(0, T − high) dt        area below = ∫ max(0, low − T) dt        in °C·min
//! ```
//!
//! Between two readings T is taken as the straight line, over which both integrals and all times are exact. Where the line may
//! not be drawn the time is *unknown*, and stands apart: across a reading that is missing, and across a gap longer than the
//! caller allows. Unknown time is never in the band and never outside it.
//!
//! *Range of validity.* Any readings at rising times, however uneven. The answer does not depend on how many readings there were on
//! the line, nor on where a stream was cut. *Source:* geometry.

use crate::error::{MathsError, is_usable};

/// A band of temperature, with the longest gap that may be bridged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    low: f64,
    high: f64,
    longest_gap_s: f64,
}

impl Band {
    /// # Errors
    /// Ends that are NaN or in the wrong order (the low end may be −∞ and the high one ∞), or a gap that is not above zero.
    pub fn new(low: f64, high: f64, longest_gap_s: f64) -> Result<Band, MathsError> {
        let low_is_sound = low == f64::NEG_INFINITY || is_usable(low);
        let high_is_sound = high == f64::INFINITY || is_usable(high);
        if !(low_is_sound && high_is_sound && low <= high) {
            return Err(MathsError::OutOfRange("band"));
        }
        if !(0.0 < longest_gap_s) {
            return Err(MathsError::OutOfRange("longest gap"));
        }
        Ok(Band { low, high, longest_gap_s })
    }
}

/// Times in seconds and areas in °C·min. The four times add up to the time from the first reading to the last.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Exposure {
    /// Area above the band.
    pub above_c_min: f64,
    /// Area below the band.
    pub below_c_min: f64,
    /// Time above the band.
    pub above_s: f64,
    /// Time below the band.
    pub below_s: f64,
    /// Time in the band, ends included.
    pub in_band_s: f64,
    /// Time of which nothing is known.
    pub unknown_s: f64,
}

impl Exposure {
    /// Both stretches together.
    #[must_use]
    pub fn combine(self, other: Exposure) -> Exposure {
        Exposure {
            above_c_min: self.above_c_min + other.above_c_min,
            below_c_min: self.below_c_min + other.below_c_min,
            above_s: self.above_s + other.above_s,
            below_s: self.below_s + other.below_s,
            in_band_s: self.in_band_s + other.in_band_s,
            unknown_s: self.unknown_s + other.unknown_s,
        }
    }

    /// Time in the band as a share of the known time; `None` while nothing is known.
    pub fn in_band_share(&self) -> Option<f64> {
        let known = self.above_s + self.below_s + self.in_band_s;
        (0.0 < known).then(|| self.in_band_s / known)
    }

    /// Unknown time as a share of all; `None` without any time.
    pub fn unknown_share(&self) -> Option<f64> {
        let all = self.above_s + self.below_s + self.in_band_s + self.unknown_s;
        (0.0 < all).then(|| self.unknown_s / all)
    }
}

/// Adds up the exposure while readings arrive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Meter {
    band: Band,
    last: Option<(f64, Option<f64>)>,
    total: Exposure,
}

impl Meter {
    /// A meter that has seen nothing.
    pub fn new(band: Band) -> Meter {
        Meter { band, last: None, total: Exposure::default() }
    }

    /// Adds a reading, or `None` (or a value that is not finite) for one that is missing.
    /// Returns false, and adds nothing, for a time that is not after the last one or not finite.
    pub fn insert(&mut self, seconds: f64, value: Option<f64>) -> bool {
        let value = value.filter(|value| is_usable(*value));
        if !is_usable(seconds) {
            return false;
        }
        if let Some((last_s, last)) = self.last {
            let elapsed = seconds - last_s;
            if !(0.0 < elapsed) {
                return false;
            }
            self.total = self.total.combine(match (last, value) {
                (Some(from), Some(to)) if elapsed <= self.band.longest_gap_s => {
                    along(&self.band, from, to, elapsed)
                }
                _ => Exposure { unknown_s: elapsed, ..Exposure::default() },
            });
        }
        self.last = Some((seconds, value));
        true
    }

    /// Everything so far.
    pub fn total(&self) -> Exposure {
        self.total
    }
}

/// The exposure of a whole series; a value that is not finite is a missing reading, and times that do not rise are passed over.
///
/// # Errors
/// Series of different lengths.
pub fn exposure(band: Band, seconds: &[f64], values: &[f64]) -> Result<Exposure, MathsError> {
    if seconds.len() != values.len() {
        return Err(MathsError::LengthsDiffer { left: seconds.len(), right: values.len() });
    }
    let mut meter = Meter::new(band);
    for (s, value) in seconds.iter().zip(values) {
        meter.insert(*s, Some(*value));
    }
    Ok(meter.total())
}

/// The exposure along one straight line.
fn along(band: &Band, from: f64, to: f64, seconds: f64) -> Exposure {
    let (above_s, above) = over(from, to, seconds, band.high);
    let (below_s, below) = over(-from, -to, seconds, -band.low);
    Exposure {
        above_c_min: above / 60.0,
        below_c_min: below / 60.0,
        above_s,
        below_s,
        in_band_s: (seconds - above_s - below_s).max(0.0),
        unknown_s: 0.0,
    }
}

/// Time and area (in the line's own units) by which a straight line stands over a limit.
pub(crate) fn over(from: f64, to: f64, seconds: f64, limit: f64) -> (f64, f64) {
    let (low, high) = (from.min(to), from.max(to));
    if high <= limit {
        (0.0, 0.0)
    } else if limit < low {
        (seconds, (from / 2.0 + to / 2.0 - limit) * seconds)
    } else {
        let over_s = seconds * (high - limit) / (high - low);
        (over_s, over_s * (high - limit) / 2.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn band() -> Band {
        Band::new(31.0, 32.0, 60.0).unwrap()
    }

    /// A triangle from 31.5 up to 34 and down again, by hand: over 32 it is 2 °C high and 2·(2/2.5) min wide.
    #[test]
    fn a_triangle_by_hand() {
        let seen = exposure(band(), &[0.0, 60.0, 120.0], &[31.5, 34.0, 31.5]).unwrap();
        assert!((seen.above_c_min - 1.6).abs() < 1e-12);
        assert!((seen.above_s - 96.0).abs() < 1e-12 && (seen.in_band_s - 24.0).abs() < 1e-12);
        assert_eq!((seen.below_s, seen.unknown_s), (0.0, 0.0));
        assert!((seen.in_band_share().unwrap() - 0.2).abs() < 1e-12);
    }

    #[test]
    fn a_line_through_the_whole_band() {
        let seen = exposure(band(), &[0.0, 60.0], &[30.0, 34.0]).unwrap();
        assert!((seen.below_c_min - 0.125).abs() < 1e-12 && (seen.above_c_min - 0.5).abs() < 1e-12);
        assert!((seen.in_band_s - 15.0).abs() < 1e-12);
    }

    #[test]
    fn unknown_time_stands_apart() {
        let seen =
            exposure(band(), &[0.0, 10.0, 200.0, 210.0, 220.0], &[31.5, 31.5, 31.5, f64::NAN, 31.5]).unwrap();
        assert_eq!((seen.in_band_s, seen.unknown_s), (10.0, 210.0));
        assert_eq!(seen.in_band_share(), Some(1.0));
        assert!((seen.unknown_share().unwrap() - 210.0 / 220.0).abs() < 1e-12);
        assert_eq!(Exposure::default().in_band_share(), None);
        assert_eq!(Exposure::default().unknown_share(), None);
    }

    #[test]
    fn time_does_not_run_back() {
        let mut meter = Meter::new(band());
        assert!(meter.insert(10.0, Some(31.5)));
        assert!(!meter.insert(10.0, Some(33.0)));
        assert!(!meter.insert(f64::NAN, Some(33.0)));
        assert!(meter.insert(20.0, Some(31.5)));
        assert_eq!(meter.total().in_band_s, 10.0);
        assert!(Band::new(32.0, 31.0, 60.0).is_err() && Band::new(31.0, 32.0, 0.0).is_err());
        assert!(Band::new(f64::NAN, 31.0, 60.0).is_err());
        assert!(exposure(band(), &[0.0], &[]).is_err());
    }

    /// No end below: only the area above counts.
    #[test]
    fn one_end_may_be_open() {
        let open = Band::new(f64::NEG_INFINITY, 32.0, 60.0).unwrap();
        let seen = exposure(open, &[0.0, 60.0], &[20.0, 33.0]).unwrap();
        assert_eq!((seen.below_c_min, seen.below_s), (0.0, 0.0));
        assert!((seen.above_c_min - 0.5 / 13.0).abs() < 1e-12);
    }

    fn readings() -> impl Strategy<Value = Vec<(f64, f64)>> {
        prop::collection::vec((0.5..90.0_f64, 28.0..36.0_f64), 2..30).prop_map(|steps| {
            let mut at = 0.0;
            steps
                .into_iter()
                .map(|(step, value)| {
                    at += step;
                    (at, value)
                })
                .collect()
        })
    }

    fn of(readings: &[(f64, f64)]) -> Exposure {
        let (s, v): (Vec<f64>, Vec<f64>) = readings.iter().copied().unzip();
        exposure(band(), &s, &v).unwrap()
    }

    fn assert_same(a: Exposure, b: Exposure) {
        let numbers =
            |e: Exposure| [e.above_c_min, e.below_c_min, e.above_s, e.below_s, e.in_band_s, e.unknown_s];
        for (x, y) in numbers(a).iter().zip(numbers(b)) {
            assert!((x - y).abs() < 1e-8, "{a:?} {b:?}");
        }
    }

    proptest! {
        #[test]
        fn cut_anywhere(readings in readings(), cut in 0.0..1.0_f64) {
            let at = (cut * (readings.len() - 1) as f64) as usize;
            assert_same(of(&readings), of(&readings[..=at]).combine(of(&readings[at..])));
        }

        /// A reading that lies on the line adds nothing.
        #[test]
        fn more_readings_on_the_line_change_nothing(readings in readings(), place in 0.01..0.99_f64) {
            let mut more = readings.clone();
            for pair in readings.windows(2).filter(|pair| pair[1].0 - pair[0].0 <= 60.0) {
                let mid = |a: f64, b: f64| a + place * (b - a);
                more.push((mid(pair[0].0, pair[1].0), mid(pair[0].1, pair[1].1)));
            }
            more.sort_by(|a, b| a.0.total_cmp(&b.0));
            assert_same(of(&readings), of(&more));
        }

        #[test]
        fn the_four_times_are_all_the_time(readings in readings()) {
            let seen = of(&readings);
            let all = readings[readings.len() - 1].0 - readings[0].0;
            prop_assert!((seen.above_s + seen.below_s + seen.in_band_s + seen.unknown_s - all).abs() < 1e-9);
        }
    }
}
