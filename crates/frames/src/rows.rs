//! Readings of one machine a row a moment, as the store keeps them: a column a channel, whole thousandths.
//!
//! What lies still is read and worked through by the column: a tick is some rows, and of most channels only its last value counts. Nothing is
//! turned into readings one by one on the way.
//!
//! **Invariant:** moments rise, and every row holds at least one reading.

use model::{Channel, Timestamp};

/// A slot without a value.
pub const ABSENT: i32 = i32::MIN;

/// Readings in the order of their own times.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Rows {
    t: Vec<i64>,
    missing: Vec<i32>,
    columns: [Vec<i32>; Channel::ALL.len()],
}

impl Rows {
    /// Rows from columns: moments in milliseconds, a bit for each channel (its place in [`Channel::ALL`]) whose reading is a missing one, and
    /// a column of thousandths a channel, [`ABSENT`] where there is no value; the column of a channel without any may be empty. `None` if
    /// the columns are not of one length, or the moments do not rise. Rows without a reading are left out.
    pub fn new(t: Vec<i64>, missing: Vec<i32>, columns: [Vec<i32>; Channel::ALL.len()]) -> Option<Rows> {
        let fits = |column: &Vec<i32>| column.is_empty() || column.len() == t.len();
        let whole = missing.len() == t.len() && columns.iter().all(fits) && t.is_sorted_by(|a, b| a < b);
        whole.then(|| Rows { t, missing, columns }.without_empty())
    }

    fn without_empty(mut self) -> Rows {
        // A full column, such as that of the probe nearly always is, spares looking at the others.
        let is_full = |column: &Vec<i32>| !column.is_empty() && !column.contains(&ABSENT);
        if self.columns.iter().any(is_full) {
            return self;
        }
        let holds: Vec<bool> = (0..self.len()).map(|row| self.holds_any(row)).collect();
        fn keep<T>(column: &mut Vec<T>, holds: &[bool]) {
            let mut holds = holds.iter();
            column.retain(|_| holds.next().is_some_and(|holds| *holds));
        }
        keep(&mut self.t, &holds);
        keep(&mut self.missing, &holds);
        self.columns.iter_mut().for_each(|column| keep(column, &holds));
        self
    }

    fn holds_any(&self, row: usize) -> bool {
        self.missing[row] != 0 || self.has_value(row)
    }

    /// How many.
    #[inline]
    pub fn len(&self) -> usize {
        self.t.len()
    }

    /// Are there none?
    #[inline]
    pub fn is_empty(&self) -> bool {
        self.t.is_empty()
    }

    /// When a row was measured.
    #[inline]
    pub fn at(&self, row: usize) -> Timestamp {
        Timestamp::from_millis(self.t[row])
    }

    /// The first row from `at` on, looked for from row `from` on.
    pub fn first_from(&self, at: Timestamp, from: usize) -> usize {
        from + self.t[from..].partition_point(|t| *t < at.as_millis())
    }

    /// What a slot holds: nothing, a missing reading (`Some(None)`), or a value.
    #[inline]
    pub fn slot(&self, row: usize, channel: Channel) -> Option<Option<f64>> {
        let is_missing = self.missing[row] & 1 << channel.index() != 0;
        self.value(row, channel).map(Some).or_else(|| is_missing.then_some(None))
    }

    /// The value in a slot, if there is one.
    #[inline]
    pub fn value(&self, row: usize, channel: Channel) -> Option<f64> {
        let thousandths = *self.columns[channel.index()].get(row)?;
        (thousandths != ABSENT).then(|| f64::from(thousandths) / 1000.0)
    }

    /// The last value of a channel in some rows.
    #[inline]
    pub fn last_value(&self, rows: std::ops::Range<usize>, channel: Channel) -> Option<f64> {
        if self.columns[channel.index()].is_empty() {
            return None;
        }
        rows.rev().find_map(|row| self.value(row, channel))
    }

    /// Does a row hold a value of any channel?
    #[inline]
    pub fn has_value(&self, row: usize) -> bool {
        self.columns.iter().any(|column| column.get(row).is_some_and(|value| *value != ABSENT))
    }

    /// The readings of a row, in the order of [`Channel::ALL`].
    pub fn readings(&self, row: usize) -> impl Iterator<Item = (Channel, Option<f64>)> {
        Channel::ALL.into_iter().filter_map(move |channel| Some((channel, self.slot(row, channel)?)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn columns(chocolate: &[i32], room: &[i32]) -> [Vec<i32>; Channel::ALL.len()] {
        let mut columns: [Vec<i32>; Channel::ALL.len()] = Default::default();
        columns[Channel::Chocolate.index()] = chocolate.to_vec();
        columns[Channel::Room.index()] = room.to_vec();
        columns
    }

    #[test]
    fn rows_without_a_reading_are_left_out() {
        let room = 1 << Channel::Room.index();
        let rows = Rows::new(
            vec![0, 10, 20, 30],
            vec![0, 0, room, 0],
            columns(&[31_250, ABSENT, ABSENT, ABSENT], &[ABSENT, ABSENT, ABSENT, 21_000]),
        )
        .unwrap();
        assert_eq!(rows.len(), 3);
        let told: Vec<_> =
            (0..3).map(|row| (rows.at(row).as_millis(), rows.readings(row).collect::<Vec<_>>())).collect();
        assert_eq!(
            told,
            [
                (0, vec![(Channel::Chocolate, Some(31.25))]),
                (20, vec![(Channel::Room, None)]),
                (30, vec![(Channel::Room, Some(21.0))])
            ]
        );
        assert_eq!(rows.last_value(0..3, Channel::Chocolate), Some(31.25));
        assert_eq!(rows.last_value(0..2, Channel::Room), None);
        assert_eq!(rows.first_from(Timestamp::from_millis(11), 0), 1);
    }

    #[test]
    fn what_does_not_fit_together_is_no_rows() {
        assert_eq!(Rows::new(vec![0, 0], vec![0, 0], columns(&[1, 2], &[])), None, "twice the same moment");
        assert_eq!(Rows::new(vec![0, 1], vec![0], columns(&[1, 2], &[])), None);
        assert_eq!(Rows::new(vec![0, 1], vec![0, 0], columns(&[1], &[])), None);
    }
}
