//! The floor page, and pages of the works that a plant has added.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::response::Html;
use serde::Serialize;

use crate::app::App;
use crate::dashboards::FLOOR;
use crate::page_file::Shows;
use crate::problem::Problem;
use crate::view::FloorView;

pub(crate) async fn floor(State(app): State<Arc<App>>) -> Result<Html<String>, Problem> {
    works_page(&app, FLOOR)
}

pub(crate) async fn added(
    State(app): State<Arc<App>>,
    Path(name): Path<String>,
) -> Result<Html<String>, Problem> {
    works_page(&app, &name)
}

#[derive(Serialize)]
struct Floor {
    view: FloorView,
}

fn works_page(app: &App, name: &str) -> Result<Html<String>, Problem> {
    let page = app.page(name, Shows::Works)?;
    let board = app.state.board.borrow().clone();
    let alarms = app.alarms(&board);
    let view = FloorView::new(app.scene(), &board, &app.smears.now(), &alarms, &(app.state.health)(), &page);
    let frame = app.frame(name, &format!("/api/v1/live?page={name}"));
    app.render_page(&page, &frame, &page.title, Floor { view }).map(Html)
}
