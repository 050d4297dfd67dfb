//! Makes one part of a day that late readings have left in pieces.
//!
//! Moving keeps a day in one part as long as that is cheap (see `moving`); a busy day ends with a few. Once it is over they
//! are laid over one another in the order of their numbers and written as one, by the same steps as a move: the new part is
//! published, then one transaction puts it on the list and takes the others off, then their files go. A crash before
//! the transaction leaves the pieces, one after it the whole; never both, never neither.

use model::{Channel, MachineId};

use crate::manifest;
use crate::reader::lock;
use crate::snapshot::{list_failed, read_part};
use crate::table::Table;
use crate::{DamagedPart, Store, StoreError, UtcDay};

/// What compacting did.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Compacted {
    /// Days that were in pieces and are whole now.
    pub days: u64,
    /// The pieces.
    pub pieces: u64,
    /// Pieces that were found damaged, and have been set aside.
    pub set_aside: Vec<DamagedPart>,
}

impl Store {
    /// Makes every day before `before` that is in pieces one part. Moves and reads go on between two days.
    ///
    /// # Errors
    /// If the disk or the list cannot be written; days done before stay done, and trying again is right.
    pub fn compact_before(&self, before: UtcDay) -> Result<Compacted, StoreError> {
        let days = {
            let mover = lock(&self.mover);
            manifest::in_pieces(mover.connection(), before).map_err(list_failed)?
        };
        let mut compacted = Compacted::default();
        for (machine, day) in days {
            self.compact_day(machine, day, &mut compacted)?;
        }
        Ok(compacted)
    }

    fn compact_day(
        &self,
        machine: MachineId,
        day: UtcDay,
        compacted: &mut Compacted,
    ) -> Result<(), StoreError> {
        let mut mover = lock(&self.mover);
        let there = manifest::of_day(mover.connection(), &machine, day).map_err(list_failed)?;
        let Some(n) = there.last().map(|newest| newest.n + 1) else { return Ok(()) };
        let (mut whole, mut pieces, mut damaged) = (Table::default(), Vec::new(), Vec::new());
        for part in there {
            match read_part(self.folder(), &part, &Channel::ALL)? {
                Ok(table) => {
                    whole.overlay(table);
                    pieces.push(part);
                }
                Err(unreadable) => damaged.push(unreadable),
            }
        }
        // What is left after damage may be whole already, or nothing.
        if pieces.len() < 2 {
            pieces.clear();
        }
        let struck = self.put_all_aside(damaged)?;
        let new = match pieces.as_slice() {
            [] => None,
            _several => Some(self.write_part(machine, day, n, whole)?),
        };
        mover.change(|transaction| {
            pieces.iter().try_for_each(|part| manifest::remove(transaction, part))?;
            struck.iter().try_for_each(|damaged| damaged.strike(transaction))?;
            new.iter().try_for_each(|part| manifest::add(transaction, part))
        })?;
        self.remove_files(&pieces);
        compacted.days += u64::from(new.is_some());
        compacted.pieces += pieces.len() as u64;
        compacted.set_aside.extend(self.told(&struck));
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use std::fs;
    use std::sync::atomic::Ordering;

    use super::*;
    use crate::testing::{FailingDisk, Works, at, chocolate, in_pieces};

    const LATER: i64 = 10 * 86_400;

    #[test]
    fn a_day_in_pieces_becomes_one_part_with_the_later_readings_on_top() {
        let works = in_pieces();
        let before = works.chocolate_seen();
        assert_eq!(works.files().len(), 3);
        let compacted = works.store.compact_before(UtcDay::of(at(LATER))).unwrap();
        assert_eq!((compacted.days, compacted.pieces), (1, 2));
        assert_eq!(works.chocolate_seen(), before);
        assert_eq!(
            works.files(),
            ["machine=alder/date=2026-03-01/part-3.parquet", "machine=alder/date=2026-03-02/part-1.parquet"]
        );
        assert_eq!(works.store.compact_before(UtcDay::of(at(LATER))).unwrap(), Compacted::default());
        let works = works.reopened();
        assert_eq!(works.chocolate_seen(), before);
    }

    #[test]
    fn today_is_left_in_pieces() {
        let works = in_pieces();
        assert_eq!(works.store.compact_before(UtcDay::of(at(0))).unwrap(), Compacted::default());
        assert_eq!(works.files().len(), 3);
    }

    #[test]
    fn a_damaged_piece_is_set_aside_and_the_others_are_kept() {
        let works = in_pieces();
        let whole = works.chocolate_seen().len();
        let path = works.folder.path().join("readings/machine=alder/date=2026-03-01/part-1.parquet");
        let mut bytes = fs::read(&path).unwrap();
        bytes[40] ^= 1;
        fs::write(&path, bytes).unwrap();
        let compacted = works.store.compact_before(UtcDay::of(at(LATER))).unwrap();
        assert_eq!((compacted.days, compacted.set_aside.len()), (0, 1));
        let seen = works.chocolate_seen().len();
        assert!(0 < seen && seen < whole, "{seen} of {whole}");
        assert_eq!(works.store.missing_spans(None, at(-LATER), at(LATER)).unwrap().len(), 1);
        let mut works = works;
        works.append(&[chocolate(5, 1.0)]);
        works.move_all().unwrap();
    }

    /// Every call that changes a file fails in turn; what is read is the same before, after, and after a new start.
    #[test]
    fn a_crash_at_any_step_leaves_the_pieces_or_the_whole() {
        for calls in 0.. {
            let works = in_pieces();
            let expected = works.chocolate_seen();
            let Works { folder, journal, store } = works;
            drop((journal, store));
            let disk = FailingDisk::after(usize::MAX);
            let left = disk.calls_left.clone();
            let works = Works::on(folder, Box::new(disk)).unwrap();
            left.store(calls, Ordering::SeqCst);
            let compacted = works.store.compact_before(UtcDay::of(at(LATER)));
            let reached_the_end = left.load(Ordering::SeqCst) > 0;
            assert_eq!(works.chocolate_seen(), expected, "still running, call {calls} failed");
            let works = works.reopened();
            assert_eq!(works.chocolate_seen(), expected, "after a new start, call {calls} failed");
            works.store.compact_before(UtcDay::of(at(LATER))).unwrap();
            assert_eq!(works.chocolate_seen(), expected, "after another try, call {calls} failed");
            assert_eq!(works.files().len(), 2, "call {calls}");
            if reached_the_end {
                compacted.unwrap();
                assert!(calls > 5, "compacting makes more than {calls} calls");
                return;
            }
        }
    }
}
