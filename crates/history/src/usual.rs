//! Medians of the figures of earlier batches.

use model::{Batch, Measures};
use polars::prelude::{Column, DataFrame, IntoLazy, all};

use crate::{FEWEST_BATCHES, HistoryError};

/// What is usual, and from how many batches.
#[derive(Debug, Clone, PartialEq)]
pub struct Usual {
    /// How many batches were looked at.
    pub batches: usize,
    /// The median of each figure; `None` where fewer than [`FEWEST_BATCHES`] have it. What a time constant was fitted
    /// against is no figure and stays `None`.
    pub measures: Measures,
}

/// A figure: its place to read and its place to write.
struct Figure {
    name: &'static str,
    get: fn(&Measures) -> Option<f64>,
    set: fn(&mut Measures, f64),
}

macro_rules! figures {
    ($($field:ident),* $(,)?) => {
        &[$(Figure {
            name: stringify!($field),
            get: |measures| measures.$field,
            set: |measures, value| measures.$field = Some(value),
        }),*]
    };
}

const FIGURES: &[Figure] = figures![
    soak_max_c,
    cooling_minutes,
    cooling_tau_min,
    lowest_c,
    seed_dip_c,
    settled_c,
    working_minutes,
    working_mean_c,
    working_sd_c,
    drift_c_per_h,
    above_loss_c_min,
    unknown_minutes,
];

/// The medians of `batches`; `None` if there are fewer than [`FEWEST_BATCHES`]. The caller brings batches of one
/// machine and one couverture.
///
/// # Errors
/// When polars runs out of memory.
pub fn usual_measures(batches: &[Batch]) -> Result<Option<Usual>, HistoryError> {
    if batches.len() < FEWEST_BATCHES {
        return Ok(None);
    }
    let of_all = |figure: &Figure| -> Vec<Option<f64>> {
        batches.iter().map(|batch| (figure.get)(&batch.measures).filter(|value| value.is_finite())).collect()
    };
    let columns = FIGURES.iter().map(|figure| Column::new(figure.name.into(), of_all(figure))).collect();
    let table = DataFrame::new(batches.len(), columns)?;
    let medians = table.clone().lazy().select([all().as_expr().median()]).collect()?;
    let mut measures = Measures::default();
    for figure in FIGURES {
        let known = table.column(figure.name)?.len() - table.column(figure.name)?.null_count();
        let median = medians.column(figure.name)?.f64()?.get(0);
        if let Some(median) = median.filter(|_| FEWEST_BATCHES <= known) {
            (figure.set)(&mut measures, median);
        }
    }
    Ok(Some(Usual { batches: batches.len(), measures }))
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use model::{BatchId, MachineId, Method, Phase, PhaseSpan, Span, Standing, Timestamp};

    /// A batch of Alder on a day in March that cooled in so many minutes.
    pub(crate) fn batch(day: i64, cooling_minutes: f64) -> Batch {
        let machine: MachineId = "alder".parse().unwrap();
        let start = "2026-03-01T05:00:00Z".parse::<Timestamp>().unwrap() + Span::from_hours(24) * day;
        Batch {
            id: BatchId::new(&machine, start),
            machine,
            couverture: "dark-64".parse().unwrap(),
            lot: None,
            method: Method::Seed,
            mass_kg: None,
            start,
            end: None,
            phases: vec![PhaseSpan {
                phase: Phase::Working,
                from: start,
                to: None,
                confidence: model::Confidence::Medium,
            }],
            measures: Measures { cooling_minutes: Some(cooling_minutes), ..Measures::default() },
            standing: Standing::Unproven,
            reasons: Vec::new(),
        }
    }

    #[test]
    fn one_bad_day_does_not_move_the_median() {
        let mut batches: Vec<Batch> =
            [70.0, 71.0, 180.0, 69.0].into_iter().zip(1..).map(|(m, day)| batch(day, m)).collect();
        batches[0].measures.settled_c = Some(31.4);
        let usual = usual_measures(&batches).unwrap().unwrap();
        assert_eq!((usual.batches, usual.measures.cooling_minutes), (4, Some(70.5)));
        assert_eq!(usual.measures.settled_c, None, "one batch says nothing about what is usual");
        assert_eq!(usual.measures.lowest_c, None);
    }

    #[test]
    fn two_batches_are_too_few() {
        assert_eq!(usual_measures(&[batch(1, 70.0), batch(2, 71.0)]).unwrap(), None);
    }
}
