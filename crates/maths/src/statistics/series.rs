//! Series whose values resemble their neighbours: by how much, and how to get values that do not.

use super::moments::Moments;
use crate::error::is_usable;

/// Correlation of a series with itself `lag` values later.
/// `None` when the lag leaves no pair, when all values are equal, or when one is not finite.
pub fn autocorrelation(values: &[f64], lag: usize) -> Option<f64> {
    let mean = mean_of_finite(values)?;
    let square: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    (lag < values.len() && 0.0 < square).then(|| product(values, mean, lag) / square)
}

/// `Σ r_j` over the lags from one to the last before the first `r_j` that is not positive, at most a quarter of the series.
/// Zero when neighbours do not resemble each other, and for series that are too short or too even to tell.
pub fn sum_of_autocorrelations(values: &[f64]) -> f64 {
    let Some(mean) = mean_of_finite(values) else { return 0.0 };
    let square: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    if !(0.0 < square) {
        return 0.0;
    }
    (1..=values.len() / 4).map(|lag| product(values, mean, lag) / square).take_while(|r| 0.0 < *r).sum()
}

/// How many values apart two values of the series are as good as independent: `1 + 2 Σ r_j`. One for independent values.
/// `None` with fewer than eight values, when all are equal, or when one is not finite.
pub fn independence_interval(values: &[f64]) -> Option<f64> {
    let enough = 8 <= values.len() && autocorrelation(values, 1).is_some();
    enough.then(|| 1.0 + 2.0 * sum_of_autocorrelations(values))
}

fn mean_of_finite(values: &[f64]) -> Option<f64> {
    let moments = Moments::of(values);
    if moments.n() == values.len() as u64 { moments.mean() } else { None }
}

fn product(values: &[f64], mean: f64, lag: usize) -> f64 {
    values.iter().zip(&values[lag..]).map(|(early, late)| (early - mean) * (late - mean)).sum()
}

/// The mean of one block of time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Block {
    /// Where the block begins, on the axis of the readings.
    pub from_s: f64,
    /// Mean of its values.
    pub mean: f64,
    /// How many values it holds.
    pub n: u64,
}

/// No reading comes faster.
const SHORTEST_BLOCK_S: f64 = 1e-6;

/// Means of the blocks `[j·length, (j+1)·length)` of the time axis that hold at least `needed` values, in order of time.
///
/// The blocks hang on the axis and not on the first reading, so that the answer does not depend on where a stream was cut.
/// Times may come in any order; pairs that are not finite are passed over. Empty for a
/// length below a microsecond.
pub fn block_means(seconds: &[f64], values: &[f64], length_s: f64, needed: u64) -> Vec<Block> {
    if !(SHORTEST_BLOCK_S <= length_s && is_usable(length_s)) {
        return Vec::new();
    }
    let mut pairs: Vec<(f64, f64)> = seconds
        .iter()
        .zip(values)
        .filter(|(s, value)| is_usable(**s) && is_usable(**value))
        .map(|(s, value)| ((s / length_s).floor(), *value))
        .collect();
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    pairs
        .chunk_by(|a, b| a.0 == b.0)
        .filter_map(|chunk| {
            let mut moments = Moments::default();
            chunk.iter().for_each(|(_, value)| moments.insert(*value));
            let mean = moments.mean()?;
            (needed <= moments.n()).then_some(Block { from_s: chunk[0].0 * length_s, mean, n: moments.n() })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn too_little_or_too_even_is_none() {
        assert_eq!(autocorrelation(&[1.0, 2.0], 2), None);
        assert_eq!(autocorrelation(&[31.5; 20], 1), None);
        assert_eq!(autocorrelation(&[1.0, f64::NAN, 2.0], 1), None);
        assert_eq!(independence_interval(&[1.0, 2.0, 3.0]), None);
        assert_eq!(independence_interval(&[31.5; 20]), None);
        assert_eq!(sum_of_autocorrelations(&[]), 0.0);
    }

    #[test]
    fn alternating_values_are_not_called_alike() {
        let values: Vec<f64> = (0..40).map(|i| f64::from(i % 2)).collect();
        assert_eq!(independence_interval(&values), Some(1.0));
    }

    #[test]
    fn blocks_hang_on_the_axis() {
        let blocks =
            block_means(&[-1.0, 0.0, 30.0, 59.0, 60.0, 130.0], &[9.0, 1.0, 2.0, 3.0, 5.0, 7.0], 60.0, 1);
        let seen: Vec<(f64, f64, u64)> =
            blocks.iter().map(|block| (block.from_s, block.mean, block.n)).collect();
        assert_eq!(seen, [(-60.0, 9.0, 1), (0.0, 2.0, 3), (60.0, 5.0, 1), (120.0, 7.0, 1)]);
        assert_eq!(block_means(&[0.0, 1.0], &[1.0, 2.0], 60.0, 3), []);
        assert_eq!(block_means(&[0.0], &[1.0], 0.0, 1), []);
    }

    proptest! {
        #[test]
        fn blocks_do_not_depend_on_order(mut pairs in prop::collection::vec((0.0..500.0_f64, 20.0..40.0_f64), 1..40)) {
            let split = |pairs: &[(f64, f64)]| -> (Vec<f64>, Vec<f64>) { pairs.iter().copied().unzip() };
            let (s, v) = split(&pairs);
            let forward = block_means(&s, &v, 60.0, 1);
            pairs.reverse();
            let (s, v) = split(&pairs);
            for (a, b) in forward.iter().zip(block_means(&s, &v, 60.0, 1)) {
                prop_assert!(a.from_s == b.from_s && a.n == b.n && (a.mean - b.mean).abs() < 1e-11);
            }
        }
    }
}
