//! Stylesheet, script and icon. Their addresses carry a version, so a browser may keep them for good.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};

use crate::app::App;
use crate::problem::Problem;

pub(crate) async fn asset(
    State(app): State<Arc<App>>,
    Path(name): Path<String>,
) -> Result<Response, Problem> {
    let asset = app
        .dashboards
        .asset(&name)
        .ok_or_else(|| Problem::not_found("no-such-file", "There is no such file here."))?;
    let headers = [
        (header::CONTENT_TYPE, asset.media_type),
        (header::CACHE_CONTROL, "public, max-age=31536000, immutable"),
    ];
    Ok((headers, asset.text.clone()).into_response())
}
