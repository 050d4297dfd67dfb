//! A coarse read for charts: of each bucket of time the first, last, lowest and highest reading.
//!
//! Four points a bucket draw the same line as all of them, as long as a bucket is no wider than a pixel.

use model::{Channel, MachineId, Span, Timestamp};
use polars::prelude::*;

use crate::frame::{TIME, to_frame};
use crate::snapshot::Wanted;
use crate::{StoreError, StoreReader};

/// A reading to draw.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// When.
    pub at: Timestamp,
    /// In the channel's unit.
    pub value: f64,
}

/// What is drawn of a stretch of time that has at least one reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bucket {
    /// The bucket's place, from 0; a place without readings is left out, and a line should break there if it is wide.
    pub place: usize,
    /// The first reading.
    pub first: Point,
    /// The last reading.
    pub last: Point,
    /// The lowest reading.
    pub lowest: Point,
    /// The highest reading.
    pub highest: Point,
    /// How many readings there are.
    pub readings: u32,
}

impl StoreReader {
    /// One channel from `from` on and before `to`, in `buckets` of equal length. `missing` readings are left out.
    ///
    /// # Errors
    /// As [`StoreReader::read_series`].
    pub fn read_envelope(
        &self,
        machine: &MachineId,
        channel: Channel,
        from: Timestamp,
        to: Timestamp,
        buckets: usize,
    ) -> Result<Vec<Bucket>, StoreError> {
        let table = self.read_table(Wanted { machine, channels: &[channel], from, to })?;
        if table.len() == 0 {
            return Ok(Vec::new());
        }
        let width = bucket_width(to - from, buckets);
        let value = || col(channel.as_str());
        let place = (col(TIME).cast(DataType::Int64) - lit(from.as_millis())).floor_div(lit(width));
        let at = |row: Expr| [col("ms").get(row.clone(), false), value().get(row, false)];
        let name =
            |[t, v]: [Expr; 2], which: &str| [t.alias(format!("{which}_t")), v.alias(format!("{which}_v"))];
        let points = [
            name([col("ms").first(), value().first()], "first"),
            name([col("ms").last(), value().last()], "last"),
            name(at(value().arg_min()), "lowest"),
            name(at(value().arg_max()), "highest"),
        ];
        let frame = to_frame(table, &[channel])?
            .lazy()
            .filter(value().is_not_null())
            .with_columns([col(TIME).cast(DataType::Int64).alias("ms"), place.alias("place")])
            .group_by_stable([col("place")])
            .agg([points.concat(), vec![len().alias("readings")]].concat())
            .collect()?;
        to_buckets(&frame).map_err(StoreError::Columns)
    }
}

/// Long enough that `buckets` of them cover the whole length.
fn bucket_width(length: Span, buckets: usize) -> i64 {
    let buckets = i64::try_from(buckets).unwrap_or(i64::MAX).max(1);
    (length.as_millis().max(1) - 1) / buckets + 1
}

fn to_buckets(frame: &DataFrame) -> PolarsResult<Vec<Bucket>> {
    let point = |which: &str| -> PolarsResult<Vec<Point>> {
        let (t, v) =
            (frame.column(&format!("{which}_t"))?.i64()?, frame.column(&format!("{which}_v"))?.f64()?);
        let points = t.into_no_null_iter().zip(v.into_no_null_iter());
        Ok(points.map(|(t, value)| Point { at: Timestamp::from_millis(t), value }).collect())
    };
    let (first, last, lowest, highest) =
        (point("first")?, point("last")?, point("lowest")?, point("highest")?);
    let places = frame.column("place")?.i64()?.into_no_null_iter();
    let readings = frame.column("readings")?.cast(&DataType::UInt32)?;
    let bucket = |(row, (place, readings)): (usize, (i64, u32))| Bucket {
        place: usize::try_from(place).unwrap_or(0),
        first: first[row],
        last: last[row],
        lowest: lowest[row],
        highest: highest[row],
        readings,
    };
    Ok(places.zip(readings.u32()?.into_no_null_iter()).enumerate().map(bucket).collect())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::testing::{Works, alder, at, chocolate, reading};

    fn point(seconds: i64, value: f64) -> Point {
        Point { at: at(seconds), value }
    }

    #[test]
    fn four_points_a_bucket() {
        let mut works = Works::new();
        let values = [30.0, 33.0, 29.0, 31.0];
        works.append(&[0, 1, 2, 3].map(|second| chocolate(second, values[second as usize])));
        works.append(&[chocolate(25, 28.0), reading(&alder(), Channel::Chocolate, at(26), None)]);
        let buckets = works.store.read_envelope(&alder(), Channel::Chocolate, at(0), at(30), 3).unwrap();
        let (first, last, lowest, highest) = (point(0, 30.0), point(3, 31.0), point(2, 29.0), point(1, 33.0));
        let lone = point(25, 28.0);
        assert_eq!(
            buckets,
            [
                Bucket { place: 0, first, last, lowest, highest, readings: 4 },
                Bucket { place: 2, first: lone, last: lone, lowest: lone, highest: lone, readings: 1 },
            ]
        );
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(32))]

        #[test]
        fn no_bucket_lies_outside_and_no_reading_is_lost(
            values in proptest::collection::vec((0i64..1_000, 2_000i32..6_000), 1..80),
            length in 1i64..1_200,
            buckets in 0usize..40,
        ) {
            let mut works = Works::new();
            let block: Vec<_> =
                values.iter().map(|(second, hundredths)| chocolate(*second, f64::from(*hundredths) / 100.0)).collect();
            works.append(&block);
            let series = works.store.read_series(&alder(), Channel::Chocolate, at(0), at(length)).unwrap();
            let seen = works.store.read_envelope(&alder(), Channel::Chocolate, at(0), at(length), buckets).unwrap();
            prop_assert_eq!(seen.iter().map(|bucket| bucket.readings as usize).sum::<usize>(), series.len());
            prop_assert!(seen.iter().all(|bucket| bucket.place < buckets.max(1)));
            let highest = series.iter().filter_map(|(_, value)| *value).fold(f64::MIN, f64::max);
            let drawn = seen.iter().map(|bucket| bucket.highest.value).fold(f64::MIN, f64::max);
            prop_assert_eq!(highest, drawn);
        }
    }
}
