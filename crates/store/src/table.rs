//! The readings of one machine as columns: sorted by time, one row a moment, one slot a channel.
//!
//! A slot holds a value, a `missing` mark, or nothing. Two tables are laid over one another by time: where both have a
//! reading of a channel, the upper one is the later arrival and wins, whether it is a value or a `missing` mark.
//! Plain loops over sorted columns: the same merge serves moving and reading, and costs one pass.

use model::{Channel, Timestamp};

use crate::scale::{ABSENT, from_thousandths, to_thousandths};

/// Columns of a machine's readings. A channel without any value has an empty column.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Table {
    /// Milliseconds UTC, rising.
    pub(crate) t: Vec<i64>,
    /// Bit k is set where channel k of [`Channel::ALL`] is `missing`.
    pub(crate) missing: Vec<i32>,
    /// Thousandths, [`ABSENT`] where there is no value.
    pub(crate) values: [Vec<i32>; Channel::ALL.len()],
}

/// One reading on its way into a table: time, channel, and thousandths or [`ABSENT`] for a `missing` one.
pub(crate) type Entry = (i64, Channel, i32);

/// The entry of a reading.
pub(crate) fn entry(at: Timestamp, channel: Channel, value: Option<f64>) -> Entry {
    (at.as_millis(), channel, value.map_or(ABSENT, to_thousandths))
}

impl Table {
    /// Sorts readings that came in this order into a table; of two for the same slot the later one counts.
    pub(crate) fn from_entries(mut entries: Vec<Entry>) -> Table {
        entries.sort_by_key(|(t, _, _)| *t);
        let mut table = Table::default();
        for (t, channel, value) in entries {
            if table.t.last() != Some(&t) {
                table.push_row(t);
            }
            table.set_last(channel, value);
        }
        table
    }

    /// Rows.
    pub(crate) fn len(&self) -> usize {
        self.t.len()
    }

    /// First and last moment.
    pub(crate) fn ends(&self) -> Option<(i64, i64)> {
        Some((*self.t.first()?, *self.t.last()?))
    }

    /// Readings, the missing ones too.
    pub(crate) fn count(&self) -> u64 {
        let values = self.values.iter().flatten().filter(|value| **value != ABSENT).count() as u64;
        values + self.missing.iter().map(|bits| u64::from(bits.count_ones())).sum::<u64>()
    }

    /// Bit k is set if channel k has any reading.
    pub(crate) fn channels(&self) -> i32 {
        let missing = self.missing.iter().fold(0, |all, bits| all | bits);
        let has_value = |channel: &Channel| self.values[channel.index()].iter().any(|value| *value != ABSENT);
        Channel::ALL
            .iter()
            .filter(|channel| has_value(channel))
            .fold(missing, |all, channel| all | bit(*channel))
    }

    /// What a slot holds: nothing, a `missing` mark (`Some(None)`), or a value.
    pub(crate) fn slot(&self, row: usize, channel: Channel) -> Option<Option<f64>> {
        let value = self.values[channel.index()].get(row).copied().unwrap_or(ABSENT);
        let is_missing = self.missing[row] & bit(channel) != 0;
        from_thousandths(value).map(Some).or(is_missing.then_some(None))
    }

    /// Only the rows from `from` on and before `to`.
    pub(crate) fn between(mut self, from: i64, to: i64) -> Table {
        let first = self.t.partition_point(|t| *t < from);
        let behind = self.t.partition_point(|t| *t < to).max(first);
        fn cut<T>(column: &mut Vec<T>, first: usize, behind: usize) {
            column.truncate(behind);
            column.drain(..first.min(column.len()));
        }
        cut(&mut self.t, first, behind);
        cut(&mut self.missing, first, behind);
        self.values.iter_mut().for_each(|column| cut(column, first, behind));
        self
    }

    /// Without the rows that hold nothing.
    pub(crate) fn without_empty_rows(mut self) -> Table {
        let mut holds: Vec<bool> = self.missing.iter().map(|bits| *bits != 0).collect();
        for column in &self.values {
            holds.iter_mut().zip(column).for_each(|(holds, value)| *holds |= *value != ABSENT);
        }
        if holds.iter().all(|holds| *holds) {
            return self;
        }
        fn keep<T>(column: &mut Vec<T>, holds: &[bool]) {
            let mut holds = holds.iter();
            column.retain(|_| holds.next().is_some_and(|holds| *holds));
        }
        keep(&mut self.t, &holds);
        keep(&mut self.missing, &holds);
        self.values.iter_mut().for_each(|column| keep(column, &holds));
        self
    }

    /// Lays `upper`, which came later, over this table. Only where the two overlap in time is anything merged.
    pub(crate) fn overlay(&mut self, upper: Table) {
        let Some((upper_first, _)) = upper.ends() else { return };
        let untouched = self.t.partition_point(|t| *t < upper_first);
        let lower = self.split_off(untouched);
        if lower.len() == 0 {
            self.append(upper);
        } else {
            self.reserve(lower.len() + upper.len());
            self.append_merged(&lower, &upper);
        }
    }

    /// Puts a table that begins after this one ends behind it.
    fn append(&mut self, later: Table) {
        if self.len() == 0 {
            *self = later;
            return;
        }
        let rows = self.len() + later.len();
        for (column, more) in self.values.iter_mut().zip(later.values) {
            if !(column.is_empty() && more.is_empty()) {
                column.resize(self.t.len(), ABSENT);
                column.extend(more);
                column.resize(rows, ABSENT);
            }
        }
        self.t.extend(later.t);
        self.missing.extend(later.missing);
    }

    fn append_merged(&mut self, lower: &Table, upper: &Table) {
        let (mut below, mut above) = (0, 0);
        while below < lower.len() || above < upper.len() {
            let lower_t = lower.t.get(below).copied().unwrap_or(i64::MAX);
            let upper_t = upper.t.get(above).copied().unwrap_or(i64::MAX);
            self.push_row(lower_t.min(upper_t));
            if lower_t <= upper_t {
                self.copy_to_last(lower, below);
                below += 1;
            }
            if upper_t <= lower_t {
                self.copy_to_last(upper, above);
                above += 1;
            }
        }
    }

    fn reserve(&mut self, rows: usize) {
        self.t.reserve(rows);
        self.missing.reserve(rows);
        self.values.iter_mut().filter(|column| !column.is_empty()).for_each(|column| column.reserve(rows));
    }

    fn split_off(&mut self, row: usize) -> Table {
        Table {
            t: self.t.split_off(row),
            missing: self.missing.split_off(row),
            values: self.values.each_mut().map(|column| column.split_off(row.min(column.len()))),
        }
    }

    fn push_row(&mut self, t: i64) {
        self.t.push(t);
        self.missing.push(0);
        self.values.iter_mut().filter(|column| !column.is_empty()).for_each(|column| column.push(ABSENT));
    }

    fn set_last(&mut self, channel: Channel, value: i32) {
        let rows = self.t.len();
        let (column, missing) = (&mut self.values[channel.index()], &mut self.missing[rows - 1]);
        if value == ABSENT {
            *missing |= bit(channel);
        } else {
            *missing &= !bit(channel);
            column.resize(rows, ABSENT);
        }
        if let Some(last) = column.last_mut() {
            *last = value;
        }
    }

    fn copy_to_last(&mut self, from: &Table, row: usize) {
        for channel in Channel::ALL {
            let value = from.values[channel.index()].get(row).copied().unwrap_or(ABSENT);
            if value != ABSENT || from.missing[row] & bit(channel) != 0 {
                self.set_last(channel, value);
            }
        }
    }
}

/// The channel's bit in `missing`.
pub(crate) fn bit(channel: Channel) -> i32 {
    1 << channel.index()
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use proptest::prelude::*;

    use super::*;

    fn any_entries() -> impl Strategy<Value = Vec<Entry>> {
        let value = prop_oneof![Just(ABSENT), -40_000i32..40_000];
        let entry = (0i64..40, 0..Channel::ALL.len(), value)
            .prop_map(|(t, place, value)| (t, Channel::ALL[place], value));
        proptest::collection::vec(entry, 0..60)
    }

    fn slots(table: &Table) -> BTreeMap<(i64, Channel), Option<f64>> {
        let rows = (0..table.len()).flat_map(|row| Channel::ALL.map(|channel| (row, channel)));
        rows.filter_map(|(row, channel)| Some(((table.t[row], channel), table.slot(row, channel)?))).collect()
    }

    fn model(entries: &[Entry]) -> BTreeMap<(i64, Channel), Option<f64>> {
        entries.iter().map(|(t, channel, value)| ((*t, *channel), from_thousandths(*value))).collect()
    }

    proptest! {
        #[test]
        fn laying_over_is_the_same_as_arriving_later(lower in any_entries(), upper in any_entries()) {
            let mut table = Table::from_entries(lower.clone());
            table.overlay(Table::from_entries(upper.clone()));
            let both = [lower, upper].concat();
            let expected = model(&both);
            prop_assert_eq!(table.count(), expected.len() as u64);
            prop_assert!(table.t.is_sorted_by(|a, b| a < b));
            prop_assert_eq!(slots(&table), expected);
            prop_assert_eq!(slots(&table.clone().between(10, 20)),
                model(&both).into_iter().filter(|((t, _), _)| (10..20).contains(t)).collect());
        }
    }
}
