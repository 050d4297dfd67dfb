//! The parts of works pages as text, made once a moment for everybody who reads alike.
//!
//! A hundred screens on one floor see the same lanes. The parts are made when the first of them asks and kept until the
//! board or the second changes.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use model::Board;
use serde::Serialize;

use crate::app::App;
use crate::dashboards::part_file;
use crate::page_file::Shows;
use crate::problem::Problem;
use crate::reader::Reader;
use crate::view::FloorView;

/// The parts of a page: name and text, in the order in which they are needed.
#[derive(Debug, Default)]
pub(crate) struct Parts {
    pub parts: Vec<(String, Arc<str>)>,
    /// The machines, the one that needs someone first on top.
    pub order: Vec<String>,
}

impl Parts {
    /// Adds the part `name`, made from the template `part`.
    pub(crate) fn render(
        &mut self,
        app: &App,
        name: &str,
        part: &str,
        view: impl Serialize,
    ) -> Result<(), Problem> {
        let text = app.dashboards.render(&part_file(part), view)?;
        self.parts.push((name.to_owned(), Arc::from(text.trim())));
        Ok(())
    }
}

/// `value` under the name by which a template knows it.
pub(crate) fn named<T: Serialize>(name: &'static str, value: T) -> BTreeMap<&'static str, T> {
    BTreeMap::from([(name, value)])
}

/// The newest parts of the works pages, a few readers' worth: most of them read alike.
#[derive(Default)]
pub(crate) struct Fragments(Mutex<BTreeMap<(String, Reader), Kept>>);

/// More ways to read at once than this are made anew each time.
const KEPT_PAGES: usize = 16;

struct Kept {
    board: Arc<Board>,
    second: i64,
    parts: Arc<Parts>,
}

impl Fragments {
    /// The parts of the works page `name` as it stands, for the reader of now.
    pub(crate) fn of_works(&self, app: &App, board: &Arc<Board>, name: &str) -> Result<Arc<Parts>, Problem> {
        let second = app.now().as_millis().div_euclid(1000);
        let key = (name.to_owned(), Reader::now());
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let is_new = |kept: &&Kept| Arc::ptr_eq(&kept.board, board) && kept.second == second;
        if let Some(kept) = kept.get(&key).filter(is_new) {
            return Ok(kept.parts.clone());
        }
        let parts = Arc::new(works_parts(app, board, name)?);
        kept.retain(|_, other| Arc::ptr_eq(&other.board, board));
        if kept.len() < KEPT_PAGES {
            kept.insert(key, Kept { board: board.clone(), second, parts: parts.clone() });
        }
        Ok(parts)
    }
}

/// The parts of the works page `name`.
fn works_parts(app: &App, board: &Board, name: &str) -> Result<Parts, Problem> {
    let page = app.page(name, Shows::Works)?;
    let view = FloorView::new(
        app.scene(),
        board,
        &app.smears.now(),
        &app.alarms(board),
        &(app.state.health)(),
        &page,
    );
    let mut parts = Parts::default();
    parts.render(app, "troubles", "troubles", named("frame", &app.frame("", "")))?;
    parts.render(app, "headline", "headline", named("view", &view))?;
    for lane in view.lanes() {
        parts.render(app, &format!("lane-{}", lane.id), "lane", named("lane", lane))?;
    }
    parts.order = view.order;
    Ok(parts)
}
