//! # Melt-out
//!
//! How much of the seed a warm stretch may have cost. **Low confidence**: no source was found for the times below. They are a guide
//! from practice for stirred, seeded dark chocolate, to be proved in the house.
//!
//! | dark, °C | seed is gone after | |
//! | --- | --- | --- |
//! | below 32.0 | – | slow change, not counted |
//! | 32.0 – 32.5 | 30 min to hours (counted as 30 to 600 min) | from memory |
//! | 32.5 – 33 | 10 – 60 min | from memory |
//! | 33 – 34 | 5 – 20 min | from memory |
//! | 34 – 35 | 1 – 5 min | from memory |
//! | 35 – 36 | 0.5 – 2 min | filled in between its neighbours |
//! | from 36 | 0.1 – 2 min | from memory (upper end) |
//!
//! Milk melts out 1 to 1.5 °C lower and white 1.5 to 2.5 °C lower (from memory): the whole table is shifted by both ends of that, and
//! the wider answer is given. Each minute costs one over its time; the costs add up (a plain dose rule, no source).
//!
//! The answer is a pair, and carries [`Confidence::Low`] with it. A cost of one or more at the lower end says "test now, it is probably
//! gone"; a cost of one at the upper end says "it may be". Neither says that a batch below one is in temper.

use crate::error::{MathsError, all_finite, is_usable};
use crate::exposure::over;

/// How far an estimate may be trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Confidence {
    /// An order of magnitude, without a source.
    Low,
}

impl std::fmt::Display for Confidence {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Confidence::Low => f.write_str("low confidence"),
        }
    }
}

/// Which table of melting applies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fat {
    /// Cocoa butter alone.
    Dark,
    /// With some milk fat.
    Milk,
    /// With much milk fat.
    White,
}

impl Fat {
    /// By how much, least and most, the table lies lower than for dark.
    fn shift_c(self) -> (f64, f64) {
        match self {
            Fat::Dark => (0.0, 0.0),
            Fat::Milk => (1.0, 1.5),
            Fat::White => (1.5, 2.5),
        }
    }
}

/// From this temperature on, seed lasts so many minutes, least and most.
struct Step {
    from_c: f64,
    least_min: f64,
    most_min: f64,
}

const DARK: [Step; 6] = [
    Step { from_c: 32.0, least_min: 30.0, most_min: 600.0 },
    Step { from_c: 32.5, least_min: 10.0, most_min: 60.0 },
    Step { from_c: 33.0, least_min: 5.0, most_min: 20.0 },
    Step { from_c: 34.0, least_min: 1.0, most_min: 5.0 },
    Step { from_c: 35.0, least_min: 0.5, most_min: 2.0 },
    Step { from_c: 36.0, least_min: 0.1, most_min: 2.0 },
];

/// What a warm stretch may have cost, as a share of the seed: one is all of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeltOut {
    /// The least that it may have cost.
    pub least: f64,
    /// The most that it may have cost.
    pub most: f64,
    /// Time of which nothing is known, seconds; its cost is not in the answer.
    pub unknown_s: f64,
    /// How far to trust it.
    pub confidence: Confidence,
}

/// Minutes that seed lasts at a steady temperature, least and most. `None` where the guide counts no loss, or for NaN.
pub fn minutes_until_melted(fat: Fat, celsius: f64) -> Option<(f64, f64)> {
    let (least_shift, most_shift) = fat.shift_c();
    let warmest = DARK.iter().rev().find(|step| step.from_c - most_shift <= celsius)?;
    let coolest = DARK.iter().rev().find(|step| step.from_c - least_shift <= celsius);
    Some((warmest.least_min, coolest.map_or(f64::INFINITY, |step| step.most_min)))
}

/// The cost of a stretch of readings, straight lines between them, with gaps longer than `longest_gap_s` and readings that are
/// not finite counted as unknown.
///
/// # Errors
/// Series of different lengths, times that are not finite or do not rise, or a gap that is not above zero.
pub fn melt_out(
    fat: Fat,
    seconds: &[f64],
    values: &[f64],
    longest_gap_s: f64,
) -> Result<MeltOut, MathsError> {
    if seconds.len() != values.len() {
        return Err(MathsError::LengthsDiffer { left: seconds.len(), right: values.len() });
    }
    all_finite(&[seconds])?;
    if !(0.0 < longest_gap_s) {
        return Err(MathsError::OutOfRange("longest gap"));
    }
    if !seconds.windows(2).all(|pair| pair[0] < pair[1]) {
        return Err(MathsError::NotRising);
    }
    let (least_shift, most_shift) = fat.shift_c();
    let mut seen = MeltOut { least: 0.0, most: 0.0, unknown_s: 0.0, confidence: Confidence::Low };
    for (s, value) in seconds.windows(2).zip(values.windows(2)) {
        let elapsed = s[1] - s[0];
        if elapsed <= longest_gap_s && value.iter().all(|value| is_usable(*value)) {
            seen.least += cost(value, elapsed, least_shift, |step| step.most_min);
            seen.most += cost(value, elapsed, most_shift, |step| step.least_min);
        } else {
            seen.unknown_s += elapsed;
        }
    }
    Ok(seen)
}

/// Cost along one straight line: the time above each step counts what the step costs more than the one below it.
fn cost(ends: &[f64], seconds: f64, shift_c: f64, minutes: fn(&Step) -> f64) -> f64 {
    let mut below = 0.0;
    DARK.iter()
        .map(|step| {
            let rate = 1.0 / minutes(step);
            let more = rate - below;
            below = rate;
            over(ends[0], ends[1], seconds, step.from_c - shift_c).0 / 60.0 * more
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The guide itself: dark at 33.5 °C lasts 5 to 20 min, at 34.5 °C 1 to 5 min, and under 2 min from 36 °C.
    #[test]
    fn the_guide() {
        assert_eq!(minutes_until_melted(Fat::Dark, 31.9), None);
        assert_eq!(minutes_until_melted(Fat::Dark, 33.5), Some((5.0, 20.0)));
        assert_eq!(minutes_until_melted(Fat::Dark, 34.5), Some((1.0, 5.0)));
        assert_eq!(minutes_until_melted(Fat::Dark, 45.0), Some((0.1, 2.0)));
        assert_eq!(minutes_until_melted(Fat::Dark, f64::NAN), None);
        // Milk at 32.2 lies between dark at 33.2 and at 33.7; white at 30.2 may count as 31.7 or as 32.7.
        assert_eq!(minutes_until_melted(Fat::Milk, 32.2), Some((5.0, 20.0)));
        assert_eq!(minutes_until_melted(Fat::White, 30.2), Some((10.0, f64::INFINITY)));
    }

    #[test]
    fn a_steady_stretch_costs_its_share() {
        let ten_minutes = melt_out(Fat::Dark, &[0.0, 300.0, 600.0], &[33.5; 3], 400.0).unwrap();
        assert!((ten_minutes.least - 0.5).abs() < 1e-12 && (ten_minutes.most - 2.0).abs() < 1e-12);
        assert_eq!(ten_minutes.confidence.to_string(), "low confidence");
        let cool = melt_out(Fat::Dark, &[0.0, 600.0], &[31.5; 2], 700.0).unwrap();
        assert_eq!((cool.least, cool.most), (0.0, 0.0));
    }

    #[test]
    fn unknown_time_is_not_free_of_charge_but_named() {
        let seen =
            melt_out(Fat::Dark, &[0.0, 10.0, 500.0, 510.0], &[33.5, 33.5, 33.5, f64::NAN], 60.0).unwrap();
        assert_eq!(seen.unknown_s, 500.0);
        assert_eq!(melt_out(Fat::Dark, &[0.0, 0.0], &[33.5; 2], 60.0), Err(MathsError::NotRising));
        assert!(melt_out(Fat::Dark, &[0.0], &[], 60.0).is_err());
        assert!(melt_out(Fat::Dark, &[0.0], &[1.0], f64::NAN).is_err());
    }

    proptest! {
        #[test]
        fn warmer_costs_more(low in 30.0..37.0_f64, by in 0.0..3.0_f64, fat in prop_oneof![Just(Fat::Dark), Just(Fat::Milk), Just(Fat::White)]) {
            let cost = |t: f64| melt_out(fat, &[0.0, 60.0], &[t, t], 60.0).unwrap();
            let (cool, warm) = (cost(low), cost(low + by));
            prop_assert!(cool.least <= warm.least + 1e-12 && cool.most <= warm.most + 1e-12);
            prop_assert!(cool.least <= cool.most + 1e-12);
        }

        #[test]
        fn cut_anywhere(values in prop::collection::vec(30.0..37.0_f64, 3..20), cut in 0.0..1.0_f64) {
            let seconds: Vec<f64> = (0..values.len()).map(|i| i as f64 * 30.0).collect();
            let at = (cut * (values.len() - 1) as f64) as usize;
            let whole = melt_out(Fat::Milk, &seconds, &values, 60.0).unwrap();
            let early = melt_out(Fat::Milk, &seconds[..=at], &values[..=at], 60.0).unwrap();
            let late = melt_out(Fat::Milk, &seconds[at..], &values[at..], 60.0).unwrap();
            prop_assert!((whole.least - early.least - late.least).abs() < 1e-9);
            prop_assert!((whole.most - early.most - late.most).abs() < 1e-9);
        }
    }
}
