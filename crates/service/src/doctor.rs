//! Looks a data folder over: is there room, can it be written, is what lies in it whole?
//!
//! Changes nothing but a small file that it makes and removes to see whether it can, so that a service may be running.
//! What is inside the parts is checked when they are read, and by a backup; here only whether each is there and has its length.

use std::fs::{self, File, TryLockError};
use std::io;
use std::path::{Path, PathBuf};

use journal::{BlockSeq, JournalReader};
use model::Timestamp;
use records::Records;
use rustix::fs::{StatVfs, StatVfsMountFlags};
use store::StoreReader;

use crate::DataFolder;
use crate::health::LITTLE_ROOM;

/// Blocks read at once.
const BLOCKS_AT_ONCE: usize = 64;
/// A damaged disk is told by its first places.
const TOLD: usize = 5;
/// Blocks become parts every two minutes; so many say that they have not for long.
const LONG_BACKLOG: u64 = 100_000;

/// How one thing is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// As it should be.
    Well,
    /// It works, and a person should know.
    Note,
    /// It does not work, or soon will not.
    Fault,
}

/// One line of the answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Check {
    /// What was looked at.
    pub subject: &'static str,
    /// How it is.
    pub verdict: Verdict,
    /// What was found, and what to do unless it is well.
    pub says: String,
}

impl Check {
    /// A line that says that something is as it should be.
    pub fn well(subject: &'static str, says: impl Into<String>) -> Check {
        Check { subject, verdict: Verdict::Well, says: says.into() }
    }

    /// A line for a person to know.
    pub fn note(subject: &'static str, says: impl Into<String>) -> Check {
        Check { subject, verdict: Verdict::Note, says: says.into() }
    }

    /// A line about a fault, which somebody has to mend.
    pub fn fault(subject: &'static str, says: impl Into<String>) -> Check {
        Check { subject, verdict: Verdict::Fault, says: says.into() }
    }
}

/// What was found in the folder, and when something last arrived in it.
pub fn check_folder(data: &DataFolder) -> (Vec<Check>, Option<Timestamp>) {
    let mut checks = disk(data.path());
    if !data.path().is_dir() {
        return (checks, None);
    }
    checks.push(lock(data.path()));
    let mut newest = None;
    if data.journal_path().exists() {
        match data.open_journal_reader_alone() {
            Ok(journal) => {
                let (check, newest_arrival) = journal_check(&journal);
                let (parts, newest_part) = store(data);
                checks.push(check);
                checks.extend(parts);
                newest = newest_arrival.or(newest_part);
            }
            Err(error) => {
                checks.push(Check::fault("journal", chain(&error)));
                checks.push(Check::note("store", "not looked at: the list of its parts is in the journal"));
            }
        }
    } else {
        checks.push(missing(data, "journal", &data.path().join(store::READINGS)));
    }
    checks.push(records(data));
    (checks, newest)
}

/// A file that the first start makes, or that has been lost, if what came with it is there.
fn missing(data: &DataFolder, subject: &'static str, beside: &Path) -> Check {
    if beside.exists() {
        let says = format!(
            "{subject}.db is not there, and {} is: it has been lost. Put it back if you have it, or {RESTORE}; the next start would go on without what it held",
            beside.strip_prefix(data.path()).unwrap_or(beside).display()
        );
        return Check::fault(subject, says);
    }
    Check::note(subject, format!("{subject}.db is not there yet; the first start makes it"))
}

const RESTORE: &str =
    "put the last backup back with `halfdegree restore`, and keep this folder for a look at it";

fn disk(folder: &Path) -> Vec<Check> {
    let Some(there) = folder.ancestors().find(|place| place.exists() && !place.as_os_str().is_empty()) else {
        return disk_at(folder, Path::new("."));
    };
    disk_at(folder, there)
}

/// `there` is the folder, or the nearest above it that is there.
fn disk_at(folder: &Path, there: &Path) -> Vec<Check> {
    let mut checks = Vec::new();
    match rustix::fs::statvfs(there) {
        Ok(found) => checks.extend(room(folder, &found)),
        Err(error) => {
            checks.push(Check::fault("disk", format!("{} cannot be looked at: {error}", there.display())))
        }
    }
    if !there.is_dir() {
        let says = format!("{} is a file and no folder; name another place by `--data`", there.display());
        checks.push(Check::fault("disk", says));
        return checks;
    }
    checks.push(match can_write(there) {
        Ok(()) if folder.exists() => Check::well("disk", format!("{} can be written", folder.display())),
        Ok(()) => {
            Check::note("disk", format!("{} is not there yet; the first start makes it", folder.display()))
        }
        Err(error) => {
            let remedy = if error.kind() == io::ErrorKind::PermissionDenied {
                "give it to the user that the service runs as, or run this as that user"
            } else {
                "see what the system's log says of its disk"
            };
            Check::fault("disk", format!("{} cannot be written: {error}; {remedy}", there.display()))
        }
    });
    checks
}

fn room(folder: &Path, found: &StatVfs) -> Vec<Check> {
    let mut checks = Vec::new();
    if found.f_flag.contains(StatVfsMountFlags::RDONLY) {
        checks.push(Check::fault(
            "disk",
            format!(
                "the disk of {} is mounted read-only; a system does so when the disk fails: look at its log, and mount it to be written",
                folder.display()
            ),
        ));
    }
    if found.f_files != 0 && found.f_favail == 0 {
        checks.push(Check::fault(
            "disk",
            "the disk takes no more files (no inodes are left); remove small files from it",
        ));
    }
    let free = found.f_bavail.saturating_mul(found.f_frsize);
    let told = format!("{} MB are free", free / 1_000_000);
    checks.push(if free < LITTLE_ROOM {
        let least = LITTLE_ROOM / 1_000_000;
        Check::fault("disk", format!("only {told}; the service complains below {least} MB: make room, or keep fewer days (`--keep-days`)"))
    } else {
        Check::well("disk", told)
    });
    checks
}

fn can_write(folder: &Path) -> io::Result<()> {
    let path = folder.join(format!("doctor-{}.unfinished", std::process::id()));
    let written = File::create_new(&path).and_then(|file| file.sync_all());
    // Made by us, or not made at all.
    let removed = if written.is_ok() { fs::remove_file(&path) } else { Ok(()) };
    written.and(removed)
}

fn lock(folder: &Path) -> Check {
    let held = |name: &str| match File::open(folder.join(name)).map(|file| file.try_lock()) {
        Ok(Ok(())) | Err(_) => false,
        Ok(Err(TryLockError::WouldBlock | TryLockError::Error(_))) => true,
    };
    match held("store.lock") || held("journal.lock") {
        true => Check::well("lock", "a service is running on this folder"),
        false => Check::well("lock", "no service is running on this folder"),
    }
}

fn journal_check(journal: &JournalReader) -> (Check, Option<Timestamp>) {
    let (mut after, mut blocks, mut unreadable, mut newest) = (BlockSeq::new(0), 0, Vec::new(), None);
    loop {
        let some = match journal.blocks_after(after, BLOCKS_AT_ONCE) {
            Ok(some) => some,
            Err(error) => return (Check::fault("journal", format!("{}; {RESTORE}", chain(&error))), newest),
        };
        let last =
            some.blocks.iter().map(|block| block.seq).chain(some.unreadable.iter().map(|bad| bad.seq)).max();
        let Some(last) = last else { break };
        after = last;
        blocks += some.blocks.len() as u64;
        newest = some
            .blocks
            .iter()
            .flat_map(|block| &block.arrivals)
            .map(|arrival| arrival.arrived)
            .chain(newest)
            .max();
        unreadable.extend(some.unreadable);
    }
    let check = match unreadable.first() {
        Some(first) => Check::fault(
            "journal",
            format!(
                "{} of {} blocks cannot be read (the first is {}: {}); the next start sets them aside and goes on, and what they held is lost here: look at the disk, and whether a backup has it",
                unreadable.len(),
                blocks + unreadable.len() as u64,
                first.seq.get(),
                first.reason
            ),
        ),
        None if LONG_BACKLOG < blocks => Check::note(
            "journal",
            format!(
                "{blocks} blocks wait to be moved into the store, which happens every two minutes while a service runs; if one does, its log says why not"
            ),
        ),
        None => Check::well("journal", format!("{blocks} blocks wait to be moved, and all can be read")),
    };
    (check, newest)
}

fn store(data: &DataFolder) -> (Vec<Check>, Option<Timestamp>) {
    let looked = || -> Result<_, store::StoreError> {
        let readings = StoreReader::open(data.path())?;
        let (from, to) = (Timestamp::from_millis(i64::MIN), Timestamp::from_millis(i64::MAX));
        Ok((readings.part_files()?, readings.missing_spans(None, from, to)?, readings.newest_moment()?))
    };
    let (parts, missing, newest) = match looked() {
        Ok(found) => found,
        Err(error) => return (vec![Check::fault("store", chain(&error))], None),
    };
    let mut checks = Vec::new();
    let wrong: Vec<&PathBuf> = parts
        .iter()
        .filter(|part| {
            !fs::metadata(data.path().join(&part.path)).is_ok_and(|found| found.len() == part.bytes)
        })
        .map(|part| &part.path)
        .collect();
    for path in wrong.iter().take(TOLD) {
        checks.push(Check::fault(
            "store",
            format!(
                "{} is not there or has another length than it was written with; {RESTORE}",
                path.display()
            ),
        ));
    }
    if TOLD < wrong.len() {
        checks.push(Check::fault("store", format!("and {} more parts", wrong.len() - TOLD)));
    }
    for span in missing.iter().take(TOLD) {
        checks.push(Check::note(
            "store",
            format!("{span}; if a backup has it, restore it beside this folder and export from there"),
        ));
    }
    if checks.is_empty() {
        checks.push(Check::well("store", format!("{} parts, all there, nothing set aside", parts.len())));
    }
    (checks, newest)
}

fn records(data: &DataFolder) -> Check {
    if !data.records_path().exists() {
        return missing(data, "records", &data.journal_path());
    }
    match Records::complaint(data.records_path()) {
        Ok(None) => Check::well("records", "batches, findings and entries can be read"),
        Ok(Some(complaint)) => {
            Check::fault("records", format!("records.db is damaged ({complaint}); {RESTORE}"))
        }
        Err(error) => Check::fault("records", chain(&error)),
    }
}

/// The error and its causes on one line.
fn chain(error: &dyn std::error::Error) -> String {
    let mut said = error.to_string();
    let mut cause = error.source();
    while let Some(next) = cause {
        said = format!("{said}: {next}");
        cause = next.source();
    }
    said
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(checks: &[Check], verdict: Verdict) -> Vec<String> {
        let some = checks.iter().filter(|check| check.verdict == verdict);
        some.map(|check| format!("{}: {}", check.subject, check.says)).collect()
    }

    #[test]
    fn a_folder_that_is_not_there_is_no_fault() {
        let folder = tempfile::tempdir().unwrap();
        let (checks, newest) = check_folder(&DataFolder::new(folder.path().join("a/b")));
        assert_eq!((told(&checks, Verdict::Fault), newest), (vec![], None));
        assert!(told(&checks, Verdict::Note)[0].contains("the first start makes it"));
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0, "nothing is left behind");
    }

    #[test]
    fn a_file_in_place_of_the_folder_is_told() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("data");
        fs::write(&file, "spilled chocolate").unwrap();
        for place in [file.clone(), file.join("deeper")] {
            let faults = told(&check_folder(&DataFolder::new(place)).0, Verdict::Fault);
            assert_eq!(faults.len(), 1, "{faults:?}");
            assert!(faults[0].ends_with("data is a file and no folder; name another place by `--data`"));
        }
    }

    #[test]
    fn a_service_that_runs_is_told_and_left_in_peace() {
        let folder = tempfile::tempdir().unwrap();
        let data = DataFolder::new(folder.path());
        let _journal = data.open_journal().unwrap();
        let _store = data.open_store().unwrap();
        data.open_records().unwrap();
        let (checks, _) = check_folder(&data);
        assert_eq!(told(&checks, Verdict::Fault), Vec::<String>::new());
        assert!(
            told(&checks, Verdict::Well).contains(&"lock: a service is running on this folder".to_owned())
        );
    }

    #[test]
    fn a_file_that_was_lost_is_told() {
        let folder = tempfile::tempdir().unwrap();
        let data = DataFolder::new(folder.path());
        let faults = || told(&check_folder(&data).0, Verdict::Fault);
        assert_eq!(faults(), Vec::<String>::new(), "an empty folder is none");
        data.open_records().unwrap();
        assert_eq!(faults(), Vec::<String>::new(), "users come before the first start");
        drop(data.open_journal().unwrap());
        fs::create_dir(folder.path().join(store::READINGS)).unwrap();
        fs::remove_file(data.records_path()).unwrap();
        assert!(
            faults()[0].starts_with("records: records.db is not there, and journal.db is"),
            "{:?}",
            faults()
        );
        fs::remove_file(data.journal_path()).unwrap();
        assert!(
            faults()[0].starts_with("journal: journal.db is not there, and readings is"),
            "{:?}",
            faults()
        );
    }

    #[test]
    fn records_that_are_no_database_are_told() {
        let folder = tempfile::tempdir().unwrap();
        let data = DataFolder::new(folder.path());
        drop(data.open_journal().unwrap());
        fs::write(data.records_path(), "spilled chocolate, and no database at all").unwrap();
        let faults = told(&check_folder(&data).0, Verdict::Fault);
        assert_eq!(faults.len(), 1, "{faults:?}");
        assert!(faults[0].starts_with("records: "), "{faults:?}");
    }
}
