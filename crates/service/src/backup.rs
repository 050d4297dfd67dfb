//! Copies a data folder as it is at one moment, while a service may be running on it, and puts such a copy back.
//!
//! ```text
//! OUT/records.db, OUT/journal.db    copies made by SQLite, each of one moment
//! OUT/plant.toml                    a copy of the plant file as the service last read it, if it is there
//! OUT/readings/…                    the parts that the copied journal lists: hard links, or copies on another disk
//! OUT/backup.json                   written last: length and SHA-256 of every file, and what could not be copied
//! ```
//! The records are copied first and the journal after them. Then the journal's copy has every block that the saved state
//! in the records' copy does not contain, unless blocks were moved in between; that is looked up, and if so all is made
//! anew. A part never changes after it has been published, so a link is as good as a copy: it is replaced, not written to.
//!
//! Both ways everything is made beside its place and named at the end, so that an interrupted one leaves nothing that
//! looks whole. What stood in `set-aside` is not copied: it could not be read anyway.

mod manifest;
mod restore;
mod take;

use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

pub use restore::{Restored, restore};
pub use take::{BackedUp, backup};

/// Why a backup could not be made or put back. What was there before is as it was.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    /// Nothing is overwritten.
    #[error("{} is there already; name a folder that is not", path.display())]
    Exists {
        /// Which.
        path: PathBuf,
    },
    /// Neither a data folder nor a backup begins like this.
    #[error("{} is no {what}: there is no {missing} in it", path.display())]
    NotThere {
        /// The folder.
        path: PathBuf,
        /// What it should be.
        what: &'static str,
        /// The file that shows it.
        missing: &'static str,
    },
    /// The list of files cannot be understood.
    #[error("{} cannot be read", path.display())]
    Unreadable {
        /// The list.
        path: PathBuf,
        /// Why.
        source: serde_json::Error,
    },
    /// A later version made it.
    #[error("the backup is in the form `{found}`, and this version reads `{known}`; use a newer version")]
    Newer {
        /// What it says of itself.
        found: String,
        /// What this version knows.
        known: &'static str,
    },
    /// Another program's list of the same name.
    #[error("{} is the list of something else, `{found}`, and not of a backup of ours", path.display())]
    Foreign {
        /// The list.
        path: PathBuf,
        /// What it says of itself.
        found: String,
    },
    /// The backup is not as it was made.
    #[error("the backup is not as it was made, and nothing has been put back: {}", faults.join("; "))]
    Changed {
        /// Each file, and what is wrong with it.
        faults: Vec<String>,
    },
    /// The service moves blocks faster than the folder can be copied.
    #[error("{} changed again and again while it was copied; try again", path.display())]
    Busy {
        /// The data folder.
        path: PathBuf,
    },
    /// The operating system refuses something.
    #[error("cannot {doing} {}", path.display())]
    File {
        /// What was to be done.
        doing: &'static str,
        /// With what.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// The journal.
    #[error(transparent)]
    Journal(#[from] journal::JournalError),
    /// The list of parts.
    #[error(transparent)]
    Store(#[from] store::StoreError),
    /// The records.
    #[error(transparent)]
    Records(#[from] records::RecordsError),
}

impl BackupError {
    fn file(doing: &'static str, path: impl Into<PathBuf>) -> impl FnOnce(io::Error) -> BackupError {
        let path = path.into();
        move |source| BackupError::File { doing, path, source }
    }
}

/// Where a folder is made before it gets its name.
fn beside(path: &Path) -> PathBuf {
    let mut name = path.file_name().unwrap_or_default().to_owned();
    name.push(".unfinished");
    path.with_file_name(name)
}

/// Makes `folder` and those above it that are missing, and waits until each name is on disk.
fn make_folders(folder: &Path) -> io::Result<()> {
    if folder.is_dir() {
        return Ok(());
    }
    let above = above(folder);
    make_folders(above)?;
    fs::create_dir(folder)?;
    sync_folder(above)
}

fn above(path: &Path) -> &Path {
    path.parent().filter(|above| !above.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

fn sync_folder(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

/// Gives a finished folder its name, in place of an empty one that has it, and waits until the name is on disk.
fn publish(unfinished: &Path, path: &Path) -> Result<(), BackupError> {
    let above = above(path);
    sync_folder(unfinished).map_err(BackupError::file("sync", unfinished))?;
    fs::rename(unfinished, path).map_err(BackupError::file("name", path))?;
    sync_folder(above).map_err(BackupError::file("sync", above))
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use model::{Arrival, Channel, Content, Reading, Timestamp};
    use store::ExportFormat;
    use tempfile::TempDir;

    use super::*;
    use crate::{DataFolder, fill};

    const PLANT: &str = "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n\
         [mqtt]\nurl = \"embedded\"\n[[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n\
         [[machine]]\nid = \"alder\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\n";

    fn at(seconds: i64) -> Timestamp {
        Timestamp::from_millis(1_772_427_600_000 + 1000 * seconds)
    }

    fn arrivals() -> impl Iterator<Item = Arrival> {
        (0..3 * 86_400).step_by(600).map(|second| {
            let machine = "alder".parse().unwrap();
            let (channel, value) = (Channel::Chocolate, Some(45.0 + (second % 7) as f64));
            let reading = Reading { machine, channel, at: at(second), value };
            Arrival { arrived: at(second), retained: false, content: Content::Reading(reading) }
        })
    }

    struct Rig {
        folder: TempDir,
        data: DataFolder,
    }

    impl Rig {
        fn new() -> Rig {
            let folder = tempfile::tempdir().unwrap();
            let data = DataFolder::new(folder.path().join("data"));
            let plant = Arc::new(plant::parse_plant(PLANT).unwrap());
            fill(&data, &plant, arrivals()).unwrap();
            Rig { folder, data }
        }

        fn at(&self, name: &str) -> PathBuf {
            self.folder.path().join(name)
        }

        fn backed_up(&self) -> BackedUp {
            backup(&self.data, &self.at("backup"), at(500_000)).unwrap()
        }
    }

    fn exported(data: &DataFolder) -> Vec<u8> {
        let (mut text, alder) = (Vec::new(), "alder".parse().unwrap());
        let (from, to) = (at(-1_000_000), at(1_000_000));
        data.open_readings().unwrap().export(&alder, from, to, ExportFormat::Csv, &mut text).unwrap();
        text
    }

    #[test]
    fn what_was_backed_up_is_put_back_and_the_time_between_is_a_possible_gap() {
        let rig = Rig::new();
        let made = rig.backed_up();
        assert_eq!(
            (made.files, made.left_out.len()),
            (6, 0),
            "two databases and the parts of four days in UTC"
        );
        let restored = DataFolder::new(rig.at("restored"));
        fs::create_dir(restored.path()).unwrap();
        assert_eq!(restore(&rig.at("backup"), &restored, at(500_060)).unwrap().files, 6);
        assert_eq!(exported(&restored), exported(&rig.data));
        let gaps = restored.open_records().unwrap().gaps(at(0), at(1_000_000)).unwrap();
        assert_eq!((gaps.len(), gaps[0].from, gaps[0].to), (1, at(500_000), at(500_060)));
        let old = rig.data.open_records().unwrap();
        assert_eq!(restored.open_records().unwrap().load_state().unwrap(), old.load_state().unwrap());
        assert!(!rig.at("backup.unfinished").exists() && !rig.at("restored.unfinished").exists());
    }

    #[test]
    fn the_plant_file_is_put_back_with_the_rest() {
        let rig = Rig::new();
        rig.data.keep_plant_file(PLANT).unwrap();
        assert_eq!(rig.backed_up().files, 7);
        let restored = DataFolder::new(rig.at("restored"));
        restore(&rig.at("backup"), &restored, at(500_060)).unwrap();
        assert_eq!(fs::read_to_string(restored.plant_file()).unwrap(), PLANT);
        fs::write(rig.at("backup/plant.toml"), PLANT.replace("alder", "birch")).unwrap();
        let other = DataFolder::new(rig.at("other"));
        let error = restore(&rig.at("backup"), &other, at(0)).unwrap_err().to_string();
        assert!(error.ends_with("plant.toml has another checksum"), "{error}");
    }

    #[test]
    fn nothing_is_overwritten() {
        let rig = Rig::new();
        rig.backed_up();
        let again = backup(&rig.data, &rig.at("backup"), at(0));
        assert!(matches!(again, Err(BackupError::Exists { .. })));
        let over = restore(&rig.at("backup"), &rig.data, at(0));
        assert!(matches!(over, Err(BackupError::Exists { .. })));
        let none = backup(&DataFolder::new(rig.at("nowhere")), &rig.at("other"), at(0)).unwrap_err();
        assert!(none.to_string().ends_with("is no data folder: there is no journal.db in it"), "{none}");
    }

    #[test]
    fn a_backup_that_has_changed_is_not_put_back() {
        let rig = Rig::new();
        rig.backed_up();
        let part = rig.at("backup/readings/machine=alder/date=2026-03-03/part-1.parquet");
        let mut bytes = fs::read(&part).unwrap();
        bytes[50] ^= 4;
        // The part is a hard link; what is written goes beside it, as a failing disk would have it.
        fs::remove_file(&part).unwrap();
        fs::write(&part, bytes).unwrap();
        fs::remove_file(rig.at("backup/records.db")).unwrap();
        let restored = DataFolder::new(rig.at("restored"));
        fs::create_dir(restored.path()).unwrap();
        let error = restore(&rig.at("backup"), &restored, at(0)).unwrap_err().to_string();
        assert!(error.contains("records.db cannot be opened"), "{error}");
        assert!(error.contains("date=2026-03-03/part-1.parquet has another checksum"), "{error}");
        assert!(restored.path().is_dir(), "the empty folder is as it was");
        assert_eq!(
            (restored.path().read_dir().unwrap().count(), rig.at("restored.unfinished").exists()),
            (0, false)
        );
    }

    #[test]
    fn a_list_of_another_form_or_one_that_leads_elsewhere_is_refused() {
        let rig = Rig::new();
        rig.backed_up();
        let restored = DataFolder::new(rig.at("restored"));
        let list = rig.at("backup/backup.json");
        let text = fs::read_to_string(&list).unwrap();
        fs::write(&list, text.replace("halfdegree.backup/1", "halfdegree.backup/2")).unwrap();
        let error = restore(&rig.at("backup"), &restored, at(0)).unwrap_err().to_string();
        assert!(error.starts_with("the backup is in the form `halfdegree.backup/2`"), "{error}");
        fs::write(&list, text.replace("halfdegree.backup/1", "somebody.else/1")).unwrap();
        let error = restore(&rig.at("backup"), &restored, at(0)).unwrap_err().to_string();
        assert!(
            error.ends_with("the list of something else, `somebody.else/1`, and not of a backup of ours"),
            "{error}"
        );
        fs::write(&list, text.replace("\"records.db\"", "\"../records.db\"")).unwrap();
        let error = restore(&rig.at("backup"), &restored, at(0)).unwrap_err().to_string();
        assert!(error.contains("../records.db leads out of the folder"), "{error}");
        fs::remove_file(&list).unwrap();
        let error = restore(&rig.at("backup"), &restored, at(0)).unwrap_err().to_string();
        assert!(error.ends_with("is no backup: there is no backup.json in it"), "{error}");
    }

    #[test]
    fn a_damaged_or_lost_part_is_left_out_and_told() {
        let rig = Rig::new();
        let parts = rig.data.path().join("readings/machine=alder");
        fs::remove_file(parts.join("date=2026-03-02/part-1.parquet")).unwrap();
        fs::write(parts.join("date=2026-03-03/part-1.parquet"), "PAR1").unwrap();
        let made = rig.backed_up();
        assert_eq!((made.files, made.left_out.len()), (4, 2), "{:?}", made.left_out);
        assert!(made.left_out[0].ends_with("it is not there") && made.left_out[1].ends_with("it is damaged"));
        let restored = DataFolder::new(rig.at("far/away/restored"));
        assert_eq!(restore(&rig.at("backup"), &restored, at(0)).unwrap().left_out, made.left_out);
        let store = restored.open_store().unwrap();
        assert_eq!(store.missing_spans(None, at(-1_000_000), at(1_000_000)).unwrap().len(), 2);
    }
}
