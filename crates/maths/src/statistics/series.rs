//! Series whose values resemble their neighbours: by how much, and how to get values that do not.

use super::moments::Moments;
use super::order::median;
use crate::error::is_usable;

/// Standard deviation of a series about its own smooth course, for even spacing: the median of the absolute second differences, as a share of
/// what it is for independent normal noise of deviation one (√6 × 0.6745). A few jumps hardly count. Zero for fewer than three values.
pub fn scatter(values: &[f64]) -> f64 {
    const OF_UNIT_NOISE: f64 = 2.449_489_742_783_178 * 0.674_489_750_196_082;
    let bends: Vec<f64> = values.windows(3).map(|w| (w[0] - 2.0 * w[1] + w[2]).abs()).collect();
    median(&bends).map_or(0.0, |bend| bend / OF_UNIT_NOISE)
}

/// The same by the root mean square, so that each jump counts; the median of a coarse display that stands still more often than it flickers is zero.
/// For independent noise of deviation one it is one (√6 is the norm of 1, −2, 1). Zero for fewer than three values.
pub fn scatter_with_jumps(values: &[f64]) -> f64 {
    let bends = values.windows(3).map(|w| (w[0] - 2.0 * w[1] + w[2]).powi(2));
    let places = values.len().saturating_sub(2).max(1) as f64;
    (bends.sum::<f64>() / places / 6.0).sqrt()
}

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

    /// Alternating by one about a steep line, second differences are two throughout; one jump more changes nothing.
    #[test]
    fn scatter_does_not_see_slopes_and_jumps() {
        let even: Vec<f64> = (0..60).map(|i| f64::from(i) * 7.0 + f64::from(i % 2)).collect();
        let expected = 2.0 / (6.0_f64.sqrt() * 0.674_489_750_196_082);
        assert!((scatter(&even) - expected).abs() < 1e-12, "{}", scatter(&even));
        let jump: Vec<f64> =
            even.iter().enumerate().map(|(i, v)| if i > 30 { v - 50.0 } else { *v }).collect();
        assert!((scatter(&jump) - expected).abs() < 1e-12);
        assert_eq!(scatter(&[1.0, 2.0]), 0.0);
    }

    /// Of a display that flickers by a step of a half one time in ten.
    #[test]
    fn jumps_count_where_they_are_asked_for() {
        let flicker: Vec<f64> = (0..200).map(|i| if i % 10 == 4 { 31.5 } else { 31.0 }).collect();
        assert_eq!(scatter(&flicker), 0.0);
        // Each flicker bends three places: by a half, by one and by a half.
        let expected = (20.0 * 1.5 / 198.0 / 6.0_f64).sqrt();
        assert!((scatter_with_jumps(&flicker) - expected).abs() < 1e-12);
        assert_eq!(scatter_with_jumps(&[1.0, 2.0]), 0.0);
    }

    /// The deviation of made-up normal noise about a curve.
    #[test]
    fn scatter_is_the_deviation_of_noise() {
        let mut state = 1_u64;
        let mut even = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 11) as f64 / (1_u64 << 53) as f64
        };
        let values: Vec<f64> = (0..4_000)
            .map(|i| {
                let normal = (0..12).map(|_| even()).sum::<f64>() - 6.0;
                40.0 * (-f64::from(i) / 900.0).exp() + 0.1 * normal
            })
            .collect();
        assert!((scatter(&values) - 0.1).abs() < 0.005, "{}", scatter(&values));
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
