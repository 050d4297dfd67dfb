//! Puts the list and the files in agreement when the store is opened.
//!
//! A part on the list whose file is gone or has another length is struck off and told. A file of ours that is not on the
//! list is what a crash left behind, and then everything in it stands elsewhere too: in a listed part or in the journal.
//! That is looked up, reading by reading, and such a file is removed. If something stands nowhere else, the list has
//! lost the file (somebody began a new journal, or put back an old one), and it is taken onto the list again. So no
//! reading is ever swept because a list is wrong.

use std::collections::HashSet;
use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

use bytes::Bytes;
use model::Channel;

use crate::manifest::{self, Part, aside};
use crate::part::{self, Refusal};
use crate::reader::lock;
use crate::scale::ABSENT;
use crate::snapshot::{Unreadable, Wanted, list_failed};
use crate::table::{Table, bit};
use crate::{DamagedPart, READINGS, Store, StoreError, UtcDay};

/// What was found when the store was opened.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct StoreRecovery {
    /// Parts that count.
    pub parts: u64,
    /// Readings in them.
    pub readings: u64,
    /// Files that a crash left behind and that held nothing of their own; they are gone.
    pub swept: Vec<PathBuf>,
    /// Files that the list had lost; they count again.
    pub adopted: Vec<PathBuf>,
    /// Parts that are not whole, and have been set aside.
    pub set_aside: Vec<DamagedPart>,
}

/// A file of ours that is not on the list.
struct Orphan {
    path: PathBuf,
    part: Part,
}

impl Store {
    pub(crate) fn recover(&self) -> Result<StoreRecovery, StoreError> {
        let mut recovery = StoreRecovery::default();
        let listed = manifest::all(lock(&self.mover).connection()).map_err(list_failed)?;
        let broken: Vec<Unreadable> = listed.iter().filter_map(|part| self.size_is_wrong(part)).collect();
        self.strike(broken, &mut recovery)?;
        self.sweep(&listed, &mut recovery)?;
        let listed = manifest::all(lock(&self.mover).connection()).map_err(list_failed)?;
        recovery.parts = listed.len() as u64;
        recovery.readings = listed.iter().map(|part| u64::try_from(part.readings).unwrap_or(0)).sum();
        Ok(recovery)
    }

    fn strike(&self, broken: Vec<Unreadable>, recovery: &mut StoreRecovery) -> Result<(), StoreError> {
        if broken.is_empty() {
            return Ok(());
        }
        let struck = self.put_all_aside(broken)?;
        lock(&self.mover)
            .change(|transaction| struck.iter().try_for_each(|damaged| damaged.strike(transaction)))?;
        recovery.set_aside.extend(self.told(&struck));
        Ok(())
    }

    fn size_is_wrong(&self, part: &Part) -> Option<Unreadable> {
        let reason = match fs::metadata(self.folder().join(part.path())) {
            Ok(found) if i64::try_from(found.len()) == Ok(part.bytes) => return None,
            Ok(found) => format!("it has {} bytes and was written with {}", found.len(), part.bytes),
            Err(error) => format!("it is not there ({error})"),
        };
        Some(Unreadable { part: part.clone(), reason })
    }

    /// What somebody else put there is left alone.
    fn sweep(&self, listed: &[Part], recovery: &mut StoreRecovery) -> Result<(), StoreError> {
        let listed: HashSet<PathBuf> = listed.iter().map(|part| self.folder().join(part.path())).collect();
        let mut orphans = Vec::new();
        for folder in entries(&self.folder().join(READINGS))? {
            for day in entries(&folder)? {
                for path in entries(&day)?.into_iter().filter(|path| !listed.contains(path)) {
                    if path.extension().is_some_and(|ending| ending == "unfinished") && names_a_part(&path) {
                        self.remove_file(&path)?;
                        recovery.swept.push(path);
                    } else if let Some(part) = part_of(&path) {
                        orphans.push(Orphan { path, part });
                    }
                }
            }
        }
        // The newer of a day first: what an older one held is in it.
        orphans.sort_by_key(|orphan| std::cmp::Reverse(orphan.part.n));
        orphans.into_iter().try_for_each(|orphan| self.settle(orphan, recovery))
    }

    fn settle(&self, orphan: Orphan, recovery: &mut StoreRecovery) -> Result<(), StoreError> {
        let Orphan { path, part } = orphan;
        if self.is_forgotten(part.day)? {
            self.remove_file(&path)?;
            recovery.swept.push(path);
            return Ok(());
        }
        let read = |source| StoreError::File { doing: "read", path: path.clone(), source };
        let bytes = Bytes::from(fs::read(&path).map_err(read)?);
        let part = Part { bytes: bytes.len() as i64, crc32: i64::from(crc32fast::hash(&bytes)), ..part };
        match decoded(bytes) {
            Err(Refusal::Newer { found, known }) => Err(StoreError::Newer { path, found, known }),
            Err(Refusal::Damaged(reason)) => {
                let reason = format!("it is not on the list, and {reason}");
                self.strike(vec![Unreadable { part, reason }], recovery)
            }
            Ok(table) if self.stands_elsewhere(&part, &table)? => {
                self.remove_file(&path)?;
                recovery.swept.push(path);
                Ok(())
            }
            Ok(table) => {
                self.adopt(part, &table)?;
                recovery.adopted.push(path);
                Ok(())
            }
        }
    }

    /// Is there an answer without this file wherever the file has a reading?
    fn stands_elsewhere(&self, part: &Part, table: &Table) -> Result<bool, StoreError> {
        let (machine, from, to) = (&part.machine, part.day.start(), part.day.end());
        let there = self.read_table(Wanted { machine, channels: &Channel::ALL, from, to })?;
        let has_all_of = |row: usize| {
            let place = there.t.binary_search(&table.t[row]);
            place.is_ok_and(|place| channels_in(table, row) & !channels_in(&there, place) == 0)
        };
        Ok((0..table.len()).all(has_all_of))
    }

    fn adopt(&self, part: Part, table: &Table) -> Result<(), StoreError> {
        let Some((first_t, last_t)) = table.ends() else { return Ok(()) };
        let part = Part {
            first_t,
            last_t,
            readings: table.count() as i64,
            rows: table.len() as i64,
            channels: table.channels(),
            ..part
        };
        lock(&self.mover).change(|transaction| {
            manifest::add(transaction, &part)?;
            aside::has_come_back(transaction, &part)
        })?;
        Ok(())
    }
}

/// No checksum vouches for a file that is not on the list, and the decoder is not made for bytes that anybody wrote: it may
/// panic on them. That must not keep the service from starting.
fn decoded(bytes: Bytes) -> Result<Table, Refusal> {
    let decoding = catch_unwind(AssertUnwindSafe(|| part::decode(bytes, &Channel::ALL)));
    let table = decoding.unwrap_or_else(|_| Err(Refusal::Damaged("its inside makes no sense".to_owned())))?;
    if table.t.is_sorted_by(|a, b| a < b) {
        Ok(table)
    } else {
        Err(Refusal::Damaged("its rows are out of order".to_owned()))
    }
}

fn channels_in(table: &Table, row: usize) -> i32 {
    let has_value =
        |channel: &Channel| table.values[channel.index()].get(row).is_some_and(|value| *value != ABSENT);
    let values = Channel::ALL.iter().filter(|channel| has_value(channel));
    values.fold(table.missing[row], |all, channel| all | bit(*channel))
}

fn names_a_part(path: &Path) -> bool {
    path.file_stem().and_then(|name| name.to_str()).is_some_and(|name| name.starts_with("part-"))
}

/// Machine, day and number as the path tells them; `None` if the file is none of ours. Until it is decoded the whole day
/// may be in it.
fn part_of(path: &Path) -> Option<Part> {
    let name = |path: &Path| path.file_name()?.to_str().map(str::to_owned);
    let day_folder = path.parent()?;
    let n = name(path)?.strip_prefix("part-")?.strip_suffix(".parquet")?.parse().ok()?;
    let day: UtcDay = name(day_folder)?.strip_prefix("date=")?.parse().ok()?;
    let machine = name(day_folder.parent()?)?.strip_prefix("machine=")?.parse().ok()?;
    let (first_t, last_t) = (day.start().as_millis(), day.end().as_millis() - 1);
    Some(Part { machine, day, n, first_t, last_t, readings: 0, rows: 0, channels: 0, bytes: 0, crc32: 0 })
}

/// What is in a folder; nothing if it is no folder.
fn entries(folder: &Path) -> Result<Vec<PathBuf>, StoreError> {
    if !folder.is_dir() {
        return Ok(Vec::new());
    }
    let fail = |source| StoreError::File { doing: "list", path: folder.to_owned(), source };
    fs::read_dir(folder).map_err(fail)?.map(|entry| entry.map(|entry| entry.path()).map_err(fail)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{Works, alder, at, chocolate, in_pieces};

    fn opened(works: Works) -> (Works, StoreRecovery) {
        let Works { folder, journal, store } = works;
        drop((journal, store));
        let (journal, _) = journal::Journal::open(folder.path().join(journal::FILE_NAME)).unwrap();
        let (store, recovery) = Store::open(folder.path()).unwrap();
        (Works { folder, journal, store }, recovery)
    }

    #[test]
    fn opening_sweeps_what_does_not_count_and_leaves_what_is_not_ours() {
        let mut works = Works::new();
        works.append(&[chocolate(0, 30.0)]);
        works.move_all().unwrap();
        let day = works.folder.path().join("readings/machine=alder/date=2026-03-01");
        for name in ["part-7.parquet", "part-8.unfinished", "notes.txt", "part-of-a-song.parquet"] {
            fs::write(day.join(name), "x").unwrap();
        }
        fs::copy(day.join("part-1.parquet"), day.join("part-3.parquet")).unwrap();
        let (works, recovery) = opened(works);
        assert_eq!(recovery.swept, [day.join("part-8.unfinished"), day.join("part-3.parquet")]);
        assert_eq!((recovery.parts, recovery.readings, recovery.adopted.len()), (1, 1, 0));
        let reasons: Vec<&str> = recovery.set_aside.iter().map(|part| &part.reason[..22]).collect();
        assert_eq!(reasons, ["it is not on the list,"]);
        assert_eq!(works.files().len(), 3, "{:?}", works.files());
        assert!(day.join("notes.txt").exists() && day.join("part-of-a-song.parquet").exists());
        assert_eq!(fs::read_dir(works.folder.path().join(crate::SET_ASIDE)).unwrap().count(), 1);
    }

    #[test]
    fn a_part_that_is_cut_or_gone_is_told_and_stays_on_record() {
        let mut works = Works::new();
        works.append(&[chocolate(0, 30.0), chocolate(86_400, 31.0), chocolate(2 * 86_400, 32.0)]);
        works.move_all().unwrap();
        let readings = works.folder.path().join("readings/machine=alder");
        fs::write(readings.join("date=2026-03-01/part-1.parquet"), "PAR1").unwrap();
        fs::remove_file(readings.join("date=2026-03-02/part-1.parquet")).unwrap();
        let (works, recovery) = opened(works);
        let reasons: Vec<&str> = recovery.set_aside.iter().map(|part| &part.reason[..15]).collect();
        assert_eq!(reasons, ["it has 4 bytes ", "it is not there"]);
        assert_eq!(works.chocolate_seen(), [(2 * 86_400, Some(32.0))]);
        let (works, recovery) = opened(works);
        assert_eq!(recovery.set_aside, [], "told once");
        let spans = works.store.missing_spans(Some(&alder()), at(0), at(86_400)).unwrap();
        assert_eq!(spans.len(), 1);
        assert_eq!((spans[0].from, spans[0].to, spans[0].readings), (at(0), at(0), 1));
        assert_eq!(spans[0].channels, [Channel::Chocolate]);
        assert!(spans[0].path.as_ref().unwrap().exists());
        assert_eq!(works.store.missing_spans(None, at(0), at(1_000_000)).unwrap().len(), 2);
        assert_eq!(
            works.store.missing_spans(Some(&"birch".parse().unwrap()), at(0), at(86_400)).unwrap(),
            []
        );
    }

    #[test]
    fn a_part_that_turns_up_again_counts_again() {
        let mut works = Works::new();
        works.append(&[chocolate(0, 30.0), chocolate(1, 31.0)]);
        works.move_all().unwrap();
        let readings = works.folder.path().join("readings");
        fs::rename(&readings, works.folder.path().join("elsewhere")).unwrap();
        let (works, _) = opened(works);
        assert_eq!(works.chocolate_seen(), []);
        assert_eq!(works.store.missing_spans(None, at(0), at(9)).unwrap().len(), 1);
        fs::remove_dir_all(&readings).unwrap();
        fs::rename(works.folder.path().join("elsewhere"), &readings).unwrap();
        let (works, recovery) = opened(works);
        assert_eq!(recovery.adopted.len(), 1);
        assert_eq!(works.chocolate_seen(), [(0, Some(30.0)), (1, Some(31.0))]);
        assert_eq!(works.store.missing_spans(None, at(0), at(9)).unwrap(), []);
    }

    /// Whoever moves a damaged journal out of the way loses what had not been moved, and not years of parts.
    #[test]
    fn a_lost_list_is_made_again_from_the_files() {
        let works = in_pieces();
        let expected = works.chocolate_seen();
        let Works { folder, journal, store } = works;
        drop((journal, store));
        for file in ["journal.db", "journal.db-wal", "journal.db-shm"] {
            let _may_be_gone = fs::remove_file(folder.path().join(file));
        }
        let works = Works::on(folder, Box::new(crate::SystemDisk)).unwrap();
        assert_eq!(works.chocolate_seen(), expected);
        let (works, recovery) = opened(works);
        assert_eq!((recovery.parts, recovery.swept.len()), (3, 0));
        assert_eq!(works.chocolate_seen(), expected);
    }
}
