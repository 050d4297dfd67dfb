//! # Trend
//!
//! Is it drifting, how fast, and since when?
//!
//! | routine | formula | source |
//! | --- | --- | --- |
//! | [`theil_sen`] | median of all pairwise slopes, interval by ranks | Theil 1950; Sen 1968 |
//! | [`mann_kendall`] | `S = Σ sign(x_j − x_i)`, variance with ties, z with continuity | Mann 1945; Kendall 1975 |
//! | [`split_in_two`], [`split`] | change in mean that lowers the sum of squares most; again in each part | binary segmentation, Scott & Knott 1974 |
//! | [`pettitt`] | `K = max \|2 Σ rank − t(n + 1)\|`, `p ≈ 2 exp(−6K²/(n³ + n²))` | Pettitt 1979 |
//!
//! *Range of validity.* Independent values. Readings that follow each other resemble each other, which makes every test see trends
//! that are not there: take block means first. A p-value says how surprising the data would be without a trend; it says
//! nothing of whether the trend matters. Judge that by the slope and its interval.

pub mod change_point;
pub mod rank_test;
pub mod robust_slope;

pub use change_point::{Pettitt, Split, pettitt, split, split_in_two};
pub use rank_test::{MannKendall, mann_kendall};
pub use robust_slope::{TheilSen, theil_sen};

/// Most values that the pairwise methods take: above, two million pairs take longer than a caller would wait, and block means
/// say the same.
pub const MAX_VALUES: usize = 2_000;

/// `Σ t (t − 1)(2t + 5)` over groups of t equal values.
fn tie_correction(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted
        .chunk_by(|a, b| a == b)
        .map(|group| {
            let t = group.len() as f64;
            t * (t - 1.0) * (2.0 * t + 5.0)
        })
        .sum()
}
