//! The floor page, and pages of the works that a plant has added.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::response::Html;
use serde::Serialize;

use crate::access::Visitor;
use crate::app::App;
use crate::archive::made_aside;
use crate::dashboards::FLOOR;
use crate::page_file::Shows;
use crate::problem::Problem;
use crate::reader::Reader;
use crate::view::FloorView;

pub(crate) async fn floor(State(app): State<Arc<App>>) -> Result<Html<String>, Problem> {
    works_page(&app, FLOOR.to_owned()).await
}

pub(crate) async fn added(
    State(app): State<Arc<App>>,
    Path(name): Path<String>,
) -> Result<Html<String>, Problem> {
    works_page(&app, name).await
}

#[derive(Serialize)]
struct Floor {
    view: FloorView,
}

/// A thousand lanes take some hundredths of a second, so that it is made beside the connections.
async fn works_page(app: &Arc<App>, name: String) -> Result<Html<String>, Problem> {
    made_aside(app, Reader::now(), Visitor::now(), move |app| {
        let page = app.page(&name, Shows::Works)?;
        let board = app.state.board.borrow().clone();
        let (smears, alarms, health) = (app.smears.now(), app.alarms(&board), (app.state.health)());
        let view = FloorView::new(app.scene(), &board, &smears, &alarms, &health, &page);
        let frame = app.frame(&name, &format!("/api/v1/live?page={name}"));
        app.render_page(&page, &frame, &page.title, Floor { view }).map(Html)
    })
    .await?
}
