//! A disk that stops or fills at a word: a library that is loaded into the service before all others and stands between it and
//! the system's `write` and `fsync`. The service under test is the program itself, unchanged.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use testkit::wait_until;

/// The folder through which the library is told, and says what it did.
pub(crate) struct Disk {
    words: PathBuf,
    library: PathBuf,
    under: PathBuf,
}

impl Disk {
    /// Builds the library, for everything under `under`.
    pub(crate) fn build(folder: &Path, under: &Path) -> Disk {
        let words = folder.join("disk");
        fs::create_dir(&words).unwrap();
        let library = folder.join("disk.so");
        let source = crate::program::root().join("tests/zero_loss/disk.c");
        let built = Command::new("cc")
            .args(["-shared", "-fPIC", "-O1", "-Wall", "-Werror", "-o"])
            .args([&library, &source])
            .arg("-ldl")
            .status();
        assert!(built.expect("a C compiler is there").success());
        Disk { words, library, under: under.to_owned() }
    }

    /// What has to be in the service's environment.
    pub(crate) fn environment(&self) -> [(&'static str, &Path); 3] {
        [("LD_PRELOAD", &self.library), ("DISK_WORDS", &self.words), ("DISK_UNDER", &self.under)]
    }

    /// From now on no `fsync` comes back; returns when one has been caught.
    pub(crate) fn freeze(&self) {
        self.say("frozen", "stopped");
    }

    pub(crate) fn thaw(&self) {
        fs::remove_file(self.words.join("frozen")).unwrap();
    }

    /// From now on there is no room; returns when a write has been refused.
    pub(crate) fn fill(&self) {
        self.say("full", "refused");
    }

    pub(crate) fn make_room(&self) {
        fs::remove_file(self.words.join("full")).unwrap();
    }

    fn say(&self, word: &str, answer: &str) {
        let answer = self.words.join(answer);
        // Not there the first time.
        let _ = fs::remove_file(&answer);
        fs::write(self.words.join(word), "").unwrap();
        wait_until("the fault has happened", || answer.exists());
    }
}
