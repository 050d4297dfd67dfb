//! Answers questions about readings, from any thread and beside the service that moves blocks.

use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use frames::Rows;
use journal::JournalReader;
use model::{Channel, MachineId, Timestamp};

use crate::manifest::{self, Part, notes};
use crate::snapshot::{self, Unreadable, Wanted, list_failed};
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

/// The file of a part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartFile {
    /// Whose readings it holds.
    pub machine: MachineId,
    /// Its place in the data folder.
    pub path: PathBuf,
    /// Its length.
    pub bytes: u64,
    /// CRC-32 over all of it.
    pub crc32: u32,
}

/// Readings of one channel in the order of time; `None` where one is missing.
pub type Series = Vec<(Timestamp, Option<f64>)>;

impl StoreReader {
    /// Opens the data folder to read. A journal must be there.
    ///
    /// # Errors
    /// If there is no journal, or it cannot be read.
    pub fn open(folder: impl AsRef<Path>) -> Result<StoreReader, StoreError> {
        let folder = folder.as_ref().to_owned();
        let journal = folder.join(journal::FILE_NAME);
        let mut reader = JournalReader::open(&journal)?;
        notes::refuse_newer(reader.snapshot()?.connection(), &journal)?;
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

    /// The readings of several channels, each as [`StoreReader::read_series`] answers it, read in one go. A channel
    /// without readings is left out.
    ///
    /// # Errors
    /// As [`StoreReader::read_series`].
    pub fn read_channels(
        &self,
        machine: &MachineId,
        channels: &[Channel],
        from: Timestamp,
        to: Timestamp,
    ) -> Result<Vec<(Channel, Series)>, StoreError> {
        let table = self.read_table(Wanted { machine, channels, from, to })?;
        let series = |channel: Channel| {
            let reading = |row| Some((Timestamp::from_millis(table.t[row]), table.slot(row, channel)?));
            (channel, (0..table.len()).filter_map(reading).collect::<Series>())
        };
        let all = channels.iter().copied().map(series);
        Ok(all.filter(|(_, series)| !series.is_empty()).collect())
    }

    /// The readings of several channels a row a moment, in the order of time.
    ///
    /// # Errors
    /// As [`StoreReader::read_series`].
    pub fn read_rows(
        &self,
        machine: &MachineId,
        channels: &[Channel],
        from: Timestamp,
        to: Timestamp,
    ) -> Result<Rows, StoreError> {
        let Table { t, missing, values } = self.read_table(Wanted { machine, channels, from, to })?;
        Ok(Rows::new(t, missing, values).expect("a table's columns are of one length and its moments rise"))
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

    /// The files that count now, for whoever copies the folder. A part's file never changes; it is replaced by another.
    ///
    /// # Errors
    /// If the list cannot be read.
    pub fn part_files(&self) -> Result<Vec<PartFile>, StoreError> {
        let parts = self.with_journal(|journal| {
            let snapshot = journal.snapshot()?;
            let exists = manifest::exists(snapshot.connection()).map_err(list_failed)?;
            let all = if exists { manifest::all(snapshot.connection()) } else { Ok(Vec::new()) };
            all.map_err(list_failed)
        })?;
        let file = |part: Part| PartFile {
            path: part.path(),
            machine: part.machine,
            bytes: u64::try_from(part.bytes).unwrap_or(0),
            crc32: u32::try_from(part.crc32).unwrap_or(0),
        };
        Ok(parts.into_iter().map(file).collect())
    }

    /// The newest moment that stands in a part, by which a caller can tell that its clock has not run away.
    ///
    /// # Errors
    /// If the list cannot be read.
    pub fn newest_moment(&self) -> Result<Option<Timestamp>, StoreError> {
        self.with_journal(|journal| {
            let snapshot = journal.snapshot()?;
            match manifest::exists(snapshot.connection()).map_err(list_failed)? {
                true => manifest::newest_moment(snapshot.connection()).map_err(list_failed),
                false => Ok(None),
            }
        })
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
                    table.overlay(tail);
                    return Ok(table);
                }
                Err(unreadable) if before.as_ref() == Some(&unreadable) => {
                    lock(&self.damaged).push(unreadable)
                }
                Err(unreadable) => before = Some(unreadable),
            }
        }
        Err(StoreError::Busy { folder: self.folder.clone() })
    }

    fn lay_parts(&self, parts: &[Part], wanted: Wanted<'_>) -> Result<Result<Table, Unreadable>, StoreError> {
        let mut whole = Table::default();
        for part in parts.iter().filter(|part| !self.is_damaged(part)) {
            match snapshot::read_part(&self.folder, part, wanted.channels)? {
                Ok(table) => whole.overlay(table.between(wanted.from.as_millis(), wanted.to.as_millis())),
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

    pub(crate) fn with_journal<T>(
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

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use model::Arrival;
    use proptest::prelude::*;

    use super::*;
    use crate::testing::{Works, alder, at, reading};

    /// What the store should show, by a map: the last to arrive wins, rounded as the store keeps it.
    type Expected = BTreeMap<(MachineId, Channel, Timestamp), Option<f64>>;

    #[derive(Debug, Clone)]
    enum Step {
        Append(Vec<(bool, usize, i64, Option<f64>)>),
        Move,
        Restart,
    }

    fn any_step() -> impl Strategy<Value = Step> {
        let value = prop_oneof![
            6 => (-1_000i32..6_000).prop_map(|hundredths| Some(f64::from(hundredths) / 100.0)),
            1 => (-9e5..9e5f64).prop_map(Some),
            1 => Just(Some(1e12)),
            2 => Just(None),
        ];
        // Three days, in seconds from shortly before the second, close enough to meet and to arrive late.
        let reading = (
            any::<bool>(),
            0..Channel::ALL.len(),
            prop_oneof![-90i64..-60, -3i64..25, 86_390i64..86_410],
            value,
        );
        prop_oneof![
            4 => proptest::collection::vec(reading, 1..30).prop_map(Step::Append),
            2 => Just(Step::Move),
            1 => Just(Step::Restart),
        ]
    }

    fn kept(value: Option<f64>) -> Option<f64> {
        value.filter(|value| value.abs() < 1e6).map(|value| (value * 1000.0).round() / 1000.0)
    }

    fn check(works: &Works, expected: &Expected) -> Result<(), TestCaseError> {
        for machine in [alder(), "birch".parse().unwrap()] {
            for channel in Channel::ALL {
                for (from, to) in [(at(-100_000), at(200_000)), (at(-1), at(12))] {
                    let seen = works.store.read_series(&machine, channel, from, to).unwrap();
                    let range = (machine.clone(), channel, from)..(machine.clone(), channel, to);
                    let wanted: Vec<_> =
                        expected.range(range).map(|((_, _, at), value)| (*at, *value)).collect();
                    prop_assert_eq!(&seen, &wanted);
                    let rows = works.store.read_rows(&machine, &[channel], from, to).unwrap();
                    let seen: Vec<_> = (0..rows.len())
                        .flat_map(|row| Some((rows.at(row), rows.slot(row, channel)?)))
                        .collect();
                    prop_assert_eq!(&seen, &wanted);
                    prop_assert_eq!(rows.len(), wanted.len(), "no row is empty");
                    let coverage = works.store.read_coverage(&machine, channel, from, to).unwrap();
                    let good = wanted.iter().filter(|(_, value)| value.is_some()).count() as u64;
                    let missing = wanted.len() as u64 - good;
                    prop_assert_eq!(coverage, Coverage { good, missing });
                }
            }
        }
        Ok(())
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(32))]

        #[test]
        fn the_store_shows_what_a_map_holds(steps in proptest::collection::vec(any_step(), 1..12)) {
            let (mut works, mut expected) = (Works::new(), Expected::new());
            for step in steps {
                match step {
                    Step::Append(readings) => {
                        let mut block: Vec<Arrival> = Vec::new();
                        for (is_birch, place, seconds, value) in readings {
                            let machine = if is_birch { "birch".parse().unwrap() } else { alder() };
                            let (channel, at) = (Channel::ALL[place], at(seconds));
                            block.push(reading(&machine, channel, at, value));
                            expected.insert((machine, channel, at), kept(value));
                        }
                        works.append(&block);
                    }
                    Step::Move => drop(works.move_all().unwrap()),
                    Step::Restart => works = works.reopened(),
                }
            }
            check(&works, &expected)?;
            works.move_all().unwrap();
            check(&works, &expected)?;
        }
    }

    #[test]
    fn readers_in_other_threads_see_everything_while_blocks_move() {
        let mut works = Works::new();
        let folder = works.folder.path().to_owned();
        works.append(&[crate::testing::chocolate(0, 31.0)]);
        let reading = std::thread::spawn(move || {
            let reader = StoreReader::open(folder).unwrap();
            let mut seen = 0;
            while seen < 60 {
                let now = reader.read_series(&alder(), Channel::Chocolate, at(0), at(1_000)).unwrap().len();
                assert!(seen <= now, "{now} readings after {seen}");
                seen = now;
            }
            reader.damaged()
        });
        for second in 1..60 {
            works.append(&[crate::testing::chocolate(second, 31.0)]);
            works.move_all().unwrap();
        }
        assert_eq!(reading.join().unwrap(), []);
    }

    #[test]
    fn the_days_of_a_machine_are_those_of_parts_and_tail() {
        let mut works = Works::new();
        works.append(&[crate::testing::chocolate(0, 31.0)]);
        works.move_all().unwrap();
        works.append(&[crate::testing::chocolate(86_400, 31.0)]);
        let days = works.store.read_days(&alder(), at(-100), at(1_000_000)).unwrap();
        assert_eq!(days, [UtcDay::of(at(0)), UtcDay::of(at(86_400))]);
    }
}
