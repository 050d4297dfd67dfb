//! Middle and spread by rank, which a few wild readings cannot move.

use crate::error::is_usable;

/// `1/Φ⁻¹(3/4)`: turns a median distance into the standard deviation of a normal spread (Hampel 1974).
pub const MAD_TO_SIGMA: f64 = 1.482_602_218_505_602;

/// Median; `None` without values, or when one is not finite.
pub fn median(values: &[f64]) -> Option<f64> {
    quantile(values, 0.5)
}

/// The value below which `share` of the values lie, linear between ranks (Hyndman & Fan 1996, type 7).
/// `None` without values, when one is not finite, or unless `0 ≤ share ≤ 1`.
pub fn quantile(values: &[f64], share: f64) -> Option<f64> {
    if values.is_empty() || !(0.0..=1.0).contains(&share) || !values.iter().all(|value| is_usable(*value)) {
        return None;
    }
    let rank = share * (values.len() - 1) as f64;
    let below = rank.floor() as usize;
    let mut ranked = values.to_vec();
    let (_, &mut low, above) = ranked.select_nth_unstable_by(below, f64::total_cmp);
    let high = above.iter().copied().fold(f64::INFINITY, f64::min);
    let between = rank - below as f64;
    Some(if between == 0.0 { low } else { low + between * (high - low) })
}

/// The same of values that are sorted and finite already; `None` without any, or unless `0 ≤ share ≤ 1`.
pub(crate) fn quantile_of_sorted(ranked: &[f64], share: f64) -> Option<f64> {
    let rank = (0.0..=1.0).contains(&share).then_some(share * ranked.len().checked_sub(1)? as f64)?;
    let (low, high) = (*ranked.get(rank.floor() as usize)?, *ranked.get(rank.ceil() as usize)?);
    Some(low + (rank - rank.floor()) * (high - low))
}

/// Median distance from the median, times [`MAD_TO_SIGMA`]: the standard deviation that a normal spread would have.
/// Zero when more than half of the values are equal. `None` without values, or when one is not finite.
pub fn mad(values: &[f64]) -> Option<f64> {
    let middle = median(values)?;
    let distances: Vec<f64> = values.iter().map(|value| (value - middle).abs()).collect();
    Some(MAD_TO_SIGMA * median(&distances)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn small_cases_by_hand() {
        assert_eq!(median(&[3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(&[4.0, 1.0, 3.0, 2.0]), Some(2.5));
        assert_eq!(quantile(&[1.0, 2.0, 3.0, 4.0, 5.0], 0.1), Some(1.4));
        assert_eq!(quantile(&[7.0], 0.9), Some(7.0));
        assert_eq!(median(&[]), None);
        assert_eq!(median(&[1.0, f64::NAN]), None);
        assert_eq!(quantile(&[1.0], 1.1), None);
    }

    proptest! {
        #[test]
        fn quantiles_rise_and_stay_inside(
            values in prop::collection::vec(-50.0..150.0_f64, 1..40), a in 0.0..=1.0_f64, b in 0.0..=1.0_f64,
        ) {
            let (low, high) = (quantile(&values, a.min(b)).unwrap(), quantile(&values, a.max(b)).unwrap());
            prop_assert!(low <= high);
            let mut ranked = values.clone();
            ranked.sort_by(f64::total_cmp);
            prop_assert_eq!(quantile_of_sorted(&ranked, a.min(b)), Some(low));
            prop_assert!(quantile(&values, 0.0).unwrap() <= low && high <= quantile(&values, 1.0).unwrap());
        }

        #[test]
        fn a_minority_of_wild_values_does_not_move_the_median_out(
            values in prop::collection::vec(30.0..32.0_f64, 11..40), wild in -1e6..1e6_f64,
        ) {
            let mut spoiled = values;
            let few = (spoiled.len() - 1) / 2;
            spoiled[..few].fill(wild);
            prop_assert!((30.0..32.0).contains(&median(&spoiled).unwrap()));
        }
    }
}
