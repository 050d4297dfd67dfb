//! How a reader wants to read: °C or °F, and on which clock. Kept in two cookies of their own browser, nowhere else.

use std::sync::Arc;

use axum::extract::State;
use axum::http::{HeaderName, HeaderValue, header};
use axum::response::{AppendHeaders, Html, IntoResponse, Redirect, Response};
use serde::Serialize;

use crate::app::App;
use crate::page_file::Shows;
use crate::problem::Problem;
use crate::query::{Params, wrong};
use crate::reader::{self, DEGREES_COOKIE, Reader, ZONE_COOKIE};

/// A year: longer than a season, shorter than a browser keeps anything.
const KEPT_SECONDS: u32 = 365 * 24 * 3600;

#[derive(Serialize)]
struct Display {
    view: DisplayView,
}

#[derive(Serialize)]
struct DisplayView {
    /// `C` or `F`
    degrees: &'static str,
    /// Empty for the plant's own.
    zone: &'static str,
    plant_zone: String,
    zones: Vec<&'static str>,
    is_set: bool,
}

pub(crate) async fn page(State(app): State<Arc<App>>, params: Params) -> Result<Response, Problem> {
    params.only(&["degrees", "zone", "set"])?;
    if params.text("degrees").is_some() {
        return set(&params);
    }
    let Reader { degrees, zone } = Reader::now();
    let view = DisplayView {
        degrees: reader::letter(degrees),
        zone: zone.unwrap_or_default(),
        plant_zone: app.state.plant.time_zone.name().to_owned(),
        zones: reader::zone_names().collect(),
        is_set: params.text("set").is_some(),
    };
    let page = app.page("display", Shows::Display)?;
    let frame = app.frame("display", "");
    app.render_page(&page, &frame, &page.title, Display { view }).map(|page| Html(page).into_response())
}

/// Sets the cookies and comes back, so that the page already shows what was chosen.
fn set(params: &Params) -> Result<Response, Problem> {
    let given = params.text("degrees").unwrap_or_default();
    let degrees = reader::degrees_of(given).ok_or_else(|| wrong("degrees", given, "C or F"))?;
    let zone = match params.text("zone") {
        None => "",
        Some(name) => reader::zone_of(name)
            .ok_or_else(|| wrong("zone", name, "a zone of the IANA database, such as Europe/Lisbon"))?,
    };
    let cookies = [cookie(DEGREES_COOKIE, reader::letter(degrees)), cookie(ZONE_COOKIE, zone)];
    Ok((AppendHeaders(cookies), Redirect::to("/display?set=yes")).into_response())
}

fn cookie(name: &str, value: &str) -> (HeaderName, HeaderValue) {
    let kept = if value.is_empty() { 0 } else { KEPT_SECONDS };
    let text = format!("{name}={value}; Path=/; Max-Age={kept}; SameSite=Lax; HttpOnly");
    (header::SET_COOKIE, HeaderValue::from_str(&text).expect("names of zones are plain letters"))
}
