//! Readings for other programs, a day at a time, so that years fit into a little memory.

use std::io::Write;

use model::{Channel, MachineId, Timestamp};

use crate::part::{ALL_THOUSANDTHS, PartWriter};
use crate::snapshot::Wanted;
use crate::table::{Table, entry};
use crate::{StoreError, StoreReader};

/// In what form.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ExportFormat {
    /// A line a moment: the time in RFC 3339, a column a channel that has readings, and the names of those that are
    /// `missing` at that moment.
    Csv,
    /// The columns of a part, with three digits behind the point, a row group a day.
    Parquet,
}

/// Readings of one channel, sorted or not, as a file of the same form as a part.
///
/// # Errors
/// If they cannot be written as Parquet.
pub fn parquet_of(channel: Channel, readings: &[(Timestamp, Option<f64>)]) -> Result<Vec<u8>, StoreError> {
    let entries = readings.iter().map(|(at, value)| entry(*at, channel, *value)).collect();
    let mut parts = PartWriter::new(Vec::new(), ALL_THOUSANDTHS).map_err(StoreError::Encode)?;
    parts.write(&Table::from_entries(entries)).map_err(StoreError::Encode)?;
    parts.finish().map_err(StoreError::Encode)
}

impl StoreReader {
    /// Writes the readings of a machine from `from` on and before `to`, and tells how many.
    ///
    /// # Errors
    /// If the writer does not take them; or as [`StoreReader::read_series`].
    pub fn export(
        &self,
        machine: &MachineId,
        from: Timestamp,
        to: Timestamp,
        format: ExportFormat,
        writer: impl Write + Send,
    ) -> Result<u64, StoreError> {
        match format {
            ExportFormat::Csv => self.export_csv(machine, from, to, writer),
            ExportFormat::Parquet => self.export_parquet(machine, from, to, writer),
        }
    }

    fn export_csv(
        &self,
        machine: &MachineId,
        from: Timestamp,
        to: Timestamp,
        mut writer: impl Write,
    ) -> Result<u64, StoreError> {
        let (days, channels) = self.days_and_channels(machine, from, to)?;
        let names: String = channels.iter().map(|channel| format!(",{channel}")).collect();
        writeln!(writer, "time{names},missing").map_err(StoreError::Export)?;
        let mut readings = 0;
        for day in days {
            let (from, to) = (day.start().max(from), day.end().min(to));
            let table = self.read_table(Wanted { machine, channels: &channels, from, to })?;
            for row in 0..table.len() {
                writer.write_all(csv_line(&table, row, &channels).as_bytes()).map_err(StoreError::Export)?;
            }
            readings += table.count();
        }
        writer.flush().map_err(StoreError::Export)?;
        Ok(readings)
    }

    fn export_parquet(
        &self,
        machine: &MachineId,
        from: Timestamp,
        to: Timestamp,
        writer: impl Write + Send,
    ) -> Result<u64, StoreError> {
        let (days, _) = self.days_and_channels(machine, from, to)?;
        let mut parts = PartWriter::new(writer, ALL_THOUSANDTHS).map_err(StoreError::Encode)?;
        let mut readings = 0;
        for day in days {
            let (from, to) = (day.start().max(from), day.end().min(to));
            let table = self.read_table(Wanted { machine, channels: &Channel::ALL, from, to })?;
            parts.write(&table).map_err(StoreError::Encode)?;
            readings += table.count();
        }
        parts.finish().map_err(StoreError::Encode)?;
        Ok(readings)
    }
}

fn csv_line(table: &Table, row: usize, channels: &[Channel]) -> String {
    let mut line = Timestamp::from_millis(table.t[row]).to_string();
    let mut missing = Vec::new();
    for channel in channels {
        line.push(',');
        match table.slot(row, *channel) {
            Some(Some(value)) => line += &value.to_string(),
            Some(None) => missing.push(channel.as_str()),
            None => {}
        }
    }
    line.push(',');
    line += &missing.join(" ");
    line.push('\n');
    line
}

#[cfg(test)]
mod tests {
    use bytes::Bytes;
    use expect_test::expect;

    use super::*;
    use crate::part;
    use crate::testing::{Works, alder, at, chocolate, reading};

    fn works() -> Works {
        let mut works = Works::new();
        works.append(&[
            chocolate(-1, 45.02),
            chocolate(0, 31.24),
            reading(&alder(), Channel::Stirrer, at(0), Some(1.0)),
        ]);
        works.move_all().unwrap();
        works.append(&[reading(&alder(), Channel::Stirrer, at(1), None), chocolate(9, 31.0)]);
        works
    }

    #[test]
    fn a_line_a_moment() {
        let mut written = Vec::new();
        let count = works().store.export(&alder(), at(-10), at(9), ExportFormat::Csv, &mut written).unwrap();
        assert_eq!(count, 4);
        expect![[r#"
            time,chocolate,stirrer,missing
            2026-02-28T23:59:59Z,45.02,,
            2026-03-01T00:00:00Z,31.24,1,
            2026-03-01T00:00:01Z,,,stirrer
        "#]]
        .assert_eq(&String::from_utf8(written).unwrap());
    }

    #[test]
    fn a_parquet_file_reads_back() {
        let mut written = Vec::new();
        let count =
            works().store.export(&alder(), at(-10), at(10), ExportFormat::Parquet, &mut written).unwrap();
        let table = part::decode(Bytes::from(written), &Channel::ALL).unwrap();
        assert_eq!((count, table.count(), table.len()), (5, 5, 4));
        assert_eq!(table.slot(0, Channel::Chocolate), Some(Some(45.02)));
        assert_eq!(table.slot(2, Channel::Stirrer), Some(None));
    }

    #[test]
    fn a_receiver_that_is_full_is_told() {
        let mut small = [0_u8; 10];
        let error =
            works().store.export(&alder(), at(-10), at(10), ExportFormat::Csv, &mut small[..]).unwrap_err();
        assert!(matches!(error, StoreError::Export(_)));
    }
}
