//! What is usual on a machine: the medians of its earlier batches of the same couverture.
//!
//! Told only from a few batches on, and with how many there were: the median of two is no habit.

use model::{Batch, Measures};

/// Fewer earlier batches than this say nothing about what is usual.
const FEWEST: usize = 3;

/// The median of each measure over `earlier` batches; `None` if there are too few.
pub(crate) fn usual(earlier: &[Batch]) -> Option<Measures> {
    if earlier.len() < FEWEST {
        return None;
    }
    let of = |measure: fn(&Measures) -> Option<f64>| {
        median(earlier.iter().filter_map(|batch| measure(&batch.measures)).collect())
    };
    Some(Measures {
        soak_max_c: of(|m| m.soak_max_c),
        cooling_minutes: of(|m| m.cooling_minutes),
        cooling_tau_min: of(|m| m.cooling_tau_min),
        cooling_tau_against: None,
        lowest_c: of(|m| m.lowest_c),
        seed_dip_c: of(|m| m.seed_dip_c),
        settled_c: of(|m| m.settled_c),
        working_minutes: of(|m| m.working_minutes),
        working_mean_c: of(|m| m.working_mean_c),
        working_sd_c: of(|m| m.working_sd_c),
        drift_c_per_h: of(|m| m.drift_c_per_h),
        above_loss_c_min: of(|m| m.above_loss_c_min),
        unknown_minutes: of(|m| m.unknown_minutes),
    })
}

/// From how many batches the usual comes.
pub(crate) fn says(earlier: &[Batch]) -> String {
    match earlier.len() {
        n if n < FEWEST => {
            format!("What is usual here is told from {FEWEST} earlier batches of this couverture on; there are {n}.")
        }
        n => format!("Usual here: the median of the {n} batches of this couverture on this machine before this one."),
    }
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    if values.len() < FEWEST {
        return None;
    }
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    Some(if values.len() % 2 == 1 { values[middle] } else { (values[middle - 1] + values[middle]) / 2.0 })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up::batch;
    use model::Phase;

    fn with_soak(soak_max_c: f64) -> Batch {
        let mut batch = batch(&"alder".parse().unwrap(), Phase::Working);
        batch.measures = Measures { soak_max_c: Some(soak_max_c), ..Measures::default() };
        batch
    }

    #[test]
    fn the_usual_is_the_median_of_what_was_measured() {
        let usual = usual(&[45.0, 49.0, 46.0, 47.0].map(with_soak)).unwrap();
        assert_eq!((usual.soak_max_c, usual.seed_dip_c), (Some(46.5), None));
    }

    #[test]
    fn two_batches_are_no_habit() {
        let earlier = [45.0, 49.0].map(with_soak);
        assert_eq!(super::usual(&earlier), None);
        assert!(says(&earlier).ends_with("there are 2."));
    }
}
