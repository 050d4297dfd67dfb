//! Everything below `/api`: one table, from which both the router and the OpenAPI document are made, so that they cannot part.
//!
//! A new address is a row here, and its shapes stand in `schemas`; the golden document in the tests shows what changed for programs.

mod document;
mod operation;
mod schemas;
mod table;

use std::sync::Arc;

use axum::Router;

use crate::app::App;

use operation::Operation;
use table::operations;

/// The addresses that are answered at once.
pub(crate) fn routes() -> Router<Arc<App>> {
    routes_that(|operation| !operation.lasts)
}

/// The addresses whose answer goes on for as long as the caller likes.
pub(crate) fn lasting_routes() -> Router<Arc<App>> {
    routes_that(|operation| operation.lasts)
}

fn routes_that(wanted: impl Fn(&Operation) -> bool) -> Router<Arc<App>> {
    let wanted = operations().filter(|operation| wanted(operation));
    wanted.fold(Router::new(), |router, operation| router.route(operation.path, (operation.route)()))
}
