//! The reference band: how the course of a charge usually runs from the start of its cooling on.
//!
//! Each course is laid on a grid from the start of its cooling (mean of a step), and over the courses the median and
//! the 10 % and 90 % quantiles are taken, between neighbours in proportion. Where less than half of the courses are
//! known there is no band: unknown is unknown.

use model::{Span, Timestamp};
use polars::prelude::{Column, DataFrame, IntoLazy, QuantileMethod, SortMultipleOptions, col, len, lit};

use crate::{FEWEST_BATCHES, HistoryError};

/// The band begins so long before the cooling, so that the end of the soak is seen.
const BEFORE: Span = Span::from_mins(30);

/// And ends so long after its start: a shift of work.
const AFTER: Span = Span::from_hours(14);

/// One earlier batch.
#[derive(Debug, Clone, PartialEq)]
pub struct Course {
    /// Where it is laid over the others.
    pub cooling_start: Timestamp,
    /// Chocolate, °C; `None` is a missing reading.
    pub readings: Vec<(Timestamp, Option<f64>)>,
}

/// How the course usually runs.
#[derive(Debug, Clone, PartialEq)]
pub struct ReferenceBand {
    /// From how many batches.
    pub batches: usize,
    /// Distance of the points.
    pub step: Span,
    /// In the order of time; a stretch of which too little is known is left out.
    pub points: Vec<BandPoint>,
}

/// One point of the band, °C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandPoint {
    /// Time since the start of cooling; negative before it.
    pub after: Span,
    /// Nine of ten batches were warmer.
    pub low: f64,
    /// Half of the batches were warmer.
    pub median: f64,
    /// Nine of ten batches were colder.
    pub high: f64,
    /// How many batches are known here.
    pub batches: usize,
}

impl ReferenceBand {
    /// The points on the clock of a batch that began to cool at `cooling_start`.
    pub fn at(&self, cooling_start: Timestamp) -> impl Iterator<Item = (Timestamp, &BandPoint)> {
        self.points.iter().map(move |point| (cooling_start + point.after, point))
    }
}

/// The band of `courses` on a grid of `step`; `None` if fewer than [`FEWEST_BATCHES`] have readings. The caller brings
/// good batches of one machine and one couverture.
///
/// # Errors
/// When polars runs out of memory.
pub fn reference_band(courses: &[Course], step: Span) -> Result<Option<ReferenceBand>, HistoryError> {
    let (table, batches) = table_of(courses, step)?;
    if batches < FEWEST_BATCHES {
        return Ok(None);
    }
    let fewest = FEWEST_BATCHES.max(batches.div_ceil(2));
    let at = |share: f64| col("celsius").quantile(lit(share), QuantileMethod::Linear);
    let summary = table
        .lazy()
        .group_by([col("course"), col("place")])
        .agg([col("celsius").mean()])
        .group_by([col("place")])
        .agg([
            at(0.1).alias("low"),
            col("celsius").median().alias("median"),
            at(0.9).alias("high"),
            len().cast(polars::prelude::DataType::Int64).alias("batches"),
        ])
        .filter(col("batches").gt_eq(lit(fewest as i64)))
        .sort(["place"], SortMultipleOptions::default())
        .collect()?;
    Ok(Some(ReferenceBand { batches, step, points: points_of(&summary, step)? }))
}

/// Long table: course, place on the grid, °C; and how many courses have readings in it.
fn table_of(courses: &[Course], step: Span) -> Result<(DataFrame, usize), HistoryError> {
    let (mut course, mut place, mut celsius) = (Vec::new(), Vec::new(), Vec::new());
    let mut batches = 0;
    for (number, Course { cooling_start, readings }) in (0_u32..).zip(courses) {
        let before = course.len();
        for (at, value) in readings {
            let after = *at - *cooling_start;
            let Some(value) = value.filter(|value| value.is_finite()) else { continue };
            if -BEFORE <= after && after <= AFTER {
                course.push(number);
                place.push(after.as_millis().div_euclid(step.as_millis().max(1)));
                celsius.push(value);
            }
        }
        batches += usize::from(before < course.len());
    }
    let height = celsius.len();
    let columns = vec![
        Column::new("course".into(), course),
        Column::new("place".into(), place),
        Column::new("celsius".into(), celsius),
    ];
    Ok((DataFrame::new(height, columns)?, batches))
}

fn points_of(summary: &DataFrame, step: Span) -> Result<Vec<BandPoint>, HistoryError> {
    let place = summary.column("place")?.i64()?;
    let batches = summary.column("batches")?.i64()?;
    let number = |name: &str| Ok::<_, HistoryError>(summary.column(name)?.f64()?.clone());
    let (low, median, high) = (number("low")?, number("median")?, number("high")?);
    let point = |row: usize| {
        Some(BandPoint {
            // The mean of a step belongs in its middle.
            after: step * place.get(row)? + step / 2,
            low: low.get(row)?,
            median: median.get(row)?,
            high: high.get(row)?,
            batches: usize::try_from(batches.get(row)?).ok()?,
        })
    };
    Ok((0..summary.height()).filter_map(point).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const MINUTE: Span = Span::from_mins(1);

    /// A course of an hour at one reading in ten seconds that began to cool on a day in March.
    fn course(day: i64, celsius: impl Fn(f64) -> Option<f64>) -> Course {
        let cooling_start = "2026-03-02T06:05:00Z".parse::<Timestamp>().unwrap() + Span::from_hours(24) * day;
        let readings = (0..360).map(|n| {
            let after = Span::from_secs(n * 10);
            (cooling_start + after, celsius(after.as_mins_f64()))
        });
        Course { cooling_start, readings: readings.collect() }
    }

    #[test]
    fn courses_of_different_days_are_laid_over_each_other() {
        let courses: Vec<Course> =
            (0..11).map(|day| course(day, |minutes| Some(45.0 - minutes * 0.2 + day as f64 * 0.1))).collect();
        let band = reference_band(&courses, MINUTE).unwrap().unwrap();
        assert_eq!((band.batches, band.points.len()), (11, 60));
        let first = band.points[0];
        // Ten seconds apart, the mean of the first minute is that at 25 s. Of eleven values a tenth apart, the
        // quantiles 0.1 and 0.9 are the second and the tenth.
        let middle = 45.0 - 25.0 / 60.0 * 0.2;
        for (found, expected) in [(first.low, 0.1), (first.median, 0.5), (first.high, 0.9)] {
            assert!((found - middle - expected).abs() < 1e-9, "{first:?}");
        }
        let (at, _) = band.at(courses[3].cooling_start).next().unwrap();
        assert_eq!(at, courses[3].cooling_start + Span::from_secs(30));
    }

    #[test]
    fn too_few_batches_make_no_band() {
        let two = [course(0, |_| Some(31.0)), course(1, |_| Some(31.0)), course(2, |_| None)];
        assert_eq!(reference_band(&two, MINUTE).unwrap(), None);
        assert_eq!(reference_band(&[], MINUTE).unwrap(), None);
    }

    #[test]
    fn where_most_are_unknown_there_is_no_band() {
        let known_to = [60.0, 60.0, 60.0, 20.0, 20.0, 20.0, 20.0];
        let courses: Vec<Course> =
            (0..).zip(known_to).map(|(day, end)| course(day, move |m| (m < end).then_some(31.0))).collect();
        let band = reference_band(&courses, MINUTE).unwrap().unwrap();
        assert_eq!(band.points.len(), 20);
        assert!(band.points.iter().all(|point| point.batches == 7));
    }

    proptest! {
        /// The band is what sorting says: the median of the courses, with the envelope on either side of it.
        #[test]
        fn the_median_is_in_the_middle(levels in prop::collection::vec(25.0..50.0_f64, 3..12)) {
            let courses: Vec<Course> = (0..).zip(&levels).map(|(day, level)| course(day, |_| Some(*level))).collect();
            let band = reference_band(&courses, MINUTE).unwrap().unwrap();
            let mut sorted = levels.clone();
            sorted.sort_by(f64::total_cmp);
            let middle = (sorted[(sorted.len() - 1) / 2] + sorted[sorted.len() / 2]) / 2.0;
            for point in &band.points {
                prop_assert!((point.median - middle).abs() < 1e-9);
                prop_assert!(sorted[0] <= point.low + 1e-9 && point.low <= point.median + 1e-9);
                prop_assert!(point.median <= point.high + 1e-9 && point.high <= sorted[sorted.len() - 1] + 1e-9);
            }
        }
    }
}
