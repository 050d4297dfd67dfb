//! Since when? The place at which the mean of a series changed.
//!
//! The sum of squares about one mean, less that about two, is the gain of a split: `n₁ n₂/(n₁ + n₂)·(x̄₁ − x̄₂)²`. Binary
//! segmentation splits where the gain is largest, and goes on in both parts while the gain exceeds a penalty; `2σ² ln n` is
//! usual, with σ from the differences of neighbours, which a step does not widen.
//!
//! Pettitt's test asks whether there is a change at all, by ranks. Its p is an approximation, good below about 0.5.

use crate::error::{MathsError, all_finite, at_least};

/// A change in mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Split {
    /// Index of the first value after the change.
    pub index: usize,
    /// Mean before, back to the split before it or the beginning.
    pub mean_before: f64,
    /// Mean after, up to the next split or the end.
    pub mean_after: f64,
    /// By how much this split lowers the sum of squares of the part that it splits.
    pub gain: f64,
}

/// The best single split, with at least `shortest` values on each side.
///
/// # Errors
/// Fewer than `2·shortest` values (`shortest` counts as one at least), or values that are not finite.
pub fn split_in_two(values: &[f64], shortest: usize) -> Result<Split, MathsError> {
    all_finite(&[values])?;
    let shortest = shortest.max(1);
    at_least(values.len(), shortest.saturating_mul(2))?;
    let n = values.len() as f64;
    // About the first value, so that large levels do not swallow small steps.
    let origin = values[0];
    let total: f64 = values.iter().map(|value| value - origin).sum();
    let mut before = 0.0;
    let mut best: Option<Split> = None;
    for (i, value) in values.iter().enumerate() {
        if shortest <= i && i + shortest <= values.len() {
            let (n_before, n_after) = (i as f64, n - i as f64);
            let (mean_before, mean_after) = (before / n_before, (total - before) / n_after);
            let gain = n_before * n_after / n * (mean_before - mean_after).powi(2);
            if best.is_none_or(|best| best.gain < gain) {
                let (mean_before, mean_after) = (origin + mean_before, origin + mean_after);
                best = Some(Split { index: i, mean_before, mean_after, gain });
            }
        }
        before += value - origin;
    }
    best.filter(|best| best.gain.is_finite()).ok_or(MathsError::NotFinite)
}

/// All splits whose gain exceeds `penalty`, in order of place; their means belong to the parts between them.
///
/// # Errors
/// As [`split_in_two`], or a penalty that is NaN or negative.
pub fn split(values: &[f64], shortest: usize, penalty: f64) -> Result<Vec<Split>, MathsError> {
    if !(0.0 <= penalty) {
        return Err(MathsError::OutOfRange("penalty"));
    }
    let shortest = shortest.max(1);
    at_least(values.len(), shortest.saturating_mul(2))?;
    all_finite(&[values])?;
    let mut found: Vec<(usize, f64)> = Vec::new();
    let mut parts = vec![(0, values.len())];
    while let Some((from, to)) = parts.pop() {
        let Ok(split) = split_in_two(&values[from..to], shortest) else { continue };
        if penalty < split.gain {
            let at = from + split.index;
            found.push((at, split.gain));
            parts.extend([(from, at), (at, to)]);
        }
    }
    found.sort_by_key(|(at, _)| *at);
    let edges: Vec<usize> =
        std::iter::once(0).chain(found.iter().map(|(at, _)| *at)).chain([values.len()]).collect();
    let mean = |from: usize, to: usize| values[from..to].iter().sum::<f64>() / (to - from) as f64;
    Ok(found
        .iter()
        .enumerate()
        .map(|(i, &(index, gain))| Split {
            index,
            mean_before: mean(edges[i], index),
            mean_after: mean(index, edges[i + 2]),
            gain,
        })
        .collect())
}

/// The outcome of Pettitt's test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pettitt {
    /// Values before the change; the index of the first value after it.
    pub index: usize,
    /// Largest |U|.
    pub k: f64,
    /// Approximate probability of so large a K without a change.
    pub p: f64,
}

/// Tests for one change in level, by ranks (equal values share their mean rank).
///
/// # Errors
/// Fewer than four values, values that are not finite, or all equal.
pub fn pettitt(values: &[f64]) -> Result<Pettitt, MathsError> {
    all_finite(&[values])?;
    at_least(values.len(), 4)?;
    let n = values.len() as f64;
    let mut sum = 0.0;
    let mut best = Pettitt { index: 0, k: 0.0, p: 1.0 };
    for (i, rank) in mean_ranks(values).iter().enumerate() {
        sum += rank;
        let distance = (2.0 * sum - (i + 1) as f64 * (n + 1.0)).abs();
        if best.k < distance {
            best = Pettitt { index: i + 1, k: distance, p: 1.0 };
        }
    }
    if best.index == 0 {
        return Err(MathsError::Constant);
    }
    best.p = (2.0 * (-6.0 * best.k * best.k / (n * n * n + n * n)).exp()).min(1.0);
    Ok(best)
}

/// Rank of each value from one up; equal values share the mean of their ranks.
fn mean_ranks(values: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|a, b| values[*a].total_cmp(&values[*b]));
    let mut ranks = vec![0.0; values.len()];
    let mut below = 0;
    for group in order.chunk_by(|a, b| values[*a] == values[*b]) {
        let rank = below as f64 + (group.len() + 1) as f64 / 2.0;
        group.iter().for_each(|i| ranks[*i] = rank);
        below += group.len();
    }
    ranks
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn refuses_what_has_no_answer() {
        assert_eq!(split_in_two(&[1.0], 1), Err(MathsError::TooFew { given: 1, needed: 2 }));
        assert_eq!(split_in_two(&[1.0, f64::NAN], 1), Err(MathsError::NotFinite));
        assert_eq!(split(&[1.0, 2.0], 1, f64::NAN), Err(MathsError::OutOfRange("penalty")));
        assert_eq!(pettitt(&[31.5; 9]), Err(MathsError::Constant));
    }

    #[test]
    fn two_steps() {
        let values = [[31.0; 8], [31.5; 8], [30.8; 8]].concat();
        let splits = split(&values, 2, 0.01).unwrap();
        let places: Vec<usize> = splits.iter().map(|split| split.index).collect();
        assert_eq!(places, [8, 16]);
        assert!((splits[0].mean_before - 31.0).abs() < 1e-12 && (splits[0].mean_after - 31.5).abs() < 1e-12);
        assert!((splits[1].mean_after - 30.8).abs() < 1e-12);
    }

    #[test]
    fn equal_values_share_ranks() {
        assert_eq!(mean_ranks(&[5.0, 1.0, 5.0, 3.0]), [3.5, 1.0, 3.5, 2.0]);
    }

    proptest! {
        /// Against the sums of squares written out.
        #[test]
        fn best_split_is_the_best(values in prop::collection::vec(-5.0..5.0_f64, 2..25)) {
            let squares = |part: &[f64]| {
                let mean = part.iter().sum::<f64>() / part.len() as f64;
                part.iter().map(|value| (value - mean).powi(2)).sum::<f64>()
            };
            let best = split_in_two(&values, 1).unwrap();
            for i in 1..values.len() {
                let gain = squares(&values) - squares(&values[..i]) - squares(&values[i..]);
                prop_assert!(gain <= best.gain + 1e-9);
            }
        }

        #[test]
        fn a_shift_moves_nothing(values in prop::collection::vec(-5.0..5.0_f64, 6..25), shift in -1e3..1e3_f64) {
            let moved: Vec<f64> = values.iter().map(|value| value + shift).collect();
            let (still, moved) = (split_in_two(&values, 2).unwrap(), split_in_two(&moved, 2).unwrap());
            prop_assert!((still.gain - moved.gain).abs() < 1e-8);
        }
    }
}
