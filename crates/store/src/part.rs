//! One part as the bytes of a Parquet file, and back.
//!
//! ```text
//! t          INT64  TIMESTAMP(ms, UTC), required, rising, each moment once
//! quality    INT32, required: bit k is set where channel k (order of the contract) is `missing`;
//!            a null without its bit is a moment at which that channel has no reading
//! chocolate  INT32  DECIMAL(9, 2), or (9, 3) where thousandths are needed; optional; °C
//! …          likewise jacket, room, humidity, setpoint, stirrer, motor, in every file
//! ```
//! One row group a file, or one for each set of channels that come together (see `groups`): then the rows rise within a
//! group, and a moment stands once in each. `DELTA_BINARY_PACKED` on every column, no dictionary, zstd 3, data pages of
//! the first kind so that the marks for null are compressed too. The scale is the column's own type, and the unit and the
//! format version stand in the file's key-value metadata. Any reader of Parquet opens it with the right values.
//!
//! A file of a later format is refused in words and never taken for a damaged one; a file without a format is not ours.

use std::sync::Arc;

use bytes::Bytes;
use model::Channel;
use parquet::basic::{Compression, Encoding, LogicalType, ZstdLevel};
use parquet::column::reader::get_typed_column_reader;
use parquet::data_type::{DataType, Int32Type, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::{EnabledStatistics, WriterProperties, WriterPropertiesPtr, WriterVersion};
use parquet::file::reader::{FileReader, RowGroupReader};
use parquet::file::serialized_reader::SerializedFileReader;
use parquet::file::statistics::Statistics;
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::parser::parse_message_type;
use parquet::schema::types::Type;

use crate::groups::{lay_together, split};
use crate::scale::{ABSENT, digits_needed};
use crate::table::{Table, bit};

/// The key under which the format stands in a file's metadata.
const FORMAT_KEY: &str = "halfdegree.part";

/// The newest format that this version knows, and the one that it writes.
const FORMAT: i64 = 1;

/// Columns before the channels.
const LEADING_COLUMNS: usize = 2;

/// Values a page. One page would do for a day at 1 Hz; pages of this size keep a busy day's buffers small.
const ROWS_A_PAGE: usize = 128 * 1024;

/// Digits behind the point, a channel.
pub(crate) type Digits = [u32; Channel::ALL.len()];

/// Thousandths: enough for whatever is kept.
pub(crate) const ALL_THOUSANDTHS: Digits = [3; Channel::ALL.len()];

/// Why a file gives no table.
#[derive(Debug)]
pub(crate) enum Refusal {
    /// A later version wrote it; nothing is wrong with it.
    Newer { found: i64, known: i64 },
    /// Something is wrong with it, in words.
    Damaged(String),
}

impl From<ParquetError> for Refusal {
    fn from(error: ParquetError) -> Refusal {
        Refusal::Damaged(format!("it cannot be decoded ({error})"))
    }
}

/// The bytes of a file that holds `table`.
pub(crate) fn encode(table: Table) -> Result<Vec<u8>, ParquetError> {
    let digits = table.values.each_ref().map(|column| digits_needed(column));
    let mut writer = PartWriter::new(Vec::new(), digits)?;
    split(table).iter().try_for_each(|group| writer.write(group))?;
    writer.finish()
}

/// Writes a file, a row group a table.
pub(crate) struct PartWriter<W: std::io::Write + Send> {
    writer: SerializedFileWriter<W>,
    digits: Digits,
}

impl<W: std::io::Write + Send> PartWriter<W> {
    /// A file whose channels have this many digits behind the point.
    pub(crate) fn new(sink: W, digits: Digits) -> Result<PartWriter<W>, ParquetError> {
        let writer = SerializedFileWriter::new(sink, Arc::new(schema(&digits)?), properties()?)?;
        Ok(PartWriter { writer, digits })
    }

    /// Writes one row group.
    pub(crate) fn write(&mut self, table: &Table) -> Result<(), ParquetError> {
        let mut group = self.writer.next_row_group()?;
        write_column::<Int64Type>(&mut group, &table.t, None)?;
        write_column::<Int32Type>(&mut group, &table.missing, None)?;
        for (column, digits) in table.values.iter().zip(self.digits) {
            let step = thousandths_a_step(digits);
            let values: Vec<i32> = column.iter().filter(|v| **v != ABSENT).map(|v| v / step).collect();
            let mut levels: Vec<i16> = column.iter().map(|value| i16::from(*value != ABSENT)).collect();
            levels.resize(table.len(), 0);
            write_column::<Int32Type>(&mut group, &values, Some(&levels))?;
        }
        group.close().map(drop)
    }

    /// Ends the file and gives back what it was written to.
    pub(crate) fn finish(self) -> Result<W, ParquetError> {
        self.writer.into_inner()
    }
}

/// The table in a file, with no other channels than `wanted`.
pub(crate) fn decode(file: Bytes, wanted: &[Channel]) -> Result<Table, Refusal> {
    let reader = SerializedFileReader::new(file)?;
    check_format(&reader)?;
    let mut tables = Vec::new();
    for group in 0..reader.num_row_groups() {
        let group = reader.get_row_group(group)?;
        if may_hold_any(group.as_ref(), wanted) {
            tables.push(read_group(group.as_ref(), wanted)?);
        }
    }
    Ok(lay_together(tables))
}

fn check_format(reader: &impl FileReader) -> Result<(), Refusal> {
    let notes = reader.metadata().file_metadata().key_value_metadata();
    let note = notes.into_iter().flatten().find(|note| note.key == FORMAT_KEY);
    let found = note.and_then(|note| note.value.as_deref()?.parse::<i64>().ok());
    match found {
        Some(found) if FORMAT < found => Err(Refusal::Newer { found, known: FORMAT }),
        Some(found) if 1 <= found => check_columns(reader),
        Some(_) | None => Err(Refusal::Damaged("it does not say that it is a part".to_owned())),
    }
}

fn check_columns(reader: &impl FileReader) -> Result<(), Refusal> {
    let (found, ours) = (
        reader.metadata().file_metadata().schema_descr().num_columns(),
        LEADING_COLUMNS + Channel::ALL.len(),
    );
    if found == ours {
        Ok(())
    } else {
        Err(Refusal::Damaged(format!("it has {found} columns, and a part has {ours}")))
    }
}

/// `false` only if the group's statistics say that it has neither values nor `missing` marks of these channels.
fn may_hold_any(group: &dyn RowGroupReader, wanted: &[Channel]) -> bool {
    let metadata = group.metadata();
    let rows = u64::try_from(metadata.num_rows()).ok();
    let no_marks = match metadata.column(1).statistics() {
        Some(Statistics::Int32(marks)) => marks.max_opt() == Some(&0) && marks.min_opt() == Some(&0),
        Some(_) | None => false,
    };
    let no_values = |channel: &Channel| {
        let statistics = metadata.column(LEADING_COLUMNS + channel.index()).statistics();
        rows.is_some() && statistics.and_then(Statistics::null_count_opt) == rows
    };
    !(no_marks && wanted.iter().all(no_values))
}

fn schema(digits: &Digits) -> Result<Type, ParquetError> {
    let channel = |channel: Channel| {
        let digits = digits[channel.index()];
        format!("optional int32 {channel} (DECIMAL(9, {digits}));")
    };
    let channels: String = Channel::ALL.map(channel).concat();
    parse_message_type(&format!(
        "message readings {{ required int64 t (TIMESTAMP(MILLIS, true)); required int32 quality; {channels} }}"
    ))
}

fn properties() -> Result<WriterPropertiesPtr, ParquetError> {
    let note = |key: &str, value: &str| KeyValue::new(key.to_owned(), value.to_owned());
    let units = Channel::ALL.map(|channel| note(&format!("halfdegree.unit.{channel}"), channel.unit()));
    let notes = [note(FORMAT_KEY, &FORMAT.to_string())].into_iter().chain(units).collect();
    Ok(Arc::new(
        WriterProperties::builder()
            .set_writer_version(WriterVersion::PARQUET_1_0)
            .set_encoding(Encoding::DELTA_BINARY_PACKED)
            .set_dictionary_enabled(false)
            .set_compression(Compression::ZSTD(ZstdLevel::try_new(3)?))
            .set_statistics_enabled(EnabledStatistics::Chunk)
            .set_offset_index_disabled(true)
            .set_data_page_row_count_limit(ROWS_A_PAGE)
            .set_write_batch_size(ROWS_A_PAGE)
            .set_max_row_group_row_count(None)
            .set_key_value_metadata(Some(notes))
            .build(),
    ))
}

fn write_column<T: DataType>(
    group: &mut SerializedRowGroupWriter<'_, impl std::io::Write + Send>,
    values: &[T::T],
    levels: Option<&[i16]>,
) -> Result<(), ParquetError> {
    let mut column = group
        .next_column()?
        .ok_or_else(|| ParquetError::General("the schema has fewer columns than are written".to_owned()))?;
    column.typed::<T>().write_batch(values, levels, None)?;
    column.close()
}

fn read_group(group: &dyn RowGroupReader, wanted: &[Channel]) -> Result<Table, ParquetError> {
    let rows = usize::try_from(group.metadata().num_rows())
        .map_err(|_| ParquetError::General("a row group has a negative number of rows".to_owned()))?;
    let (t, _) = read_column::<Int64Type>(group, 0, rows)?;
    let (missing, _) = read_column::<Int32Type>(group, 1, rows)?;
    let mut table = Table { t, missing, ..Table::default() };
    let mut mask = 0;
    for channel in wanted {
        let place = LEADING_COLUMNS + channel.index();
        let step = thousandths_a_step(digits_of(group, place)?);
        let (values, levels) = read_column::<Int32Type>(group, place, rows)?;
        table.values[channel.index()] = spread(&values, &levels, step);
        mask |= bit(*channel);
    }
    table.missing.iter_mut().for_each(|bits| *bits &= mask);
    Ok(table)
}

fn digits_of(group: &dyn RowGroupReader, place: usize) -> Result<u32, ParquetError> {
    match group.metadata().column(place).column_descr().logical_type_ref() {
        Some(LogicalType::Decimal(decimal)) if (0..=3).contains(&decimal.scale) => Ok(decimal.scale as u32),
        other => {
            Err(ParquetError::General(format!("a channel is a decimal of 0 to 3 digits, not {other:?}")))
        }
    }
}

fn read_column<T: DataType>(
    group: &dyn RowGroupReader,
    place: usize,
    rows: usize,
) -> Result<(Vec<T::T>, Vec<i16>), ParquetError> {
    let mut reader = get_typed_column_reader::<T>(group.get_column_reader(place)?);
    let (mut values, mut levels) = (Vec::with_capacity(rows), Vec::with_capacity(rows));
    while reader.read_records(rows, Some(&mut levels), None, &mut values)?.0 > 0 {}
    Ok((values, levels))
}

/// Puts values that stand close together into their rows, in thousandths.
fn spread(values: &[i32], levels: &[i16], step: i32) -> Vec<i32> {
    if values.is_empty() {
        return Vec::new();
    }
    if values.len() == levels.len() {
        return values.iter().map(|value| value * step).collect();
    }
    let mut values = values.iter();
    let next = |level: &i16| match level {
        0 => ABSENT,
        _ => values.next().map_or(ABSENT, |value| value * step),
    };
    levels.iter().map(next).collect()
}

fn thousandths_a_step(digits: u32) -> i32 {
    10_i32.pow(3_u32.saturating_sub(digits))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::table::Entry;

    fn any_table() -> impl Strategy<Value = Table> {
        let value = prop_oneof![
            1 => Just(ABSENT),
            4 => (-4_000i32..4_000).prop_map(|hundredths| hundredths * 10),
            1 => -999_999_999i32..=999_999_999,
        ];
        let entry = (0i64..2_000, 0..Channel::ALL.len(), value)
            .prop_map(|(t, place, value)| -> Entry { (t, Channel::ALL[place], value) });
        proptest::collection::vec(entry, 1..200).prop_map(Table::from_entries)
    }

    fn slots(table: &Table, channels: &[Channel]) -> Vec<(i64, Channel, Option<f64>)> {
        let rows = (0..table.len()).flat_map(|row| channels.iter().map(move |channel| (row, *channel)));
        rows.filter_map(|(row, channel)| Some((table.t[row], channel, table.slot(row, channel)?))).collect()
    }

    proptest! {
        #[test]
        fn what_is_written_is_read(table in any_table()) {
            let file = Bytes::from(encode(table.clone()).unwrap());
            let all = decode(file.clone(), &Channel::ALL).unwrap();
            prop_assert_eq!(slots(&all, &Channel::ALL), slots(&table, &Channel::ALL));
            let two = [Channel::Chocolate, Channel::Stirrer];
            let some = decode(file, &two).unwrap();
            prop_assert_eq!(slots(&some, &Channel::ALL), slots(&table, &two));
        }
    }

    #[test]
    fn a_later_format_is_refused_and_a_file_without_one_is_not_ours() {
        let entries = vec![(0, Channel::Chocolate, 31_240)];
        let file = encode(Table::from_entries(entries)).unwrap();
        let with = |text: &str| {
            let mut other = file.clone();
            let key =
                other.windows(FORMAT_KEY.len()).position(|bytes| bytes == FORMAT_KEY.as_bytes()).unwrap();
            other[key..key + text.len()].copy_from_slice(text.as_bytes());
            decode(Bytes::from(other), &Channel::ALL)
        };
        assert!(with(FORMAT_KEY).is_ok());
        assert!(matches!(with("halfdegree.trap"), Err(Refusal::Damaged(_))));
        // Behind the key comes the field's head and the length of the text.
        let mut later = file.clone();
        let key = later.windows(FORMAT_KEY.len()).position(|bytes| bytes == FORMAT_KEY.as_bytes()).unwrap();
        let place = key + FORMAT_KEY.len() + 2;
        assert_eq!(later[place], b'1');
        later[place] = b'2';
        let refused = decode(Bytes::from(later), &Channel::ALL);
        assert!(matches!(refused, Err(Refusal::Newer { found: 2, known: 1 })), "{refused:?}");
    }

    #[test]
    fn channels_with_times_of_their_own_have_row_groups_of_their_own() {
        let entries = |offset: i64, channel: Channel| {
            (0..5_000).map(move |second| -> Entry { (1000 * second + offset, channel, 10 * second as i32) })
        };
        let table =
            Table::from_entries(entries(0, Channel::Chocolate).chain(entries(190, Channel::Room)).collect());
        let file = Bytes::from(encode(table.clone()).unwrap());
        assert_eq!(SerializedFileReader::new(file.clone()).unwrap().num_row_groups(), 2);
        assert_eq!(
            slots(&decode(file.clone(), &Channel::ALL).unwrap(), &Channel::ALL),
            slots(&table, &Channel::ALL)
        );
        let room = decode(file, &[Channel::Room]).unwrap();
        assert_eq!((room.len(), room.count()), (5_000, 5_000));
    }

    #[test]
    fn the_file_says_how_it_is_packed() {
        let entries = vec![
            (0, Channel::Chocolate, 31_240),
            (0, Channel::Jacket, 31_241),
            (1000, Channel::Room, ABSENT),
        ];
        let file = Bytes::from(encode(Table::from_entries(entries)).unwrap());
        let reader = SerializedFileReader::new(file).unwrap();
        let group = reader.metadata().row_group(0);
        let scales: Vec<u32> = (2..9)
            .map(|place| digits_of(reader.get_row_group(0).unwrap().as_ref(), place).unwrap())
            .collect();
        assert_eq!(scales, [2, 3, 2, 2, 2, 2, 2]);
        assert_eq!(reader.num_row_groups(), 1);
        for column in group.columns() {
            assert!(column.dictionary_page_offset().is_none());
            assert!(column.encodings().any(|encoding| encoding == Encoding::DELTA_BINARY_PACKED));
        }
    }
}
