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
        let is_there = |channel: &Channel| col(channel.as_str()).is_not_null();
        let any = channels.iter().map(is_there).fold(col(QUALITY).neq(lit(0)), Expr::or);
        Ok(to_frame(table, channels)?.lazy().filter(any).collect()?)
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
            values => {
                Float64Chunked::from_iter_options(name, values.iter().copied().map(from_thousandths)).into_column()
            }
        });
    }
    columns.push(Int32Chunked::from_vec(QUALITY.into(), table.missing).into_column());
    DataFrame::new(rows, columns)
}
