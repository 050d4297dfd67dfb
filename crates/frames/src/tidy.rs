//! Readings as they came into sorted columns, by polars.
//!
//! Input in the order of arrival. The same channel and time twice is one reading and the last to arrive wins
//! (contract, section 2); what was late or out of order ends up in its place.

use model::{Channel, Timestamp};
use polars::prelude::*;

/// Polars could not do what it was asked.
#[derive(Debug, thiserror::Error)]
pub enum FrameError {
    /// The columns do not have the shape that was promised, or memory ran out.
    #[error("cannot put readings in order")]
    Polars(#[from] PolarsError),
}

/// One machine's readings in the order of their own times, one a channel and moment.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct TidyReadings {
    /// When, which channel, and the value; `None` is a missing reading.
    pub rows: Vec<(Timestamp, Channel, Option<f64>)>,
    /// How many of the readings given were repeated.
    pub duplicates: usize,
}

/// One machine's readings as they come, column by column.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ReadingHeap {
    t: Vec<i64>,
    channel: Vec<u32>,
    value: Vec<Option<f64>>,
}

impl ReadingHeap {
    /// Adds a reading; the order of calls is the order of arrival.
    pub fn push(&mut self, channel: Channel, at: Timestamp, value: Option<f64>) {
        self.t.push(at.as_millis());
        self.channel.push(channel.index() as u32);
        self.value.push(value);
    }

    /// Sorts the readings and keeps the last of each channel and time.
    ///
    /// # Errors
    /// When polars fails, which for these columns means that memory ran out.
    pub fn tidy(self) -> Result<TidyReadings, FrameError> {
        tidy_frame(df!["t" => self.t, "channel" => self.channel, "value" => self.value]?)
    }
}

/// Sorts a frame with the columns `t` (Int64, ms), `channel` (UInt32, place in [`Channel::ALL`]) and `value`
/// (Float64, null is missing), rows in the order of arrival,
/// and keeps the last of each channel and time.
///
/// # Errors
/// When a column is not there or has another type, or memory ran out.
pub fn tidy_frame(frame: DataFrame) -> Result<TidyReadings, FrameError> {
    let given = frame.height();
    let sorted = frame
        .lazy()
        .unique_stable(Some(cols(["t", "channel"])), UniqueKeepStrategy::Last)
        .sort(["t", "channel"], SortMultipleOptions::default())
        .collect()?;
    let (t, channel, value) =
        (sorted.column("t")?.i64()?, sorted.column("channel")?.u32()?, sorted.column("value")?.f64()?);
    let rows = t
        .into_no_null_iter()
        .zip(channel.into_no_null_iter())
        .zip(value.iter())
        .filter_map(|((t, channel), value)| {
            let channel = Channel::ALL.get(channel as usize)?;
            Some((Timestamp::from_millis(t), *channel, value))
        })
        .collect::<Vec<_>>();
    Ok(TidyReadings { duplicates: given - rows.len(), rows })
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use proptest::prelude::*;

    use super::*;

    #[test]
    fn nothing_gives_nothing() {
        assert_eq!(ReadingHeap::default().tidy().unwrap(), TidyReadings::default());
    }

    proptest! {
        #[test]
        fn agrees_with_a_map_that_keeps_the_last(
            given in prop::collection::vec((0i64..20, 0usize..7, prop::option::of(-50.0..150.0)), 0..60)
        ) {
            let (mut heap, mut map) = (ReadingHeap::default(), BTreeMap::new());
            for &(at, channel, value) in &given {
                let (at, channel) = (Timestamp::from_millis(at), Channel::ALL[channel]);
                heap.push(channel, at, value);
                map.insert((at, channel), value);
            }
            let tidied = heap.tidy().unwrap();
            prop_assert_eq!(tidied.duplicates, given.len() - map.len());
            let expected: Vec<_> = map.into_iter().map(|((at, channel), value)| (at, channel, value)).collect();
            prop_assert_eq!(tidied.rows, expected);
        }
    }
}
