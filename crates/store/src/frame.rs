//! Readings as a polars frame.
//!
//! The merge of parts and tail is done before, on sorted columns; here they become series, and rows at which none of the
//! wanted channels has a reading go.

use model::{Channel, MachineId, Timestamp};
use polars::prelude::*;

use crate::scale::from_thousandths;
use crate::snapshot::Wanted;
use crate::table::Table;
use crate::{StoreError, StoreReader};

/// The name of the column of times.
pub const TIME: &str = "t";

/// The name of the column that tells `missing` from "no reading": bit k is set where channel k of
/// [`Channel::ALL`] is `missing`.
pub const QUALITY: &str = "quality";

impl StoreReader {
    /// The readings of some channels from `from` on and before `to`, a row a moment: [`TIME`] (Datetime in ms, UTC), a
    /// nullable Float64 a channel under its own name, and [`QUALITY`] (Int32).
    ///
    /// # Errors
    /// As [`StoreReader::read_series`].
    pub fn read_readings(
        &self,
        machine: &MachineId,
        channels: &[Channel],
        from: Timestamp,
        to: Timestamp,
    ) -> Result<DataFrame, StoreError> {
        let table = self.read_table(Wanted { machine, channels, from, to })?;
        Ok(to_frame(table.without_empty_rows(), channels)?)
    }
}

/// Every row of a table.
pub(crate) fn to_frame(table: Table, channels: &[Channel]) -> PolarsResult<DataFrame> {
    let rows = table.len();
    let t = Int64Chunked::from_vec(TIME.into(), table.t).into_datetime(TimeUnit::Milliseconds, None);
    let mut columns = vec![t.into_column()];
    for channel in channels {
        let name = PlSmallStr::from_static(channel.as_str());
        columns.push(match table.values[channel.index()].as_slice() {
            [] => Float64Chunked::full_null(name, rows).into_column(),
            values => Float64Chunked::from_iter_options(name, values.iter().copied().map(from_thousandths))
                .into_column(),
        });
    }
    columns.push(Int32Chunked::from_vec(QUALITY.into(), table.missing).into_column());
    DataFrame::new(rows, columns)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{Works, alder, at, chocolate, reading};

    #[test]
    fn a_frame_tells_missing_from_absent_and_leaves_out_empty_moments() {
        let mut works = Works::new();
        works.append(&[
            chocolate(0, 31.24),
            reading(&alder(), Channel::Room, at(0), Some(21.5)),
            reading(&alder(), Channel::Jacket, at(1), Some(33.0)),
            reading(&alder(), Channel::Room, at(2), None),
        ]);
        works.move_all().unwrap();
        works.append(&[chocolate(2, 31.25)]);
        let channels = [Channel::Chocolate, Channel::Room];
        let frame = works.store.read_readings(&alder(), &channels, at(0), at(10)).unwrap();
        let names: Vec<&str> = frame.get_column_names().into_iter().map(|name| name.as_str()).collect();
        assert_eq!(names, ["t", "chocolate", "room", "quality"]);
        let values = |name: &str| frame.column(name).unwrap().f64().unwrap().iter().collect::<Vec<_>>();
        assert_eq!(values("chocolate"), [Some(31.24), Some(31.25)]);
        assert_eq!(values("room"), [Some(21.5), None]);
        let quality: Vec<Option<i32>> = frame.column("quality").unwrap().i32().unwrap().iter().collect();
        assert_eq!(quality, [Some(0), Some(1 << Channel::Room.index())]);
        assert_eq!(frame.column("t").unwrap().dtype(), &DataType::Datetime(TimeUnit::Milliseconds, None));
        let t = frame.column("t").unwrap().cast(&DataType::Int64).unwrap();
        let t: Vec<Option<i64>> = t.i64().unwrap().iter().collect();
        assert_eq!(t, [Some(at(0).as_millis()), Some(at(2).as_millis())]);
    }

    #[test]
    fn nothing_gives_an_empty_frame_with_its_columns() {
        let works = Works::new();
        let frame = works.store.read_readings(&alder(), &[Channel::Motor], at(0), at(10)).unwrap();
        assert_eq!((frame.height(), frame.width()), (0, 3));
    }
}
