//! Wilcoxon–Mann–Whitney: do the values of one sample lie above those of another more often than chance would have it?
//!
//! ```text
//! U = #{xᵢ > yⱼ} + ½·#{xᵢ = yⱼ}         W = U + m(m+1)/2, the sum of the ranks of x, equal values sharing their mean rank
//! p = share of all choices of m out of the n+m ranks whose sum lies as far from m(n+m+1)/2 as W does
//! ```
//! Exact at any size: choices are counted by the recurrence over ranks "with this one or without it" (Mann & Whitney 1947),
//! on doubled ranks so that shared ones stay whole. With ties the count is over the ranks as they came out (permutation
//! test), which needs no correction.

use crate::error::{MathsError, all_finite, at_least};

/// More values than this need no exact count, and would make one slow.
pub const MOST_VALUES: usize = 100;

/// The outcome of the test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RankSum {
    /// Pairs in which the first sample's value is the larger one; equal ones count half.
    pub u: f64,
    /// Probability of a sum of ranks at least so far from its middle, if both samples are alike.
    pub p_two_sided: f64,
    /// The smallest such probability that samples of these sizes can have: 2 of all choices.
    pub smallest_p: f64,
}

/// Tests two samples, in any order.
///
/// # Errors
/// An empty sample, more than [`MOST_VALUES`] values, values that are not finite, or all of them equal.
pub fn rank_sum(first: &[f64], second: &[f64]) -> Result<RankSum, MathsError> {
    all_finite(&[first, second])?;
    at_least(first.len().min(second.len()), 1)?;
    let n = first.len() + second.len();
    if MOST_VALUES < n {
        return Err(MathsError::OutOfRange("number of values"));
    }
    let all: Vec<f64> = first.iter().chain(second).copied().collect();
    let doubled: Vec<usize> = all.iter().map(|value| doubled_rank(*value, &all)).collect();
    if doubled.iter().all(|rank| *rank == doubled[0]) {
        return Err(MathsError::Constant);
    }
    let (m, sum) = (first.len(), doubled[..first.len()].iter().sum::<usize>());
    let choices = choices(&doubled, m);
    let middle = m * (n + 1);
    let all_choices: f64 = choices.iter().sum();
    let as_far = |place: &usize| sum.abs_diff(middle) <= place.abs_diff(middle);
    let tail: f64 = (0..choices.len()).filter(as_far).map(|place| choices[place]).sum();
    Ok(RankSum {
        u: (sum - m * (m + 1)) as f64 / 2.0,
        p_two_sided: (tail / all_choices).min(1.0),
        smallest_p: (2.0 / all_choices).min(1.0),
    })
}

/// Twice the mean rank that equal values share.
fn doubled_rank(value: f64, all: &[f64]) -> usize {
    let below = all.iter().filter(|other| **other < value).count();
    let equal = all.iter().filter(|other| **other == value).count();
    2 * below + equal + 1
}

/// How many choices of `m` ranks have each sum.
fn choices(ranks: &[usize], m: usize) -> Vec<f64> {
    let most = ranks.iter().sum::<usize>();
    // ways[k][s]: choices of k ranks so far with the sum s. Counts stay below C(100, 50) = 1e29, with 15 digits of them.
    let mut ways = vec![vec![0.0; most + 1]; m + 1];
    ways[0][0] = 1.0;
    for &rank in ranks {
        for k in (1..=m).rev() {
            let (without, with) = ways.split_at_mut(k);
            for (place, ways) in with[0].iter_mut().enumerate().skip(rank) {
                *ways += without[k - 1][place - rank];
            }
        }
    }
    ways.swap_remove(m)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Hollander & Wolfe 1973, table on the permeability of the chorioamnion, as R's `wilcox.test` shows it: W = 35,
    /// p = 0.1272 for one side. From memory.
    #[test]
    fn a_published_example() {
        let at_term = [0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46];
        let earlier = [1.15, 0.88, 0.90, 0.74, 1.21];
        let found = rank_sum(&at_term, &earlier).unwrap();
        assert_eq!(found.u, 35.0);
        assert!((found.p_two_sided / 2.0 - 0.1272).abs() < 5e-5, "{found:?}");
    }

    #[test]
    fn small_cases_by_hand() {
        let found = rank_sum(&[4.0, 5.0, 6.0], &[1.0, 2.0, 3.0]).unwrap();
        assert_eq!((found.u, found.p_two_sided, found.smallest_p), (9.0, 0.1, 0.1), "2 of C(6, 3) = 20");
        // Ranks 1½, 1½, 3: of the three choices of one, two lie ½ below the middle and one lies 1 above it.
        let tied = rank_sum(&[7.0], &[2.0, 2.0]).unwrap();
        assert!((tied.p_two_sided - 1.0 / 3.0).abs() < 1e-12, "{tied:?}");
        assert_eq!(rank_sum(&[1.0], &[1.0, 1.0]), Err(MathsError::Constant));
        assert_eq!(rank_sum(&[], &[1.0]), Err(MathsError::TooFew { given: 0, needed: 1 }));
        assert_eq!(rank_sum(&[f64::NAN], &[1.0]), Err(MathsError::NotFinite));
        assert!(rank_sum(&[1.0; 60], &[2.0; 60]).is_err());
    }

    proptest! {
        #[test]
        fn either_way_round_and_in_any_units_it_is_the_same(
            first in prop::collection::vec(0_i32..12, 1..9),
            second in prop::collection::vec(0_i32..12, 1..9),
        ) {
            let of = |values: &[i32]| -> Vec<f64> { values.iter().map(|value| f64::from(*value)).collect() };
            let (first, second) = (of(&first), of(&second));
            if let Ok(found) = rank_sum(&first, &second) {
                let back = rank_sum(&second, &first).unwrap();
                prop_assert!((found.p_two_sided - back.p_two_sided).abs() < 1e-12);
                prop_assert_eq!(found.u + back.u, (first.len() * second.len()) as f64);
                prop_assert!(0.0 < found.p_two_sided && found.p_two_sided <= 1.0);
                let bent = |values: &[f64]| -> Vec<f64> { values.iter().map(|value| value.exp()).collect() };
                prop_assert_eq!(rank_sum(&bent(&first), &bent(&second)), Ok(found));
            }
        }
    }
}
