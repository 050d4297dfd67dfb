//! Moves blocks of the journal into parts.
//!
//! A load of blocks becomes one new part a machine and day, each published by rename. Then one transaction says that the
//! new parts count, that the parts they took in do not, and that the blocks are gone. Before it everything is as it was
//! and the new files are swept at the next start; after it everything is as it should be and the old files are swept.
//!
//! A day stays one part as long as that is cheap: a part that is small, or not much larger than what comes, is taken in.
//! Larger ones stay beside the new one, so that the work for a day grows with its readings and not with their square.

use std::collections::BTreeMap;

use journal::{Block, BlockSeq, JournalMover, UnreadableBlock};
use model::{Channel, Content, Event, MachineId};

use crate::disk::publish;
use crate::manifest::{self, Part};
use crate::reader::lock;
use crate::snapshot::{list_failed, read_part};
use crate::store::Struck;
use crate::table::{Entry, Table, entry};
use crate::{DamagedPart, Store, StoreError, UtcDay, part};

/// Blocks taken from the journal in one go.
const BLOCKS_A_LOOK: usize = 256;

/// Arrivals moved in one transaction: some 20 MB of memory, and a second's work.
const MOST_ARRIVALS_A_LOAD: usize = 1_000_000;

/// Parts up to this many rows are always taken in: two days at 1 Hz, some 10 ms. Tests make do with fewer.
pub(crate) const CHEAP_ROWS: i64 = if cfg!(test) { 200 } else { 200_000 };

/// A larger part is taken in by something at least a quarter of its size.
const LARGER_BY: i64 = 4;

/// What a move did.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Moved {
    /// The newest block that was moved.
    pub up_to: BlockSeq,
    /// Readings that went into parts, doubled ones too.
    pub readings: u64,
    /// Those among them that were doubled: the same machine, channel and time in the same load or in a part that it took in.
    pub duplicates: u64,
    /// Events that were handed over.
    pub events: u64,
    /// Parts written.
    pub parts: u64,
    /// Blocks that could not be read; they stand aside in the journal.
    pub unreadable_blocks: Vec<UnreadableBlock>,
    /// Parts that were found damaged, and have been set aside.
    pub set_aside: Vec<DamagedPart>,
}

/// What is moved in one transaction.
#[derive(Default)]
struct Load {
    last: Option<BlockSeq>,
    arrivals: usize,
    entries: BTreeMap<(MachineId, UtcDay), Vec<Entry>>,
    events: Vec<Event>,
    unreadable: Vec<UnreadableBlock>,
}

/// What the transaction will say about parts.
#[derive(Default)]
struct Change {
    new: Vec<Part>,
    taken_in: Vec<Part>,
    damaged: Vec<Struck>,
}

impl Store {
    /// Moves the blocks up to and with `up_to` into parts. Their events go to `hand_over` before they leave the
    /// journal; it may see an event twice (after a crash), and must have it on disk when it returns.
    ///
    /// # Errors
    /// If the disk or the journal cannot be written, or the events cannot be handed over. What was moved before stays
    /// moved, the rest stays in the journal, and trying again is right.
    pub fn move_blocks(
        &self,
        up_to: BlockSeq,
        mut hand_over: impl FnMut(&[Event]) -> Result<(), Box<dyn std::error::Error + Send + Sync>>,
    ) -> Result<Moved, StoreError> {
        let mut mover = lock(&self.mover);
        let mut moved = Moved::default();
        self.set_damage_aside(&mut mover, &mut moved)?;
        loop {
            let load = Load::take(&mover, up_to)?;
            let Some(last) = load.last else { return Ok(moved) };
            if !load.events.is_empty() {
                hand_over(&load.events).map_err(StoreError::HandOver)?;
            }
            self.move_load(&mut mover, load, last, &mut moved)?;
        }
    }

    fn move_load(
        &self,
        mover: &mut JournalMover,
        load: Load,
        last: BlockSeq,
        moved: &mut Moved,
    ) -> Result<(), StoreError> {
        let mut change = Change::default();
        for ((machine, day), entries) in load.entries {
            let came = entries.len() as u64;
            let new = self.write_day(mover, (machine, day), Table::from_entries(entries), &mut change)?;
            moved.readings += came;
            moved.duplicates += came.saturating_sub(new);
        }
        mover.move_out(last, &load.unreadable, |transaction| {
            change.taken_in.iter().try_for_each(|part| manifest::remove(transaction, part))?;
            change.damaged.iter().try_for_each(|damaged| damaged.strike(transaction))?;
            change.new.iter().try_for_each(|part| manifest::add(transaction, part))
        })?;
        self.remove_files(&change.taken_in);
        moved.up_to = last;
        moved.events += load.events.len() as u64;
        moved.parts += change.new.len() as u64;
        moved.unreadable_blocks.extend(load.unreadable);
        moved.set_aside.extend(self.told(&change.damaged));
        Ok(())
    }

    /// Writes what came for a day, with what it takes in, as a new part, and tells how many readings are new in it.
    fn write_day(
        &self,
        mover: &JournalMover,
        (machine, day): (MachineId, UtcDay),
        mut table: Table,
        change: &mut Change,
    ) -> Result<u64, StoreError> {
        let there = manifest::of_day(mover.connection(), &machine, day).map_err(list_failed)?;
        let n = there.last().map_or(1, |newest| newest.n + 1);
        let mut known = 0;
        for part in there.into_iter().rev() {
            let rows = table.len() as i64;
            if part.rows > CHEAP_ROWS.max(LARGER_BY * rows) {
                break;
            }
            match read_part(self.folder(), &part, &Channel::ALL)? {
                Ok(mut older) => {
                    known += older.count();
                    older.overlay(table);
                    table = older;
                    change.taken_in.push(part);
                }
                Err(unreadable) => {
                    change.damaged.extend(self.put_all_aside(vec![unreadable])?);
                }
            }
        }
        let new = table.count().saturating_sub(known);
        change.new.push(self.write_part(machine, day, n, table)?);
        Ok(new)
    }

    pub(crate) fn write_part(
        &self,
        machine: MachineId,
        day: UtcDay,
        n: i64,
        table: Table,
    ) -> Result<Part, StoreError> {
        let (first_t, last_t) = table.ends().expect("a part is made of at least one reading");
        let (readings, rows, channels) = (table.count() as i64, table.len() as i64, table.channels());
        let bytes = part::encode(table).map_err(StoreError::Encode)?;
        let (size, crc32) = (bytes.len() as i64, i64::from(crc32fast::hash(&bytes)));
        let part = Part { machine, day, n, first_t, last_t, readings, rows, channels, bytes: size, crc32 };
        publish(self.disk.as_ref(), &self.folder().join(part.path()), &bytes)?;
        Ok(part)
    }

    /// Sets aside what readers found damaged since the last move.
    fn set_damage_aside(&self, mover: &mut JournalMover, moved: &mut Moved) -> Result<(), StoreError> {
        let mut damaged = self.reader.damage();
        if damaged.is_empty() {
            return Ok(());
        }
        let listed = manifest::all(mover.connection()).map_err(list_failed)?;
        damaged.iter().filter(|damaged| !listed.contains(&damaged.part)).for_each(|gone| {
            self.reader.forget_damage(&gone.part);
        });
        damaged.retain(|damaged| listed.contains(&damaged.part));
        let struck = self.put_all_aside(damaged)?;
        mover.change(|transaction| struck.iter().try_for_each(|damaged| damaged.strike(transaction)))?;
        moved.set_aside.extend(self.told(&struck));
        Ok(())
    }

    /// What has been struck off the list, for people; readers need not keep it in mind any more.
    pub(crate) fn told(&self, struck: &[Struck]) -> Vec<DamagedPart> {
        struck.iter().for_each(|damaged| self.reader.forget_damage(&damaged.unreadable.part));
        struck.iter().map(|damaged| damaged.unreadable.told(self.folder())).collect()
    }
}

impl Load {
    /// The next blocks, by whole blocks, in the order of arrival.
    fn take(mover: &JournalMover, up_to: BlockSeq) -> Result<Load, StoreError> {
        let mut load = Load::default();
        while load.arrivals < MOST_ARRIVALS_A_LOAD {
            let after = load.last.unwrap_or(BlockSeq::START);
            let found = mover.blocks_after(after, BLOCKS_A_LOOK)?;
            let unreadable = found.unreadable.into_iter().filter(|block| block.seq <= up_to);
            let blocks: Vec<Block> = found.blocks.into_iter().filter(|block| block.seq <= up_to).collect();
            load.unreadable.extend(unreadable);
            let newest_unreadable = load.unreadable.last().map(|block| block.seq);
            let Some(last) = blocks.last().map(|block| block.seq).max(newest_unreadable) else { break };
            if last <= after {
                break;
            }
            blocks.into_iter().for_each(|block| load.add(block));
            load.last = Some(last);
        }
        Ok(load)
    }

    fn add(&mut self, block: Block) {
        self.arrivals += block.arrivals.len();
        for arrival in block.arrivals {
            match arrival.content {
                Content::Event(event) => self.events.push(event),
                Content::Reading(reading) => {
                    let day = UtcDay::of(reading.at);
                    let entry = entry(reading.at, reading.channel, reading.value);
                    self.entries.entry((reading.machine, day)).or_default().push(entry);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use std::fs;
    use std::sync::atomic::Ordering;

    use super::*;
    use crate::testing::{FailingDisk, Works, alder, at, chocolate, note, reading};

    #[test]
    fn a_day_becomes_one_part_and_the_blocks_are_gone() {
        let mut works = Works::new();
        for second in 0..50 {
            works.append(&[chocolate(second, 31.0), note(second)]);
        }
        let mut events = Vec::new();
        let hand_over = |more: &[Event]| {
            events.extend_from_slice(more);
            Ok(())
        };
        let moved = works.store.move_blocks(BlockSeq::new(30), hand_over).unwrap();
        assert_eq!((moved.up_to.get(), moved.readings, moved.events, moved.parts), (30, 30, 30, 1));
        assert_eq!(events.len(), 30);
        assert_eq!(works.journal.blocks_after(BlockSeq::START, 100).unwrap().blocks.len(), 20);
        assert_eq!(works.move_all().unwrap().readings, 20);
        assert_eq!(works.files(), ["machine=alder/date=2026-03-01/part-2.parquet"]);
        assert_eq!(works.chocolate_seen().len(), 50);
        assert_eq!(works.move_all().unwrap(), Moved::default());
    }

    #[test]
    fn what_came_later_wins_before_and_after_moving() {
        let mut works = Works::new();
        works.append(&[chocolate(1, 30.0), chocolate(2, 30.0), chocolate(3, 30.0)]);
        works.move_all().unwrap();
        let withdrawn = reading(&alder(), Channel::Chocolate, at(2), None);
        works.append(&[chocolate(1, 31.0), withdrawn, chocolate(1, 32.0)]);
        let expected = [(1, Some(32.0)), (2, None), (3, Some(30.0))];
        assert_eq!(works.chocolate_seen(), expected);
        works.move_all().unwrap();
        assert_eq!(works.chocolate_seen(), expected);
    }

    #[test]
    fn nothing_moves_if_the_events_are_not_kept() {
        let mut works = Works::new();
        works.append(&[chocolate(1, 30.0), note(1)]);
        let error =
            works.store.move_blocks(BlockSeq::new(1), |_| Err("the records are full".into())).unwrap_err();
        assert!(matches!(error, StoreError::HandOver(_)));
        assert_eq!(works.journal.blocks_after(BlockSeq::START, 9).unwrap().blocks.len(), 1);
        assert_eq!(works.files(), [""; 0]);
    }

    /// Every call that changes a file fails in turn, as at a crash; after a new start every reading is there once, and
    /// a move that is tried again ends as if nothing had happened.
    #[test]
    fn a_crash_at_any_step_loses_nothing_and_doubles_nothing() {
        let expected: Vec<(i64, Option<f64>)> =
            [-2, -1, 0, 1, 2, 3].map(|second| (second, Some(30.0 + second as f64))).to_vec();
        for calls in 0.. {
            let mut works = Works::new();
            works.append(&[-2, -1, 0, 1].map(|second| chocolate(second, 30.0 + second as f64)));
            works.move_all().unwrap();
            works.append(&[-1, 2, 3].map(|second| chocolate(second, 30.0 + second as f64)));
            let Works { folder, journal, store } = works;
            drop((journal, store));
            let disk = FailingDisk::after(usize::MAX);
            let left = disk.calls_left.clone();
            let works = Works::on(folder, Box::new(disk)).unwrap();
            left.store(calls, Ordering::SeqCst);
            let moved = works.move_all();
            let reached_the_end = left.load(Ordering::SeqCst) > 0;
            assert_eq!(works.chocolate_seen(), expected, "still running, call {calls} failed");
            let works = works.reopened();
            assert_eq!(works.chocolate_seen(), expected, "after a new start, call {calls} failed");
            assert_eq!(works.files().len(), 2, "call {calls}");
            works.move_all().unwrap();
            assert_eq!(works.chocolate_seen(), expected, "after another move, call {calls} failed");
            if reached_the_end {
                moved.unwrap();
                assert!(calls > 10, "a move of two days makes more than {calls} calls");
                return;
            }
        }
    }

    #[test]
    fn a_damaged_part_is_told_and_set_aside_and_the_rest_is_read() {
        let mut works = Works::new();
        works.append(&[chocolate(0, 30.0), chocolate(86_400, 31.0)]);
        works.move_all().unwrap();
        let path = works.folder.path().join("readings/machine=alder/date=2026-03-01/part-1.parquet");
        let mut bytes = fs::read(&path).unwrap();
        let middle = bytes.len() / 2;
        bytes[middle] ^= 0x10;
        fs::write(&path, bytes).unwrap();
        assert_eq!(works.chocolate_seen(), [(86_400, Some(31.0))]);
        let damaged = works.store.damaged();
        assert_eq!(damaged.len(), 1);
        assert!(damaged[0].to_string().ends_with("part-1.parquet with 1 readings: its checksum is wrong"));
        works.append(&[chocolate(1, 32.0)]);
        assert_eq!(works.move_all().unwrap().set_aside, damaged);
        assert_eq!(works.store.damaged(), []);
        assert_eq!(works.chocolate_seen(), [(1, Some(32.0)), (86_400, Some(31.0))]);
        assert_eq!(fs::read_dir(works.folder.path().join(crate::SET_ASIDE)).unwrap().count(), 1);
        let works = works.reopened();
        assert_eq!(works.chocolate_seen(), [(1, Some(32.0)), (86_400, Some(31.0))]);
    }
}
