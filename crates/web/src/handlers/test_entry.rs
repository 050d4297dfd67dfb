//! The result of a temper test, entered on the machine page: a smear with or without a photo, or the cooling curve of a sample, as a
//! table or from a channel.
//!
//! The form is turned into the contract's event and goes the way of every other one, so that a program that sends the same gets the same.

use std::sync::Arc;

use axum::body::{Body, Bytes};
use axum::extract::rejection::BytesRejection;
use axum::extract::{FromRequest, Multipart, Path, Request, State};
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Redirect, Response};
use model::{MachineId, Timestamp};
use records::{By, StoredPhoto};
use serde_json::{Value, json};

use crate::access::{Right, admit};
use crate::app::App;
use crate::handlers::entries::{event_of_form, take};
use crate::handlers::machine::{self, About, Said};
use crate::photo::{self, LARGEST_PHOTO, Photo};
use crate::problem::Problem;
use crate::query::Params;
use crate::stored_curve;

/// A table of three thousand lines of forty characters and the fields around it, or a photo.
pub(crate) const LARGEST_UPLOAD: usize = LARGEST_PHOTO + 256 * 1024;

const MULTIPART: &str = "multipart/form-data";

/// `POST /machines/{id}/tests`
pub(crate) async fn form(
    State(app): State<Arc<App>>,
    Path(id): Path<String>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let machine = app.machine(&id)?.id.clone();
    if body.is_err() {
        app.may(Right::Enter)?;
        return back(&app, &machine, Problem::too_large(LARGEST_UPLOAD)).await;
    }
    let (by, body) = admit(&app, Right::Enter, &headers, body, MULTIPART)?;
    match enter(&app, by, &machine, &headers, body).await {
        Ok(()) => {
            Ok(Redirect::to(&format!("/machines/{machine}?entered=temper-test#test-title")).into_response())
        }
        Err(problem) => back(&app, &machine, problem).await,
    }
}

/// Answers when everything is on disk.
async fn enter(
    app: &App,
    by: By,
    machine: &MachineId,
    headers: &HeaderMap,
    body: Bytes,
) -> Result<(), Problem> {
    let Entry { mut event, photo, stored } = entry_of(headers, body).await?;
    if let Some(asked) = stored {
        stored_curve::add(app, machine, &asked, &mut event).await?;
    }
    let event = take(app, &by, machine, event.to_string().as_bytes()).await?;
    let Some(Photo { media_type, bytes }) = photo else { return Ok(()) };
    let photo = StoredPhoto { media_type: media_type.to_owned(), bytes };
    let kept =
        app.write_records(move |records| records.keep_photo(&by, &event.machine, event.at, &photo)).await;
    kept.map_err(|problem| Problem {
        sentence: "The test has been entered; its photo could not be put on disk.".to_owned(),
        ..problem
    })
}

/// What a form holds.
struct Entry {
    event: Value,
    photo: Option<Photo>,
    /// A curve that has to be taken from the store.
    stored: Option<Params>,
}

/// The page again, with what was wrong above the form.
async fn back(app: &App, machine: &MachineId, problem: Problem) -> Result<Response, Problem> {
    let said = Said { message: None, fault: Some(problem.sentence), about: About::Test };
    let page = machine::show_with(app, machine.as_str(), said).await?;
    Ok((problem.status, page).into_response())
}

/// The event that a form of several parts holds.
async fn entry_of(headers: &HeaderMap, body: Bytes) -> Result<Entry, Problem> {
    let unreadable =
        |says: String| Problem::refused("bad-event", format!("The form cannot be read: {says}."));
    let mut request = Request::new(Body::from(body));
    if let Some(kind) = headers.get(header::CONTENT_TYPE) {
        request.headers_mut().insert(header::CONTENT_TYPE, kind.clone());
    }
    let parts = Multipart::from_request(request, &()).await;
    let mut parts = parts.map_err(|fault| unreadable(fault.body_text()))?;
    let (mut fields, mut table, mut photo) = (Vec::new(), None, None);
    while let Some(part) = parts.next_field().await.map_err(|fault| unreadable(fault.body_text()))? {
        let name = part.name().unwrap_or_default().to_owned();
        let bytes = part.bytes().await.map_err(|fault| unreadable(fault.body_text()))?;
        if bytes.is_empty() {
            continue;
        }
        match name.as_str() {
            "table" => table = Some(bytes),
            "photo" => {
                let refused =
                    |says| Problem::refused("bad-photo", format!("The photo cannot be taken: {says}."));
                photo = Some(photo::stripped(&bytes).map_err(refused)?);
            }
            _ => fields.push((name, String::from_utf8_lossy(&bytes).into_owned())),
        }
    }
    let stored = stored_curve::asked(&mut fields);
    let mut event = event_of_form(&Params::of(fields))?;
    event["event"] = json!("temper-test");
    if let Some(table) = table {
        let refused = |says: String| {
            Problem::refused("bad-curve", format!("The cooling curve cannot be read: {says}."))
        };
        let text =
            std::str::from_utf8(&table).map_err(|_| refused("the file is not text in UTF-8".to_owned()))?;
        let points = wire::curve_of_table(text).map_err(refused)?;
        event["curve"] = points.into_iter().map(|(seconds, celsius)| json!([seconds, celsius])).collect();
    }
    Ok(Entry { event, photo, stored })
}

/// `/photos/{machine}/{at}`, where `at` is in milliseconds since 1970.
pub(crate) async fn photo(
    State(app): State<Arc<App>>,
    Path((machine, at)): Path<(String, i64)>,
) -> Result<Response, Problem> {
    let machine = app.machine(&machine)?.id.clone();
    let photo = app.ask_records(move |records| records.photo(&machine, Timestamp::from_millis(at))).await?;
    let photo =
        photo.ok_or_else(|| Problem::not_found("no-such-photo", "There is no photo of that test."))?;
    Ok(([(header::CONTENT_TYPE, photo.media_type)], photo.bytes).into_response())
}
