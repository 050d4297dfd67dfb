//! The dashboards as they are now: a folder given with `--dashboards` is looked at again while the service runs.
//!
//! Whoever changes a page sees the change without a restart: open pages load themselves anew. A fault in the folder is
//! told in words on every page, and the last version without one goes on being shown, so that a slip of the hand never
//! empties a screen on the wall.
//!
//! Never looks at the disk while a request waits: a task of the server does.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Arc, PoisonError, RwLock};
use std::time::{Duration, SystemTime};

use serde::Serialize;
use tracing::{info, warn};

use crate::app::PageLink;
use crate::dashboards::{Asset, Dashboards};
use crate::page_file::PageFile;
use crate::problem::Problem;
use crate::server::WebError;

/// A change is seen within this time: as fast as one changes from editor to browser.
pub(crate) const LOOKED_AT_EVERY: Duration = Duration::from_millis(700);

/// The dashboards of now.
#[derive(Debug)]
pub(crate) struct Shelf {
    folder: Option<PathBuf>,
    held: RwLock<Held>,
}

#[derive(Debug)]
struct Held {
    dashboards: Arc<Dashboards>,
    /// What is wrong with what lies in the folder now.
    fault: Option<String>,
    seen: Vec<Stamp>,
}

/// A file as the disk tells of it.
type Stamp = (PathBuf, u64, Option<SystemTime>);

impl Shelf {
    /// Our own files, with those in `folder` laid over. A fault at start is refused.
    pub(crate) fn open(folder: Option<&Path>) -> Result<Shelf, WebError> {
        let seen = folder.map(stamps).unwrap_or_default();
        let dashboards = Arc::new(Dashboards::open(folder)?);
        Ok(Shelf {
            folder: folder.map(Path::to_owned),
            held: RwLock::new(Held { dashboards, fault: None, seen }),
        })
    }

    /// Is there a folder to look at?
    pub(crate) fn has_folder(&self) -> bool {
        self.folder.is_some()
    }

    /// Reads the folder again if anything in it has changed.
    pub(crate) fn look_again(&self) {
        let Some(folder) = &self.folder else { return };
        let seen = stamps(folder);
        if self.with(|held| held.seen == seen) {
            return;
        }
        let read = Dashboards::open(Some(folder));
        let mut held = self.held.write().unwrap_or_else(PoisonError::into_inner);
        held.seen = seen;
        match read {
            Ok(dashboards) => {
                info!(folder = %folder.display(), "the pages have been read anew");
                (held.dashboards, held.fault) = (Arc::new(dashboards), None);
            }
            Err(fault) => {
                warn!(error = &fault as &dyn std::error::Error, "the changed pages have a fault");
                held.fault = Some(format!(
                    "The changed pages have a fault, and the last good ones are shown: {fault}."
                ));
            }
        }
    }

    /// What is wrong with what lies in the folder now, in a sentence.
    pub(crate) fn fault(&self) -> Option<String> {
        self.with(|held| held.fault.clone())
    }

    /// Changes when any file does.
    pub(crate) fn version(&self) -> String {
        self.with(|held| held.dashboards.version().to_owned())
    }

    /// The page file `name`.
    pub(crate) fn page(&self, name: &str) -> Option<Arc<PageFile>> {
        self.with(|held| held.dashboards.page(name))
    }

    /// Pages of the works that a plant has added, for the navigation.
    pub(crate) fn added_pages(&self) -> Vec<PageLink> {
        self.with(|held| held.dashboards.added_pages())
    }

    /// The stylesheet, script or picture `name`.
    pub(crate) fn asset(&self, name: &str) -> Option<Arc<Asset>> {
        self.with(|held| held.dashboards.asset(name))
    }

    /// Fills the template in `file`.
    pub(crate) fn render(&self, file: &str, view: impl Serialize) -> Result<String, Problem> {
        // The lock is given back before the template is filled.
        let dashboards = self.with(|held| held.dashboards.clone());
        dashboards.render(file, view)
    }

    fn with<T>(&self, look: impl FnOnce(&Held) -> T) -> T {
        look(&self.held.read().unwrap_or_else(PoisonError::into_inner))
    }
}

/// All files below `folder`; what cannot be read counts as not there, and reading it then says why.
fn stamps(folder: &Path) -> Vec<Stamp> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = entry.path();
        match fs::metadata(&path) {
            Ok(about) if about.is_dir() => found.extend(stamps(&path)),
            Ok(about) => found.push((path, about.len(), about.modified().ok())),
            Err(_) => {}
        }
    }
    found.sort();
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_is_seen_and_a_fault_keeps_the_last_good_page() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("pages/floor.toml");
        fs::create_dir_all(file.parent().unwrap()).unwrap();
        let page = |title: &str| format!("title = \"{title}\"\nshows = \"works\"\nparts = [\"lanes\"]\n");
        fs::write(&file, page("First")).unwrap();
        let shelf = Shelf::open(Some(folder.path())).unwrap();
        let first = shelf.version();

        fs::write(&file, page("Second one")).unwrap();
        shelf.look_again();
        assert_eq!(shelf.page("floor").unwrap().title, "Second one");
        assert_ne!(shelf.version(), first);

        fs::write(&file, "title = \"Third\"\nshows = \"works\"\nparts = [\"lanes\"]\ncolour = 1\n").unwrap();
        shelf.look_again();
        assert_eq!(shelf.page("floor").unwrap().title, "Second one");
        let said = shelf.fault().unwrap();
        assert!(said.contains("pages/floor.toml: line 4: unknown field `colour`"), "{said}");

        fs::write(&file, page("Mended")).unwrap();
        shelf.look_again();
        assert_eq!((shelf.fault(), shelf.page("floor").unwrap().title.as_str()), (None, "Mended"));
    }
}
