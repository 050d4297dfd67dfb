//! Answers questions about readings, from any thread and beside the service that moves blocks.

use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use journal::JournalReader;
use model::{Channel, MachineId, Timestamp};

use crate::manifest::Part;
use crate::snapshot::{self, Unreadable, Wanted};
use crate::table::Table;
use crate::{DamagedPart, StoreError, UtcDay};

/// Journal connections kept for the next question: about as many as are asked at one time.
const CONNECTIONS_KEPT: usize = 8;

/// How often a question is looked up anew because a part was replaced while it was read. A day's part is replaced
/// every few minutes, and read in milliseconds.
const LOOK_UPS: usize = 8;

/// The reading side of the store.
#[derive(Debug)]
pub struct StoreReader {
    folder: PathBuf,
    connections: Mutex<Vec<JournalReader>>,
    damaged: Mutex<Vec<Unreadable>>,
}

/// How many readings there are of a channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Coverage {
    /// With a value.
    pub good: u64,
    /// Without.
    pub missing: u64,
}

impl StoreReader {
    /// Opens the data folder to read. A journal must be there.
    ///
    /// # Errors
    /// If there is no journal, or it cannot be read.
    pub fn open(folder: impl AsRef<Path>) -> Result<StoreReader, StoreError> {
        let folder = folder.as_ref().to_owned();
        let reader = JournalReader::open(folder.join(journal::FILE_NAME))?;
        Ok(StoreReader { folder, connections: Mutex::new(vec![reader]), damaged: Mutex::default() })
    }

    /// The readings of one channel from `from` on and before `to`, in the order of time; `None` is a `missing` one.
    ///
    /// # Errors
    /// If the disk or the journal cannot be read. A damaged part is no error: it is left out, and told by
    /// [`StoreReader::damaged`].
    pub fn read_series(
        &self,
        machine: &MachineId,
        channel: Channel,
        from: Timestamp,
        to: Timestamp,
    ) -> Result<Vec<(Timestamp, Option<f64>)>, StoreError> {
        let table = self.read_table(Wanted { machine, channels: &[channel], from, to })?;
        let reading = |row| Some((Timestamp::from_millis(table.t[row]), table.slot(row, channel)?));
        Ok((0..table.len()).filter_map(reading).collect())
    }

    /// How many readings of a channel there are from `from` on and before `to`.
    ///
    /// # Errors
    /// As [`StoreReader::read_series`].
    pub fn read_coverage(
        &self,
        machine: &MachineId,
        channel: Channel,
        from: Timestamp,
        to: Timestamp,
    ) -> Result<Coverage, StoreError> {
        let table = self.read_table(Wanted { machine, channels: &[channel], from, to })?;
        let missing = table.missing.iter().filter(|bits| **bits != 0).count() as u64;
        Ok(Coverage { good: table.count() - missing, missing })
    }

    /// The days in UTC on which a machine has readings between the two moments.
    ///
    /// # Errors
    /// As [`StoreReader::read_series`].
    pub fn read_days(
        &self,
        machine: &MachineId,
        from: Timestamp,
        to: Timestamp,
    ) -> Result<Vec<UtcDay>, StoreError> {
        Ok(self.days_and_channels(machine, from, to)?.0)
    }

    /// Parts that could not be read and are left out of every answer, until they are set aside by the next move.
    pub fn damaged(&self) -> Vec<DamagedPart> {
        lock(&self.damaged).iter().map(|unreadable| unreadable.told(&self.folder)).collect()
    }

    /// The data folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    pub(crate) fn days_and_channels(
        &self,
        machine: &MachineId,
        from: Timestamp,
        to: Timestamp,
    ) -> Result<(Vec<UtcDay>, Vec<Channel>), StoreError> {
        let wanted = Wanted { machine, channels: &Channel::ALL, from, to };
        let (days, bits) = self.with_journal(|journal| snapshot::days_and_channels(journal, wanted))?;
        let has = |channel: &Channel| bits & crate::table::bit(*channel) != 0;
        Ok((days.into_iter().collect(), Channel::ALL.into_iter().filter(has).collect()))
    }

    /// Everything wanted, parts and tail laid over one another.
    pub(crate) fn read_table(&self, wanted: Wanted<'_>) -> Result<Table, StoreError> {
        let mut before = None;
        for _ in 0..LOOK_UPS {
            let (parts, tail) = self.with_journal(|journal| snapshot::look_up(journal, wanted))?;
            match self.lay_parts(&parts, wanted)? {
                Ok(mut table) => {
                    table.overlay(&tail);
                    return Ok(table);
                }
                Err(unreadable) if before.as_ref() == Some(&unreadable) => lock(&self.damaged).push(unreadable),
                Err(unreadable) => before = Some(unreadable),
            }
        }
        Err(StoreError::Busy { folder: self.folder.clone() })
    }

    fn lay_parts(&self, parts: &[Part], wanted: Wanted<'_>) -> Result<Result<Table, Unreadable>, StoreError> {
        let mut whole = Table::default();
        for part in parts.iter().filter(|part| !self.is_damaged(part)) {
            match snapshot::read_part(&self.folder, part, wanted.channels)? {
                Ok(table) => whole.overlay(&table.between(wanted.from.as_millis(), wanted.to.as_millis())),
                Err(unreadable) => return Ok(Err(unreadable)),
            }
        }
        Ok(Ok(whole))
    }

    fn is_damaged(&self, part: &Part) -> bool {
        lock(&self.damaged).iter().any(|unreadable| unreadable.part == *part)
    }

    /// Once a damaged part is off the list, its note is not needed any more.
    pub(crate) fn forget_damage(&self, part: &Part) {
        lock(&self.damaged).retain(|unreadable| unreadable.part != *part);
    }

    /// Parts that readers found damaged.
    pub(crate) fn damage(&self) -> Vec<Unreadable> {
        lock(&self.damaged).clone()
    }

    fn with_journal<T>(
        &self,
        ask: impl FnOnce(&mut JournalReader) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let kept = lock(&self.connections).pop();
        let mut journal =
            kept.map_or_else(|| JournalReader::open(self.folder.join(journal::FILE_NAME)), Ok)?;
        let answer = ask(&mut journal)?;
        let mut connections = lock(&self.connections);
        if connections.len() < CONNECTIONS_KEPT {
            connections.push(journal);
        }
        Ok(answer)
    }
}

/// What is behind these locks is whole between any two statements, so a thread that panicked has harmed nothing.
pub(crate) fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
