//! The newest findings of all machines.

use std::sync::Arc;

use axum::extract::State;
use axum::response::Html;

use records::{FindingQuery, Life};
use serde::Serialize;

use crate::app::App;
use crate::handlers::api::life;
use crate::page_file::Shows;
use crate::problem::Problem;
use crate::query::Params;
use crate::view::FindingView;

/// A page that can be read in one go.
const LISTED: usize = 100;

#[derive(Serialize)]
struct Findings {
    view: FindingsView,
}

#[derive(Serialize)]
struct FindingsView {
    findings: Vec<FindingView>,
    open_only: bool,
}

pub(crate) async fn page(State(app): State<Arc<App>>, params: Params) -> Result<Html<String>, Problem> {
    params.only(&["open"])?;
    let life = life(&params)?;
    let page = app.page("findings", Shows::Findings)?;
    let query = FindingQuery { life, limit: LISTED, ..FindingQuery::default() };
    let findings: Vec<_> =
        app.findings(query).await?.iter().map(|finding| FindingView::new(app.scene(), finding)).collect();
    let shown = Findings { view: FindingsView { findings, open_only: life == Life::Open } };
    app.render_page(&page, &app.frame("findings", ""), &page.title, shown).map(Html)
}
