//! How to work with the service, in the words of the trade: prose in the parts, limits and kinds of finding from where they are used.

use std::sync::Arc;

use axum::extract::State;
use axum::response::Html;
use model::FindingKind;
use report::Help;
use serde::Serialize;

use crate::app::App;
use crate::page_file::Shows;
use crate::problem::Problem;
use crate::query::Params;
use crate::view::CouvertureRow;

#[derive(Serialize)]
struct Handbook {
    view: HandbookView,
}

#[derive(Serialize)]
struct HandbookView {
    couvertures: Vec<CouvertureRow>,
    kinds: Vec<KindView>,
}

#[derive(Serialize)]
struct KindView {
    /// `temper-loss`: its anchor, too.
    id: &'static str,
    title: &'static str,
    meaning: &'static str,
    to_do: &'static str,
}

impl KindView {
    fn new(kind: FindingKind) -> KindView {
        let Help { meaning, to_do } = report::help(kind);
        KindView { id: kind.as_str(), title: kind.title(), meaning, to_do }
    }
}

pub(crate) async fn page(State(app): State<Arc<App>>, params: Params) -> Result<Html<String>, Problem> {
    params.only(&[])?;
    let page = app.page("handbook", Shows::Handbook)?;
    let view = HandbookView {
        couvertures: CouvertureRow::all(app.scene()),
        kinds: FindingKind::ALL.iter().copied().map(KindView::new).collect(),
    };
    app.render_page(&page, &app.frame("handbook", ""), &page.title, Handbook { view }).map(Html)
}
