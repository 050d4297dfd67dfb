//! One machine's readings as they were at one moment: parts, and the journal's tail over them.
//!
//! The list of parts and the tail are read in one SQLite snapshot. The files are opened after it, and one that has been
//! replaced since is gone; then everything is looked up again. A file that is still on the list and still cannot be
//! read is damaged: it is noted, left out, and the rest is read.

use std::collections::BTreeSet;
use std::path::Path;
use std::{fs, io};

use bytes::Bytes;
use journal::{BlockSeq, JournalReader, Snapshot};
use model::{Channel, Content, MachineId, Timestamp};

use crate::manifest::{self, Part};
use crate::part::Refusal;
use crate::table::{Entry, Table, bit, entry};
use crate::{DamagedPart, StoreError, UtcDay, part};

/// What is asked for.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Wanted<'a> {
    pub(crate) machine: &'a MachineId,
    pub(crate) channels: &'a [Channel],
    pub(crate) from: Timestamp,
    pub(crate) to: Timestamp,
}

/// Why a part did not give its table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Unreadable {
    pub(crate) part: Part,
    pub(crate) reason: String,
}

impl Unreadable {
    /// For a person.
    pub(crate) fn told(&self, folder: &Path) -> DamagedPart {
        let readings = u64::try_from(self.part.readings).unwrap_or(0);
        DamagedPart { path: folder.join(self.part.path()), readings, reason: self.reason.clone() }
    }
}

/// The parts that may hold something wanted, and the tail.
pub(crate) fn look_up(
    journal: &mut JournalReader,
    wanted: Wanted<'_>,
) -> Result<(Vec<Part>, Table), StoreError> {
    let snapshot = journal.snapshot()?;
    Ok((parts(&snapshot, wanted)?, Table::from_entries(tail(&snapshot, wanted)?)))
}

/// The days on which the machine has anything, and the channels that it has it of.
pub(crate) fn days_and_channels(
    journal: &mut JournalReader,
    wanted: Wanted<'_>,
) -> Result<(BTreeSet<UtcDay>, i32), StoreError> {
    let snapshot = journal.snapshot()?;
    let (mut days, mut channels) = (BTreeSet::new(), 0);
    for part in parts(&snapshot, wanted)? {
        days.insert(part.day);
        channels |= part.channels;
    }
    for (t, channel, _) in tail(&snapshot, wanted)? {
        days.insert(UtcDay::of(Timestamp::from_millis(t)));
        channels |= bit(channel);
    }
    Ok((days, channels))
}

fn parts(snapshot: &Snapshot<'_>, wanted: Wanted<'_>) -> Result<Vec<Part>, StoreError> {
    let connection = snapshot.connection();
    let listed = manifest::exists(connection).and_then(|exists| {
        if exists {
            manifest::between(connection, wanted.machine, wanted.from, wanted.to)
        } else {
            Ok(Vec::new())
        }
    });
    listed.map_err(list_failed)
}

/// What the journal has of it, in the order of arrival. One block at a time is in memory, and of it only what is
/// wanted stays. A block that cannot be read is left out; the journal tells of it when it is opened.
fn tail(snapshot: &Snapshot<'_>, wanted: Wanted<'_>) -> Result<Vec<Entry>, StoreError> {
    let Wanted { machine, channels, from, to } = wanted;
    let (mut entries, mut after) = (Vec::new(), BlockSeq::START);
    while let Some(block) = snapshot.next_block_between(after, from, to)? {
        match block {
            Err(unreadable) => after = unreadable.seq,
            Ok(block) => {
                after = block.seq;
                entries.extend(block.arrivals.iter().filter_map(|arrival| match &arrival.content {
                    Content::Reading(reading)
                        if reading.machine == *machine
                            && channels.contains(&reading.channel)
                            && (from..to).contains(&reading.at) =>
                    {
                        Some(entry(reading.at, reading.channel, reading.value))
                    }
                    Content::Reading(_) | Content::Event(_) => None,
                }));
            }
        }
    }
    Ok(entries)
}

/// The table in a part's file. The inner error is the part's own trouble, the outer one the system's.
pub(crate) fn read_part(
    folder: &Path,
    part: &Part,
    channels: &[Channel],
) -> Result<Result<Table, Unreadable>, StoreError> {
    let path = folder.join(part.path());
    let unreadable = |reason: String| Ok(Err(Unreadable { part: part.clone(), reason }));
    let bytes = match fs::read(&path) {
        Ok(bytes) => bytes,
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            return unreadable("it is not there".to_owned());
        }
        Err(source) => return Err(StoreError::File { doing: "read", path, source }),
    };
    if bytes.len() as i64 != part.bytes {
        return unreadable(format!("it has {} bytes and was written with {}", bytes.len(), part.bytes));
    }
    if i64::from(crc32fast::hash(&bytes)) != part.crc32 {
        return unreadable("its checksum is wrong".to_owned());
    }
    match part::decode(Bytes::from(bytes), channels) {
        Ok(table) => Ok(Ok(table)),
        Err(Refusal::Damaged(reason)) => unreadable(reason),
        Err(Refusal::Newer { found, known }) => Err(StoreError::Newer { path, found, known }),
    }
}

/// An error of the list of parts, which is in the journal's file.
pub(crate) fn list_failed(source: rusqlite::Error) -> StoreError {
    StoreError::Journal(journal::JournalError::from_sqlite(
        "use the list of parts in",
        Path::new(journal::FILE_NAME),
        source,
    ))
}
