//! Which channels of a machine come together, and the rows of a part put in order by it.
//!
//! Where every channel has its own times, a wide row holds one value and many nothings, and the times of all channels
//! mixed have no rhythm left that an encoding could use. Such a table is written a row group for each set of channels that
//! share their moments: within it the step from one moment to the next is nearly constant, which takes a third off the
//! file, and whoever wants one channel skips the groups of the others. Channels that come in packs make one group, as do
//! small tables, where the groups' own description would cost more than they save.

use model::Channel;

use crate::scale::ABSENT;
use crate::table::{Table, bit};

/// Below this a group's description, some 600 bytes, is not worth it.
const FEWEST_ROWS: usize = 4_096;

/// Two channels come together if the rarer one has at least one in so many of its moments with the other.
const ONE_IN: u32 = 10;

/// Sets of channels, as bits.
const SETS: usize = 1 << Channel::ALL.len();

/// The table as tables of channels that come together; one after the other they lie over nothing of one another.
pub(crate) fn split(table: Table) -> Vec<Table> {
    if table.len() < FEWEST_ROWS {
        return vec![table];
    }
    let sets = sets_that_come_together(&table);
    if sets.len() < 2 {
        return vec![table];
    }
    sets.into_iter().map(|set| only(&table, set)).collect()
}

/// Lays tables over one another, the later ones above, in one pass over all of them.
pub(crate) fn lay_together(mut tables: Vec<Table>) -> Table {
    if tables.len() < 2 {
        return tables.pop().unwrap_or_default();
    }
    let mut t: Vec<i64> = tables.iter().flat_map(|table| table.t.iter().copied()).collect();
    // Sorted runs, which this sort merges instead of sorting.
    t.sort();
    t.dedup();
    let mut whole = Table { missing: vec![0; t.len()], t, ..Table::default() };
    for table in &tables {
        lay_over(&mut whole, table);
    }
    whole
}

/// Lays `upper`, all of whose moments are rows of `whole`, over it.
fn lay_over(whole: &mut Table, upper: &Table) {
    let rows = rows_of(&whole.t, &upper.t);
    for (row, missing) in rows.iter().zip(&upper.missing) {
        whole.missing[*row] |= missing;
    }
    for channel in Channel::ALL {
        let (column, values) = (&mut whole.values[channel.index()], &upper.values[channel.index()]);
        if values.is_empty() {
            if !column.is_empty() {
                mark_missing(column, &rows, &upper.missing, channel);
            }
            continue;
        }
        column.resize(whole.t.len(), ABSENT);
        mark_missing(column, &rows, &upper.missing, channel);
        for (row, value) in rows.iter().zip(values) {
            if *value != ABSENT {
                column[*row] = *value;
                whole.missing[*row] &= !bit(channel);
            }
        }
    }
}

/// A later `missing` mark takes away an earlier value.
fn mark_missing(column: &mut [i32], rows: &[usize], missing: &[i32], channel: Channel) {
    for (row, bits) in rows.iter().zip(missing) {
        if bits & bit(channel) != 0 {
            column[*row] = ABSENT;
        }
    }
}

/// Where each of `some` stands in `all`; both rise, and all of `some` are there.
fn rows_of(all: &[i64], some: &[i64]) -> Vec<usize> {
    let mut row = 0;
    let place = |t: &i64| {
        while all[row] < *t {
            row += 1;
        }
        row
    };
    some.iter().map(place).collect()
}

fn sets_that_come_together(table: &Table) -> Vec<i32> {
    let counts = rows_by_set(table);
    let having =
        |bits: usize| -> u32 { (0..SETS).filter(|set| set & bits == bits).map(|set| counts[set]).sum() };
    let mut sets: Vec<i32> = Vec::new();
    for channel in Channel::ALL {
        let alone = having(bit(channel) as usize);
        if alone == 0 {
            continue;
        }
        let comes_with = |other: &Channel| {
            let together = having((bit(channel) | bit(*other)) as usize);
            together * ONE_IN >= alone.min(having(bit(*other) as usize)) && together > 0
        };
        let friends: i32 =
            Channel::ALL.iter().filter(|other| comes_with(other)).map(|other| bit(*other)).sum();
        let (joined, apart): (Vec<i32>, Vec<i32>) = sets.into_iter().partition(|set| set & friends != 0);
        sets = apart;
        sets.push(joined.into_iter().fold(bit(channel), |all, set| all | set));
    }
    sets.sort_unstable();
    sets
}

/// How many rows there are with exactly this set of channels.
fn rows_by_set(table: &Table) -> [u32; SETS] {
    let mut sets: Vec<i32> = table.missing.clone();
    for channel in Channel::ALL {
        for (set, value) in sets.iter_mut().zip(&table.values[channel.index()]) {
            *set |= i32::from(*value != ABSENT) << channel.index();
        }
    }
    let mut counts = [0; SETS];
    sets.into_iter().for_each(|set| counts[set as usize & (SETS - 1)] += 1);
    counts
}

/// The rows in which a channel of `set` has a reading, with no other channels.
fn only(table: &Table, set: i32) -> Table {
    let columns: Vec<usize> = Channel::ALL
        .iter()
        .filter(|channel| set & bit(**channel) != 0)
        .map(|channel| channel.index())
        .collect();
    let has = |row: &usize| {
        let value = |column: &usize| table.values[*column].get(*row).is_some_and(|value| *value != ABSENT);
        table.missing[*row] & set != 0 || columns.iter().any(value)
    };
    let rows: Vec<usize> = (0..table.len()).filter(has).collect();
    let mut part = Table {
        t: rows.iter().map(|row| table.t[*row]).collect(),
        missing: rows.iter().map(|row| table.missing[*row] & set).collect(),
        ..Table::default()
    };
    for column in columns {
        let values = &table.values[column];
        if !values.is_empty() {
            part.values[column] = rows.iter().map(|row| values[*row]).collect();
        }
    }
    part
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::table::Entry;

    fn any_table(most: i64) -> impl Strategy<Value = Table> {
        let value = prop_oneof![1 => Just(ABSENT), 3 => -40_000i32..40_000];
        let entry = (0..most, 0..Channel::ALL.len(), value)
            .prop_map(|(t, place, value)| -> Entry { (t, Channel::ALL[place], value) });
        proptest::collection::vec(entry, 0..80).prop_map(Table::from_entries)
    }

    fn slots(table: &Table) -> Vec<(i64, Channel, Option<f64>)> {
        let rows = (0..table.len()).flat_map(|row| Channel::ALL.map(|channel| (row, channel)));
        rows.filter_map(|(row, channel)| Some((table.t[row], channel, table.slot(row, channel)?))).collect()
    }

    proptest! {
        #[test]
        fn laying_together_is_overlaying_one_by_one(tables in proptest::collection::vec(any_table(40), 0..5)) {
            let mut expected = Table::default();
            tables.iter().cloned().for_each(|table| expected.overlay(table));
            prop_assert_eq!(slots(&lay_together(tables)), slots(&expected));
        }

        #[test]
        fn splitting_loses_nothing(table in any_table(4_000)) {
            let sets = sets_that_come_together(&table);
            let all: i32 = sets.iter().sum();
            prop_assert_eq!(all, table.channels(), "each channel is in one set");
            let parts = sets.into_iter().map(|set| only(&table, set)).collect();
            prop_assert_eq!(slots(&lay_together(parts)), slots(&table));
        }
    }

    fn made_of(rows: i64, channels: &[(Channel, i64, i64)]) -> Table {
        let entries = |(channel, every, offset): &(Channel, i64, i64)| {
            let (channel, every, offset) = (*channel, *every, *offset);
            (0..rows).filter(move |row| row % every == 0).map(move |row| (1000 * row + offset, channel, 10))
        };
        Table::from_entries(channels.iter().flat_map(entries).collect())
    }

    #[test]
    fn channels_are_parted_by_their_times() {
        let own_times = made_of(
            5_000,
            &[(Channel::Chocolate, 1, 0), (Channel::Jacket, 1, 190), (Channel::Room, 10, 380)],
        );
        let lengths: Vec<usize> = split(own_times).iter().map(Table::len).collect();
        assert_eq!(lengths, [5_000, 5_000, 500]);
        let packs =
            made_of(5_000, &[(Channel::Chocolate, 1, 0), (Channel::Jacket, 1, 0), (Channel::Room, 10, 0)]);
        assert_eq!(split(packs).len(), 1);
        let one_apart =
            made_of(5_000, &[(Channel::Chocolate, 1, 0), (Channel::Jacket, 1, 7), (Channel::Room, 10, 0)]);
        let channels: Vec<i32> = split(one_apart).iter().map(Table::channels).collect();
        assert_eq!(channels, [bit(Channel::Jacket), bit(Channel::Chocolate) | bit(Channel::Room)]);
    }

    #[test]
    fn small_tables_stay_whole() {
        assert_eq!(split(made_of(100, &[(Channel::Chocolate, 1, 0), (Channel::Jacket, 1, 5)])).len(), 1);
    }
}
