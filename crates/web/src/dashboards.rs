//! What the pages look like: templates, stylesheet, scripts, and a small TOML file per page that says what it shows.
//!
//! All of it lives in the `dashboards` folder at the top of the repository and is built into the program, so that the
//! pages need nothing beside it. A folder given with `--dashboards` is laid over: a file there replaces ours of the
//! same name, and a further page file adds a page.
//!
//! Everything is read and checked once, at start. Nothing is read from disk while a request waits.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use minijinja::value::Serde;
use minijinja::{AutoEscape, Environment, UndefinedBehavior, Value};
use serde::Serialize;

use crate::app::PageLink;
use crate::page_file::{PageFile, Shows, parse_page_file};
use crate::problem::Problem;
use crate::server::WebError;

/// A stylesheet or script of more than this is none of ours.
const LARGEST_FILE: u64 = 1 << 20;

/// The page at `/`.
pub(crate) const FLOOR: &str = "floor";

macro_rules! embedded {
    ($($name:literal),* $(,)?) => {
        &[$(($name, include_str!(concat!("../../../dashboards/", $name)))),*]
    };
}

/// Everything in the folder `dashboards`, by its path there.
const EMBEDDED: &[(&str, &str)] = embedded![
    "pages/floor.toml",
    "pages/machine.toml",
    "pages/batch.toml",
    "pages/findings.toml",
    "pages/health.toml",
    "layout.html",
    "page.html",
    "problem.html",
    "parts/headline.html",
    "parts/lanes.html",
    "parts/lane.html",
    "parts/troubles.html",
    "parts/temperature.html",
    "parts/now.html",
    "parts/curve.html",
    "parts/entries.html",
    "parts/open_findings.html",
    "parts/finding.html",
    "parts/batches.html",
    "parts/baselines.html",
    "parts/statement.html",
    "parts/sheet.html",
    "parts/measures.html",
    "parts/batch_findings.html",
    "parts/tests.html",
    "parts/phases.html",
    "parts/downloads.html",
    "parts/findings_list.html",
    "parts/health.html",
    "parts/cautions.html",
    "parts/shapes.html",
    "assets/style.css",
    "assets/live.js",
    "assets/icon.svg",
];

/// Templates, assets and page files, ready to serve.
#[derive(Debug)]
pub(crate) struct Dashboards {
    templates: Environment<'static>,
    assets: BTreeMap<String, Asset>,
    pages: BTreeMap<String, PageFile>,
}

/// A file that goes out as it is.
#[derive(Debug, Clone)]
pub(crate) struct Asset {
    pub media_type: &'static str,
    pub text: String,
    /// Changes when the text does, so that a browser may keep the file for good.
    pub version: String,
}

impl Dashboards {
    /// Our own files, with those in `folder` laid over.
    pub(crate) fn open(folder: Option<&Path>) -> Result<Dashboards, WebError> {
        let mut files: BTreeMap<String, String> =
            EMBEDDED.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned())).collect();
        if let Some(folder) = folder {
            read_over(folder, folder, &mut files)?;
        }
        Dashboards::from_files(files)
    }

    fn from_files(files: BTreeMap<String, String>) -> Result<Dashboards, WebError> {
        let mut templates = Environment::new();
        templates.set_undefined_behavior(UndefinedBehavior::Strict);
        templates.set_auto_escape_callback(|_| AutoEscape::Html);
        let (mut assets, mut pages) = (BTreeMap::new(), BTreeMap::new());
        for (name, text) in files {
            if let Some(page) = name.strip_prefix("pages/").and_then(|page| page.strip_suffix(".toml")) {
                pages.insert(page.to_owned(), parse_page_file(&name, &text)?);
            } else if let Some(asset) = name.strip_prefix("assets/") {
                assets.insert(asset.to_owned(), Asset::new(asset, text));
            } else {
                templates
                    .add_template_owned(name.clone(), text)
                    .map_err(|source| WebError::Template { file: name, source })?;
            }
        }
        let versions: BTreeMap<String, String> =
            assets.iter().map(|(name, asset)| (name.clone(), asset.version.clone())).collect();
        templates.add_function("asset", move |name: &str| {
            let version = versions.get(name).map_or("", String::as_str);
            Value::from_safe_string(format!("/assets/{name}?v={version}"))
        });
        let dashboards = Dashboards { templates, assets, pages };
        dashboards.check_parts()?;
        Ok(dashboards)
    }

    /// A page may only name parts that exist.
    fn check_parts(&self) -> Result<(), WebError> {
        for (page, file) in &self.pages {
            for part in &file.parts {
                if self.templates.get_template(&part_file(part)).is_err() {
                    let says = format!("there is no part `{part}`; a part is a file in `parts`");
                    return Err(WebError::PageFile { file: format!("pages/{page}.toml"), says });
                }
            }
        }
        Ok(())
    }

    /// The page file `name`.
    pub(crate) fn page(&self, name: &str) -> Option<&PageFile> {
        self.pages.get(name)
    }

    /// Pages of the works that a plant has added, for the navigation.
    pub(crate) fn added_pages(&self) -> Vec<PageLink> {
        let added =
            self.pages.iter().filter(|(name, page)| page.shows == Shows::Works && name.as_str() != FLOOR);
        let link = |(name, page): (&String, &PageFile)| PageLink {
            name: name.clone(),
            title: page.title.clone(),
            href: format!("/pages/{name}"),
        };
        added.map(link).collect()
    }

    /// The stylesheet, script or picture `name`.
    pub(crate) fn asset(&self, name: &str) -> Option<&Asset> {
        self.assets.get(name)
    }

    /// Fills the template in `file`.
    pub(crate) fn render(&self, file: &str, view: impl Serialize) -> Result<String, Problem> {
        let template = self.templates.get_template(file).map_err(|error| template_fault(&error))?;
        template.render(Serde(view)).map_err(|error| template_fault(&error))
    }
}

/// The template file of a part.
pub(crate) fn part_file(part: &str) -> String {
    format!("parts/{part}.html")
}

fn template_fault(error: &minijinja::Error) -> Problem {
    Problem::internal("page-fault", format!("{error:#}"))
}

impl Asset {
    fn new(name: &str, text: String) -> Asset {
        let media_type = match name.rsplit_once('.').map(|(_, ending)| ending) {
            Some("css") => "text/css; charset=utf-8",
            Some("js") => "text/javascript; charset=utf-8",
            Some("svg") => "image/svg+xml",
            Some(_) | None => "text/plain; charset=utf-8",
        };
        let version = format!("{:016x}", fnv_1a(text.as_bytes()));
        Asset { media_type, text, version }
    }
}

/// FNV-1a, 64 bits (Fowler, Noll, Vo): tells versions of a file apart, guards nothing.
fn fnv_1a(bytes: &[u8]) -> u64 {
    bytes
        .iter()
        .fold(0xcbf2_9ce4_8422_2325, |hash, byte| (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3))
}

fn read_over(root: &Path, folder: &Path, files: &mut BTreeMap<String, String>) -> Result<(), WebError> {
    let cannot_read = |source| WebError::Dashboards { path: folder.to_owned(), source };
    for entry in fs::read_dir(folder).map_err(cannot_read)? {
        let path = entry.map_err(cannot_read)?.path();
        let cannot_read = |source| WebError::Dashboards { path: path.clone(), source };
        let about = fs::metadata(&path).map_err(cannot_read)?;
        if about.is_dir() {
            read_over(root, &path, files)?;
        } else if about.len() > LARGEST_FILE {
            return Err(WebError::DashboardTooLarge { path, limit: LARGEST_FILE });
        } else {
            let text = fs::read_to_string(&path).map_err(cannot_read)?;
            let below = path.strip_prefix(root).unwrap_or(&path);
            let name: Vec<_> = below.components().map(|part| part.as_os_str().to_string_lossy()).collect();
            files.insert(name.join("/"), text);
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn folder_with(name: &str, text: &str) -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join(name);
        fs::create_dir_all(file.parent().unwrap()).unwrap();
        fs::write(file, text).unwrap();
        folder
    }

    #[test]
    fn our_own_files_are_sound() {
        let ours = Dashboards::open(None).unwrap();
        for page in ["floor", "machine", "batch", "findings"] {
            assert!(ours.page(page).is_some(), "{page}");
        }
        assert_eq!(ours.asset("style.css").unwrap().media_type, "text/css; charset=utf-8");
    }

    #[test]
    fn a_file_laid_over_replaces_ours_and_a_further_page_adds_one() {
        let page =
            "title = \"Moulding room\"\nshows = \"works\"\nparts = [\"lanes\"]\nmachines = [\"alder\"]\n";
        let folder = folder_with("pages/moulding.toml", page);
        let laid_over = Dashboards::open(Some(folder.path())).unwrap();
        assert_eq!(laid_over.page("moulding").unwrap().title, "Moulding room");
        assert!(laid_over.page("floor").is_some());
    }

    #[test]
    fn mistakes_in_the_folder_name_the_file() {
        let folder =
            folder_with("pages/floor.toml", "title = \"Floor\"\nshows = \"works\"\nparts = [\"dials\"]\n");
        let error = Dashboards::open(Some(folder.path())).unwrap_err().to_string();
        assert_eq!(error, "pages/floor.toml: there is no part `dials`; a part is a file in `parts`");

        let folder = folder_with("parts/lane.html", "{% if %}");
        let error = Dashboards::open(Some(folder.path())).unwrap_err().to_string();
        assert_eq!(error, "the template parts/lane.html cannot be read");
    }
}
