//! The header `Idempotency-Key`: a program that does not know whether its entry arrived sends it again, and it is entered once.
//!
//! After the IETF's expired draft "The Idempotency-Key HTTP Header Field" (httpapi, 07): the same key and body get the first answer again,
//! another body is 422, and what is still being worked on is 409. Only what was entered is kept: a request that was refused can be mended
//! and sent under the same key. A key belongs to the address and to the caller, so that nobody is given the answer of somebody else.

use std::sync::Arc;

use axum::body::{Body, Bytes, to_bytes};
use axum::extract::{Request, State};
use axum::http::{HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use records::{KeptAnswer, Once};

use crate::access::Right;
use crate::app::App;
use crate::problem::Problem;
use crate::router::LARGEST_BODY;

const KEY: HeaderName = HeaderName::from_static("idempotency-key");

/// A string of RFC 8941 without escapes, in quotation marks; callers that leave those away are understood, too.
pub(crate) const KEY_PATTERN: &str = "^(\"[ !#-\\[\\]-~]{1,200}\"|[!#-\\[\\]-~]{1,200})$";
const LONGEST_KEY: usize = 200;

/// No answer to an entry is longer; a longer one would not be kept.
const LONGEST_ANSWER: usize = 64 * 1024;

/// Said of an answer that was given before.
const REPEATED: HeaderName = HeaderName::from_static("idempotency-replayed");

/// Lets a request with a key through once.
pub(crate) async fn once(State(app): State<Arc<App>>, request: Request, next: Next) -> Response {
    // Whoever may enter nothing is refused behind this, and must not fill the list of keys.
    let may_enter = app.may(Right::Enter).is_ok();
    if request.method() != Method::POST || !request.headers().contains_key(KEY) || !may_enter {
        return next.run(request).await;
    }
    keyed(&app, request, next).await.unwrap_or_else(IntoResponse::into_response)
}

async fn keyed(app: &App, request: Request, next: Next) -> Result<Response, Problem> {
    let key = scoped_key(&request)?;
    let (parts, body) = request.into_parts();
    let body = to_bytes(body, LARGEST_BODY).await.map_err(|_| Problem::too_large(LARGEST_BODY))?;
    let (now, asked, said) = (app.now(), key.clone(), body.clone());
    match app.write_records(move |records| records.begin_once(&asked, &said, now)).await? {
        Once::First => {}
        Once::Done(answer) => return Ok(again(answer)),
        Once::OtherBody => {
            let sentence = "This Idempotency-Key was used for another body; take a new key for a new entry.";
            return Err(Problem::refused("key-used", sentence));
        }
        Once::Begun => return Err(Problem::underway()),
    }
    let response = next.run(Request::from_parts(parts, Body::from(body))).await;
    let (parts, body) = response.into_parts();
    let text = to_bytes(body, LONGEST_ANSWER).await.unwrap_or_else(|_| Bytes::new());
    let kept = parts.status.is_success().then(|| KeptAnswer {
        status: parts.status.as_u16(),
        media_type: media_type(parts.headers.get(header::CONTENT_TYPE)),
        text: String::from_utf8_lossy(&text).into_owned(),
    });
    app.write_records(move |records| records.finish_once(&key, kept.as_ref())).await?;
    Ok(Response::from_parts(parts, Body::from(text)))
}

/// The key with the address and the caller in it, as the records keep it.
fn scoped_key(request: &Request) -> Result<String, Problem> {
    let mut given = request.headers().get_all(KEY).iter();
    let (first, second) = (given.next(), given.next());
    let text = first.filter(|_| second.is_none()).and_then(|key| key.to_str().ok()).unwrap_or_default();
    let bare = match text.strip_prefix('"').and_then(|text| text.strip_suffix('"')) {
        Some(quoted) => Some(quoted),
        None => Some(text).filter(|text| !text.contains(' ')),
    };
    let is_sound = |key: &&str| {
        (1..=LONGEST_KEY).contains(&key.len())
            && key.bytes().all(|byte| (b' '..=b'~').contains(&byte) && byte != b'"' && byte != b'\\')
    };
    let key = bare.filter(is_sound).ok_or_else(|| {
        let sentence = format!(
            "The header Idempotency-Key should stand once and hold up to {LONGEST_KEY} plain characters in quotation marks."
        );
        Problem::bad_request("bad-key", sentence)
    })?;
    let caller = [header::AUTHORIZATION, header::COOKIE].map(|name| {
        request
            .headers()
            .get(name)
            .map_or_else(String::new, |value| String::from_utf8_lossy(value.as_bytes()).into_owned())
    });
    Ok(records::digest_of(&[&caller[0], &caller[1], request.uri().path(), key]))
}

fn media_type(value: Option<&HeaderValue>) -> String {
    value.and_then(|value| value.to_str().ok()).unwrap_or("application/json").to_owned()
}

/// The first answer once more.
fn again(answer: KeptAnswer) -> Response {
    let status = StatusCode::from_u16(answer.status).unwrap_or(StatusCode::OK);
    let media_type = HeaderValue::from_str(&answer.media_type);
    let media_type = media_type.unwrap_or(HeaderValue::from_static("application/json"));
    let headers = [(header::CONTENT_TYPE, media_type), (REPEATED, HeaderValue::from_static("true"))];
    (status, headers, answer.text).into_response()
}
