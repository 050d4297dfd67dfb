//! What every handler shares: the state that the service gave, the templates, and the limits on what runs at once.

use std::sync::Arc;

use alarms::Listing;
use charts::Degrees;
use history::day::Courses;
use history::gather::ThinCourse;
use model::{Board, MachineId, Timestamp};
use plant::Machine;
use serde::Serialize;
use tokio::sync::Semaphore;
use tokio_util::sync::CancellationToken;

use crate::access::{Door, Right, RightsView, VisitorView};
use crate::bowl::JustEntered;
use crate::gathered::{BatchShelf, KEPT_COURSES, KEPT_THIN};
use crate::page_file::{PageFile, Shows};
use crate::paper::Paper;
use crate::past::Bands;
use crate::problem::Problem;
use crate::reader::{self, Reader};
use crate::rendered::Fragments;
use crate::server::WebError;
use crate::shelf::Shelf;
use crate::smears::Smears;
use crate::state::{Entries, LivePace, Reading, WebConfig, WebState};
use crate::view::{Moment, Scene};
use crate::words::LocalTime;

/// Live pages at once. Each costs a task and a connection; a site has a few dozen screens.
const LIVE_PAGES: usize = 256;

/// Readings and drawings worked on at once: they are bound to cores, and a queue of them would eat the memory.
const HEAVY_READS: usize = 4;

/// Works pages drawn at once; those who read alike share one drawing.
const DRAWINGS: usize = 2;

/// What every handler shares.
pub(crate) struct App {
    pub state: WebState,
    pub dashboards: Shelf,
    local: LocalTime,
    pub entries: Entries,
    pub reading: Reading,
    /// How browsers call us, if the configuration says so.
    pub origin: Option<String>,
    pub door: Door,
    /// Sets reports as PDF, if the program can.
    pub paper: Option<Paper>,
    pub courses: BatchShelf<Courses>,
    pub thin_courses: BatchShelf<ThinCourse>,
    pub(crate) smears: Smears,
    pub(crate) notes: Vec<String>,
    pub fragments: Fragments,
    pub bands: Bands,
    pub just_entered: JustEntered,
    pub pace: LivePace,
    pub live_pages: Arc<Semaphore>,
    pub heavy_reads: Arc<Semaphore>,
    pub drawings: Arc<Semaphore>,
    /// Cancelled when the service stops, so that live pages do not hold the door.
    pub closing: CancellationToken,
}

/// What surrounds every page.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Frame {
    pub plant: String,
    /// Which page this is.
    pub at: String,
    /// Where its live parts come from; empty if it has none.
    pub live: String,
    pub now: Moment,
    pub reads: Reads,
    /// Who is signed in, if somebody is.
    pub visitor: Option<VisitorView>,
    /// May whoever sits here make entries without signing in?
    pub is_open: bool,
    /// What this reader may not do, and why.
    pub refused: RightsView,
    /// Of templates, stylesheet and scripts.
    pub version: String,
    pub troubles: Vec<String>,
    pub notes: Vec<String>,
    pub more_pages: Vec<PageLink>,
}

/// What the template of a page is given.
#[derive(Serialize)]
struct Shown<'a, T> {
    title: &'a str,
    parts: &'a [String],
    frame: &'a Frame,
    /// What the parts of the page speak of.
    #[serde(flatten)]
    shown: T,
}

/// How this reader reads, for the page and its scripts.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Reads {
    /// `°C`
    pub unit: &'static str,
    /// `C`
    pub degrees: &'static str,
    /// `Europe/Lisbon`
    pub zone: String,
    /// Is it another zone than the plant's?
    pub is_elsewhere: bool,
}

impl Reads {
    fn now(plant: &plant::Plant) -> Reads {
        let Reader { degrees, zone } = Reader::now();
        Reads {
            unit: degrees.unit(),
            degrees: reader::letter(degrees),
            zone: zone.unwrap_or(plant.time_zone.name()).to_owned(),
            is_elsewhere: zone.is_some_and(|zone| zone != plant.time_zone.name()),
        }
    }
}

/// A page that the plant added.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct PageLink {
    pub name: String,
    pub title: String,
    pub href: String,
}

impl App {
    pub(crate) fn new(
        config: &WebConfig,
        state: WebState,
        closing: CancellationToken,
    ) -> Result<App, WebError> {
        Ok(App {
            dashboards: Shelf::open(config.dashboards.as_deref())?,
            local: LocalTime::new(state.plant.time_zone.rules().clone()),
            entries: config.entries,
            reading: config.reading,
            origin: config.origin.clone(),
            door: Door::default(),
            paper: config.paper.clone(),
            courses: BatchShelf::of_at_most(KEPT_COURSES),
            thin_courses: BatchShelf::of_at_most(KEPT_THIN),
            smears: Smears::open(&state.records),
            notes: config.notes.clone(),
            fragments: Fragments::default(),
            bands: Bands::default(),
            just_entered: JustEntered::default(),
            pace: config.pace,
            live_pages: Arc::new(Semaphore::new(LIVE_PAGES)),
            heavy_reads: Arc::new(Semaphore::new(HEAVY_READS)),
            drawings: Arc::new(Semaphore::new(DRAWINGS)),
            closing,
            state,
        })
    }

    /// What needs somebody now, as far as it is at hand.
    pub(crate) fn alarms(&self, board: &Board) -> Listing {
        self.state.alarms.listing(board, self.now())
    }

    /// Do browsers reach us over TLS alone?
    pub(crate) fn is_behind_tls(&self) -> bool {
        self.origin.as_deref().is_some_and(|origin| origin.starts_with("https://"))
    }

    /// Why this reader may not do that; `None` if they may.
    pub(crate) fn why_not(&self, right: Right) -> Option<String> {
        self.may(right).err().map(|problem| problem.sentence)
    }

    pub(crate) fn now(&self) -> Timestamp {
        (self.state.clock)()
    }

    /// The clock on which the reader reads: the plant's, unless they have chosen another.
    pub(crate) fn local(&self) -> &LocalTime {
        Reader::now().clock().unwrap_or(&self.local)
    }

    pub(crate) fn scene(&self) -> Scene<'_> {
        Scene {
            plant: &self.state.plant,
            local: self.local(),
            now: self.now(),
            degrees: Reader::now().degrees,
        }
    }

    /// As the plant itself reads: days and weeks are counted on its clock, and their sentences hold differences beside
    /// temperatures, which nobody may turn into other degrees from the words alone.
    pub(crate) fn plant_scene(&self) -> Scene<'_> {
        let degrees = Degrees::Celsius;
        Scene { plant: &self.state.plant, local: &self.local, now: self.now(), degrees }
    }

    /// The machine that an address names.
    pub(crate) fn machine(&self, text: &str) -> Result<&Machine, Problem> {
        let known = text.parse::<MachineId>().ok().and_then(|id| self.state.plant.machine(&id));
        known.ok_or_else(|| {
            let shown: String = text.chars().take(64).collect();
            Problem::not_found("no-such-machine", format!("There is no machine `{shown}` in the plant file."))
        })
    }

    /// The page file `name`, which must speak of `shows`.
    pub(crate) fn page(&self, name: &str, shows: Shows) -> Result<Arc<PageFile>, Problem> {
        let page = self.dashboards.page(name).filter(|page| page.shows == shows);
        page.ok_or_else(|| Problem::not_found("no-such-page", "There is no such page here."))
    }

    /// What surrounds the page `at`.
    pub(crate) fn frame(&self, at: &str, live: &str) -> Frame {
        let now = self.now();
        Frame {
            plant: self.state.plant.name.clone(),
            at: at.to_owned(),
            live: live.to_owned(),
            now: Moment {
                says: self.local().clock_with_seconds(now),
                exact: self.local().machine_readable(now),
            },
            reads: Reads::now(&self.state.plant),
            visitor: VisitorView::now(),
            is_open: self.entries == Entries::OpenOnLoopback,
            refused: RightsView::new(|right| self.why_not(right)),
            version: self.dashboards.version(),
            troubles: (self.state.health)().says().into_iter().chain(self.dashboards.fault()).collect(),
            notes: self.notes.clone(),
            more_pages: self.dashboards.added_pages(),
        }
    }

    /// The page `name` with what it shows.
    pub(crate) fn render_page(
        &self,
        page: &PageFile,
        frame: &Frame,
        title: &str,
        shown: impl Serialize,
    ) -> Result<String, Problem> {
        self.dashboards.render("page.html", Shown { title, parts: &page.parts, frame, shown })
    }
}
