//! The parts of the floor as text, made once a moment for everybody who looks.
//!
//! A hundred screens on one floor see the same lanes. The parts are made when the first of them asks and kept until the
//! board or the second changes.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use model::{Board, MachineId};
use serde::Serialize;

use crate::app::App;
use crate::dashboards::part_file;
use crate::problem::Problem;
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

/// The newest parts of the whole floor.
#[derive(Default)]
pub(crate) struct Fragments(Mutex<Option<Kept>>);

struct Kept {
    board: Arc<Board>,
    second: i64,
    parts: Arc<Parts>,
}

impl Fragments {
    /// The parts of the whole floor as it stands.
    pub(crate) fn of_floor(&self, app: &App, board: &Arc<Board>) -> Result<Arc<Parts>, Problem> {
        let second = app.now().as_millis().div_euclid(1000);
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(kept) =
            kept.as_ref().filter(|kept| Arc::ptr_eq(&kept.board, board) && kept.second == second)
        {
            return Ok(kept.parts.clone());
        }
        let parts = Arc::new(floor_parts(app, board, &[])?);
        *kept = Some(Kept { board: board.clone(), second, parts: parts.clone() });
        Ok(parts)
    }
}

/// The parts of a floor page that shows `only` these machines (all, if it is empty).
pub(crate) fn floor_parts(app: &App, board: &Board, only: &[MachineId]) -> Result<Parts, Problem> {
    let view = FloorView::new(app.scene(), board, &(app.state.health)(), only);
    let mut parts = Parts::default();
    parts.render(app, "troubles", "troubles", named("frame", &app.frame("", "")))?;
    parts.render(app, "headline", "headline", named("view", &view))?;
    for lane in &view.lanes {
        parts.render(app, &format!("lane-{}", lane.id), "lane", named("lane", lane))?;
    }
    parts.order = view.lanes.iter().map(|lane| lane.id.clone()).collect();
    Ok(parts)
}
