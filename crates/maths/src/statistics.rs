//! # Statistics
//!
//! What a series of readings says about its middle, its spread, and how much of it is independent.
//!
//! | routine | formula | source |
//! | --- | --- | --- |
//! | [`Moments`] | running mean and sum of squares, in parts that combine | Welford 1962; Chan, Golub & LeVeque 1983 |
//! | [`median`], [`quantile`], [`mad`] | order statistics, linear between ranks (type 7); `1.4826·median\|x − median\|` | Hyndman & Fan 1996; Hampel 1974 |
//! | [`autocorrelation`] | `r_j = Σ (xᵢ − x̄)(xᵢ₊ⱼ − x̄) / Σ (xᵢ − x̄)²` | NIST StRD univariate |
//! | [`independence_interval`], [`block_means`] | `1 + 2 Σ r_j`; means of whole blocks of time | e-Handbook 6.3; common practice for batch means |
//! | [`rank_sum()`] | `U = #{x > y} + ½·#{x = y}`, exact share of all choices of ranks | Wilcoxon 1945; Mann & Whitney 1947 |
//! | [`Line`] | straight line, errors of slope and intercept | NIST StRD linear (Norris) |
//!
//! Readings that follow each other by a second are not independent. A spread, a capability or a control limit taken from them
//! promises too much; take block means first, with blocks of at least two [`independence_interval`]s.

pub mod distributions;
pub mod line;
pub mod moments;
pub mod order;
pub mod rank_sum;
pub mod series;

pub use distributions::{chi_squared_quantile, normal_below, normal_quantile, student_quantile};
pub use line::{Line, straight_line};
pub use moments::Moments;
pub(crate) use order::quantile_of_sorted;
pub use order::{MAD_TO_SIGMA, mad, median, quantile};
pub use rank_sum::{RankSum, rank_sum};
pub use series::{
    Block, autocorrelation, block_means, independence_interval, scatter, scatter_with_jumps,
    sum_of_autocorrelations,
};
