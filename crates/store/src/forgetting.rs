//! Retention: readings of old days go; what was worked out from them stays in the records.
//!
//! The list forgets first, in one transaction that also notes from which day on readings are kept; then the files go. A
//! crash in between leaves files that nobody lists, and the note tells the next start to remove them instead of
//! taking them for lost ones. The store reads no clock: which day is old is the caller's to say.

use std::path::Path;

use crate::manifest::{self, aside, notes};
use crate::reader::lock;
use crate::snapshot::list_failed;
use crate::{Store, StoreError, UtcDay};

impl Store {
    /// Forgets the readings of all days before `day`, and tells how many. Those still in the journal stay until they
    /// have been moved.
    ///
    /// # Errors
    /// If the list cannot be written; then nothing is forgotten.
    pub fn forget_before(&self, day: UtcDay) -> Result<u64, StoreError> {
        let mut mover = lock(&self.mover);
        let mut old = manifest::all(mover.connection()).map_err(list_failed)?;
        old.retain(|part| part.day < day);
        let mut gone = aside::all(mover.connection()).map_err(list_failed)?;
        gone.retain(|part| part.day < day);
        if old.is_empty() && gone.is_empty() {
            return Ok(0);
        }
        mover.change(|transaction| {
            old.iter().try_for_each(|part| manifest::remove(transaction, part))?;
            aside::forget_before(transaction, day)?;
            notes::forget_before(transaction, day)
        })?;
        self.remove_files(&old);
        for file in gone.iter().filter_map(|part| part.file.as_ref()) {
            let _only_in_the_way = self.disk.remove(&self.folder().join(file));
        }
        Ok(old.iter().map(|part| u64::try_from(part.readings).unwrap_or(0)).sum())
    }

    /// Is the day of this file one whose readings have been forgotten on purpose?
    pub(crate) fn is_forgotten(&self, day: UtcDay) -> Result<bool, StoreError> {
        let before = notes::forgotten_before(lock(&self.mover).connection()).map_err(list_failed)?;
        Ok(before.is_some_and(|before| day < before))
    }

    pub(crate) fn remove_file(&self, path: &Path) -> Result<(), StoreError> {
        let fail = |source| StoreError::File { doing: "remove", path: path.to_owned(), source };
        self.disk.remove(path).map_err(fail)
    }
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::Ordering;

    use super::*;
    use crate::testing::{FailingDisk, Works, at, chocolate};

    fn three_days() -> Works {
        let mut works = Works::new();
        works.append(&[
            chocolate(0, 30.0),
            chocolate(1, 30.0),
            chocolate(86_400, 31.0),
            chocolate(172_800, 32.0),
        ]);
        works.move_all().unwrap();
        works
    }

    #[test]
    fn old_days_are_forgotten_whole_and_no_other() {
        let works = three_days();
        assert_eq!(works.store.forget_before(UtcDay::of(at(86_399))).unwrap(), 0);
        assert_eq!(works.store.forget_before(UtcDay::of(at(86_400))).unwrap(), 2);
        assert_eq!(works.chocolate_seen(), [(86_400, Some(31.0)), (172_800, Some(32.0))]);
        assert_eq!(
            works.files(),
            ["machine=alder/date=2026-03-02/part-1.parquet", "machine=alder/date=2026-03-03/part-1.parquet"]
        );
        assert_eq!(works.store.newest_moment().unwrap(), Some(at(172_800)));
        let works = works.reopened();
        assert_eq!(works.chocolate_seen().len(), 2);
    }

    #[test]
    fn a_late_reading_of_a_forgotten_day_is_kept_until_the_next_time() {
        let mut works = three_days();
        works.store.forget_before(UtcDay::of(at(86_400))).unwrap();
        works.append(&[chocolate(7, 33.0)]);
        works.move_all().unwrap();
        assert_eq!(works.chocolate_seen()[0], (7, Some(33.0)));
        assert_eq!(works.store.forget_before(UtcDay::of(at(86_400))).unwrap(), 1);
        assert_eq!(works.chocolate_seen().len(), 2);
    }

    /// Whichever call fails: what is not old is there, and what is old comes back from no leftover file.
    #[test]
    fn a_crash_at_any_step_forgets_all_or_nothing_of_the_list() {
        for calls in 0.. {
            let Works { folder, journal, store } = three_days();
            drop((journal, store));
            let disk = FailingDisk::after(usize::MAX);
            let left = disk.calls_left.clone();
            let works = Works::on(folder, Box::new(disk)).unwrap();
            left.store(calls, Ordering::SeqCst);
            works.store.forget_before(UtcDay::of(at(172_800))).unwrap();
            let reached_the_end = left.load(Ordering::SeqCst) > 0;
            let works = works.reopened();
            assert_eq!(works.chocolate_seen(), [(172_800, Some(32.0))], "call {calls} failed");
            assert_eq!(
                works.files(),
                ["machine=alder/date=2026-03-03/part-1.parquet"],
                "call {calls} failed"
            );
            if reached_the_end {
                assert!(calls >= 2, "two files are removed, not {calls}");
                return;
            }
        }
    }
}
