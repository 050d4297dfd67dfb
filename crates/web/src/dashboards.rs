//! What the pages look like: templates, stylesheet, scripts, and a small TOML file per page that says what it shows.
//!
//! All of it lives in the `dashboards` folder at the top of the repository and is built into the program, so that the
//! pages need nothing beside it. A folder given with `--dashboards` is laid over: a file there replaces ours of the
//! same name, and a further page file adds a page.
//!
//! Everything is read and checked at start, and again when a file of that folder changes (`shelf`).

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::sync::Arc;

use minijinja::value::Serde;
use minijinja::{AutoEscape, Environment, UndefinedBehavior, Value};
use serde::Serialize;

use crate::app::PageLink;
use crate::fields::field_words;
use crate::page_file::{PageFile, Shows, parse_page_file};
use crate::problem::Problem;
use crate::reader::Reader;
use crate::sentence::in_degrees;
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
pub(crate) const EMBEDDED: &[(&str, &str)] = embedded![
    "pages/floor.toml",
    "pages/machine.toml",
    "pages/batch.toml",
    "pages/findings.toml",
    "pages/alarms.toml",
    "pages/handbook.toml",
    "pages/health.toml",
    "pages/display.toml",
    "pages/day.toml",
    "pages/week.toml",
    "pages/compare.toml",
    "pages/sign_in.toml",
    "pages/pin.toml",
    "pages/account.toml",
    "pages/users.toml",
    "pages/user.toml",
    "pages/bench.toml",
    "pages/bowl.toml",
    "pages/lots.toml",
    "pages/setup.toml",
    "layout.html",
    "page.html",
    "problem.html",
    "parts/headline.html",
    "parts/lanes.html",
    "parts/lane.html",
    "parts/ready.html",
    "parts/troubles.html",
    "parts/temperature.html",
    "parts/now.html",
    "parts/curve.html",
    "parts/entries.html",
    "parts/fields.html",
    "parts/test.html",
    "parts/test_now.html",
    "parts/notices.html",
    "parts/machine_notices.html",
    "parts/decision.html",
    "parts/contents.html",
    "parts/lots.html",
    "parts/setup.html",
    "parts/open_findings.html",
    "parts/finding.html",
    "parts/batches.html",
    "parts/baselines.html",
    "parts/statement.html",
    "parts/measures.html",
    "parts/batch_findings.html",
    "parts/tests.html",
    "parts/phases.html",
    "parts/downloads.html",
    "parts/day_answer.html",
    "parts/day_causes.html",
    "parts/day_courses.html",
    "parts/day_batches.html",
    "parts/week_head.html",
    "parts/week_sections.html",
    "parts/week_entries.html",
    "parts/compare_choice.html",
    "parts/compare_sheet.html",
    "parts/bench_list.html",
    "parts/bowl_now.html",
    "parts/bowl_step.html",
    "parts/bowl_fill.html",
    "parts/bowl_reading.html",
    "parts/bowl_entries.html",
    "parts/bowl_past.html",
    "parts/calculator.html",
    "parts/findings_list.html",
    "parts/alarms_now.html",
    "parts/alarm.html",
    "parts/alarms_aside.html",
    "parts/alarms_table.html",
    "parts/alarm_mark.html",
    "parts/handbook_contents.html",
    "parts/handbook_probes.html",
    "parts/handbook_couvertures.html",
    "parts/handbook_day.html",
    "parts/handbook_test.html",
    "parts/handbook_sheet.html",
    "parts/handbook_findings.html",
    "parts/handbook_alarms.html",
    "parts/handbook_review.html",
    "parts/health.html",
    "parts/display.html",
    "parts/sign_in.html",
    "parts/pin.html",
    "parts/account.html",
    "parts/users.html",
    "parts/user.html",
    "parts/history.html",
    "parts/cautions.html",
    "parts/shapes.html",
    "assets/style.css",
    "assets/people.css",
    "assets/alarms.css",
    "assets/handbook.css",
    "assets/live.js",
    "assets/curve.js",
    "assets/bench.js",
    "assets/icon.svg",
];

/// Templates, assets and page files, ready to serve.
#[derive(Debug)]
pub(crate) struct Dashboards {
    templates: Environment<'static>,
    assets: BTreeMap<String, Arc<Asset>>,
    pages: BTreeMap<String, Arc<PageFile>>,
    version: String,
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
        let version = version_of(files.iter().flat_map(|(name, text)| [name, text]));
        for (name, text) in files {
            if let Some(page) = name.strip_prefix("pages/").and_then(|page| page.strip_suffix(".toml")) {
                pages.insert(page.to_owned(), Arc::new(parse_page_file(&name, &text)?));
            } else if let Some(asset) = name.strip_prefix("assets/") {
                assets.insert(asset.to_owned(), Arc::new(Asset::new(asset, text)));
            } else {
                templates
                    .add_template_owned(name.clone(), text)
                    .map_err(|fault| WebError::Template { says: fault_in_words(&name, &fault) })?;
            }
        }
        let versions: BTreeMap<String, String> =
            assets.iter().map(|(name, asset)| (name.clone(), asset.version.clone())).collect();
        templates.add_function("asset", move |name: &str| {
            let version = versions.get(name).map_or("", String::as_str);
            Value::from_safe_string(format!("/assets/{name}?v={version}"))
        });
        templates.add_function("field", |form: &str, name: &str| {
            let unknown = || {
                let says = format!("no words for the field `{name}` of the form `{form}`");
                minijinja::Error::new(minijinja::ErrorKind::InvalidOperation, says)
            };
            field_words(form, name).map(Serde).ok_or_else(unknown)
        });
        // What stands between its tags is a template's own markup, already escaped.
        templates.add_filter("degrees", |text: &str| {
            Value::from_safe_string(in_degrees(text, Reader::now().degrees))
        });
        let dashboards = Dashboards { templates, assets, pages, version };
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
    pub(crate) fn page(&self, name: &str) -> Option<Arc<PageFile>> {
        self.pages.get(name).cloned()
    }

    /// Changes when any file does.
    pub(crate) fn version(&self) -> &str {
        &self.version
    }

    /// Pages of the works that a plant has added, for the navigation.
    pub(crate) fn added_pages(&self) -> Vec<PageLink> {
        let added =
            self.pages.iter().filter(|(name, page)| page.shows == Shows::Works && name.as_str() != FLOOR);
        let link = |(name, page): (&String, &Arc<PageFile>)| PageLink {
            name: name.clone(),
            title: page.title.clone(),
            href: format!("/pages/{name}"),
        };
        added.map(link).collect()
    }

    /// The stylesheet, script or picture `name`.
    pub(crate) fn asset(&self, name: &str) -> Option<Arc<Asset>> {
        self.assets.get(name).cloned()
    }

    /// Fills the template in `file`.
    pub(crate) fn render(&self, file: &str, view: impl Serialize) -> Result<String, Problem> {
        let template = self.templates.get_template(file).map_err(|error| template_fault(file, &error))?;
        template.render(Serde(view)).map_err(|error| template_fault(file, &error))
    }
}

/// The template file of a part.
pub(crate) fn part_file(part: &str) -> String {
    format!("parts/{part}.html")
}

/// A template that cannot be filled: whoever has just changed it reads where and why.
fn template_fault(file: &str, error: &minijinja::Error) -> Problem {
    let mut problem = Problem::internal("page-fault", format!("{error:#}"));
    problem.sentence = format!("This page cannot be made: {}.", fault_in_words(file, error));
    problem
}

/// `parts/lane.html, line 3: syntax error: unexpected end of block`
fn fault_in_words(file: &str, error: &minijinja::Error) -> String {
    let innermost = std::iter::successors(Some(error), |error| {
        std::error::Error::source(*error)?.downcast_ref::<minijinja::Error>()
    });
    let error = innermost.last().unwrap_or(error);
    let file = error.name().unwrap_or(file);
    let line = error.line().map(|line| format!(", line {line}")).unwrap_or_default();
    let why = error.detail().map(|why| format!(": {why}")).unwrap_or_default();
    format!("{file}{line}: {}{why}", error.kind())
}

impl Asset {
    fn new(name: &str, text: String) -> Asset {
        let media_type = match name.rsplit_once('.').map(|(_, ending)| ending) {
            Some("css") => "text/css; charset=utf-8",
            Some("js") => "text/javascript; charset=utf-8",
            Some("svg") => "image/svg+xml",
            Some(_) | None => "text/plain; charset=utf-8",
        };
        // The stylesheet of the charts goes with ours: one request, and never one without the other.
        let text = if name == "style.css" { text + &charts::stylesheet() } else { text };
        let version = version_of([&text]);
        Asset { media_type, text, version }
    }
}

/// FNV-1a, 64 bits (Fowler, Noll, Vo): tells versions apart, guards nothing.
fn version_of<'t>(texts: impl IntoIterator<Item = &'t String>) -> String {
    let bytes = texts.into_iter().flat_map(|text| text.bytes().chain([0]));
    let hash = bytes.fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    });
    format!("{hash:016x}")
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
    fn no_file_of_ours_is_empty() {
        for (name, text) in EMBEDDED {
            assert!(!text.trim().is_empty(), "{name}");
        }
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
        assert!(error.starts_with("parts/lane.html, line 1: syntax error: "), "{error}");
    }
}
