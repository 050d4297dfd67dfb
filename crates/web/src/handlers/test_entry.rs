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
use plant::Machine;
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
use crate::typed::{self, Typed};

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
        return back(&app, &machine, &Params::default(), Problem::too_large(LARGEST_UPLOAD)).await;
    }
    let (by, body) = admit(&app, Right::Enter, &headers, body, MULTIPART)?;
    let sent = match Sent::read(&headers, body).await {
        Ok(sent) => sent,
        Err(problem) => return back(&app, &machine, &Params::default(), problem).await,
    };
    let typed = Params::of(sent.fields.clone());
    match enter(&app, by, app.machine(&id)?, sent).await {
        Ok(()) => {
            Ok(Redirect::to(&format!("/machines/{machine}?entered=temper-test#test-title")).into_response())
        }
        Err(problem) => back(&app, &machine, &typed, problem).await,
    }
}

/// Answers when everything is on disk.
async fn enter(app: &App, by: By, machine: &Machine, sent: Sent) -> Result<(), Problem> {
    let Entry { mut event, photo, stored } = sent.entry()?;
    if let Some(asked) = stored {
        stored_curve::add(app, &machine.id, &asked, &mut event).await?;
    }
    typed::check(app, machine, &by, &event).await?;
    let event = take(app, &by, &machine.id, event.to_string().as_bytes()).await?;
    let Some(Photo { media_type, bytes }) = photo else { return Ok(()) };
    let photo = StoredPhoto { media_type: media_type.to_owned(), bytes };
    let kept =
        app.write_records(move |records| records.keep_photo(&by, &event.machine, event.at, &photo)).await;
    kept.map_err(|problem| Problem {
        sentence: "The test has been entered; its photo could not be put on disk.".to_owned(),
        ..problem
    })
}

/// The page again, with what was typed and what was wrong.
async fn back(
    app: &App,
    machine: &MachineId,
    fields: &Params,
    problem: Problem,
) -> Result<Response, Problem> {
    let (typed, fault) = Typed::refused(app.scene(), fields, &problem);
    let said = Said { message: None, fault, about: About::Test, typed };
    let page = machine::show_with(app, machine.as_str(), said).await?;
    Ok((problem.status, page).into_response())
}

/// The parts of a form, as they came.
struct Sent {
    fields: Vec<(String, String)>,
    table: Option<Bytes>,
    photo: Option<Bytes>,
}

/// What a form holds.
struct Entry {
    event: Value,
    photo: Option<Photo>,
    /// A curve that has to be taken from the store.
    stored: Option<Params>,
}

impl Sent {
    async fn read(headers: &HeaderMap, body: Bytes) -> Result<Sent, Problem> {
        let unreadable =
            |says: String| Problem::refused("bad-event", format!("The form cannot be read: {says}."));
        let mut request = Request::new(Body::from(body));
        if let Some(kind) = headers.get(header::CONTENT_TYPE) {
            request.headers_mut().insert(header::CONTENT_TYPE, kind.clone());
        }
        let parts = Multipart::from_request(request, &()).await;
        let mut parts = parts.map_err(|fault| unreadable(fault.body_text()))?;
        let mut sent = Sent { fields: Vec::new(), table: None, photo: None };
        while let Some(part) = parts.next_field().await.map_err(|fault| unreadable(fault.body_text()))? {
            let name = part.name().unwrap_or_default().to_owned();
            let bytes = part.bytes().await.map_err(|fault| unreadable(fault.body_text()))?;
            match name.as_str() {
                _ if bytes.is_empty() => {}
                "table" => sent.table = Some(bytes),
                "photo" => sent.photo = Some(bytes),
                _ => sent.fields.push((name, String::from_utf8_lossy(&bytes).into_owned())),
            }
        }
        Ok(sent)
    }

    fn entry(self) -> Result<Entry, Problem> {
        let Sent { mut fields, table, photo } = self;
        let stored = stored_curve::asked(&mut fields);
        let fields = Params::of(fields);
        let mut event = event_of_form(&fields)?;
        event["event"] = json!("temper-test");
        match (fields.text("form"), &table, &stored) {
            (Some("table"), None, _) => {
                return Err(Problem::refused(
                    "bad-curve",
                    "`table` is missing; choose the file with the curve.",
                ));
            }
            (Some("channel"), _, None) => {
                return Err(Problem::refused(
                    "bad-curve",
                    "`channel` is missing; choose where the sample's probe reports.",
                ));
            }
            _ => {}
        }
        if let Some(table) = table {
            let refused = |says: String| {
                Problem::refused("bad-curve", format!("The cooling curve cannot be read: {says}."))
            };
            let text = std::str::from_utf8(&table)
                .map_err(|_| refused("the file is not text in UTF-8".to_owned()))?;
            let points = wire::curve_of_table(text).map_err(refused)?;
            event["curve"] = points.into_iter().map(|(seconds, celsius)| json!([seconds, celsius])).collect();
        }
        let refused = |says| Problem::refused("bad-photo", format!("The photo cannot be taken: {says}."));
        let photo = photo.map(|bytes| photo::stripped(&bytes)).transpose().map_err(refused)?;
        Ok(Entry { event, photo, stored })
    }
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
