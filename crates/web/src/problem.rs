//! What a reader is told when something cannot be answered: a code for programs and a plain sentence for people.
//!
//! One type for every fault of every route. It is answered as an RFC 9457 problem document; a browser that opens a page
//! gets a page with the same sentence (`router` turns one into the other). A reader's own mistake is
//! answered and not logged. Ours is answered vaguely and logged once, here, with its cause.
//!
//! Only this crate knows status codes.

use axum::body::Body;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use model::Span;
use serde::Serialize;
use std::fmt::Display;
use tracing::error;

/// A fault as it leaves the program.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Problem {
    pub status: StatusCode,
    pub code: &'static str,
    pub sentence: String,
    /// When to try again, where that is known.
    pub after_seconds: Option<i64>,
}

/// RFC 9457, section 3. `about:blank` means that `title` is the status's own phrase; `code` is our extension.
#[derive(Serialize)]
struct Document<'a> {
    r#type: &'static str,
    title: &'static str,
    status: u16,
    detail: &'a str,
    code: &'static str,
}

impl Problem {
    fn new(status: StatusCode, code: &'static str, sentence: impl Into<String>) -> Problem {
        Problem { status, code, sentence: sentence.into(), after_seconds: None }
    }

    /// A parameter or field is wrong: which one, and what it should be.
    pub(crate) fn bad_request(code: &'static str, sentence: impl Into<String>) -> Problem {
        Problem::new(StatusCode::BAD_REQUEST, code, sentence)
    }

    /// There is no such thing.
    pub(crate) fn not_found(code: &'static str, sentence: impl Into<String>) -> Problem {
        Problem::new(StatusCode::NOT_FOUND, code, sentence)
    }

    /// The address does not do that.
    pub(crate) fn wrong_method() -> Problem {
        Problem::new(
            StatusCode::METHOD_NOT_ALLOWED,
            "method-not-allowed",
            "This address exists but does not take that kind of request.",
        )
    }

    /// Nothing that changes state is open without signing in.
    pub(crate) fn sign_in_needed() -> Problem {
        Problem::new(
            StatusCode::UNAUTHORIZED,
            "sign-in-needed",
            "This can be done by people who have signed in, and by programs with a key.",
        )
    }

    /// Reading, too, is for those who have signed in.
    pub(crate) fn sign_in_needed_to_read() -> Problem {
        Problem::new(
            StatusCode::UNAUTHORIZED,
            "sign-in-needed",
            "Here only people who have signed in may read, and programs with a key.",
        )
    }

    /// A key that opens nothing.
    pub(crate) fn unknown_key() -> Problem {
        Problem::new(
            StatusCode::UNAUTHORIZED,
            "unknown-key",
            "This key is not known here, or has been withdrawn; send it as `Authorization: Bearer KEY`.",
        )
    }

    /// Signed in, but not as one who may do this.
    pub(crate) fn role_may_not(sentence: impl Into<String>) -> Problem {
        Problem::new(StatusCode::FORBIDDEN, "role-may-not", sentence)
    }

    /// Wrong too often: wait.
    pub(crate) fn too_many_tries(wait: Span) -> Problem {
        let seconds = (wait.as_millis() + 999) / 1000;
        let says = crate::words::length(Span::from_secs(seconds));
        let sentence = format!("That was wrong too often. Wait {says}, then try again.");
        let problem = Problem::new(StatusCode::TOO_MANY_REQUESTS, "too-many-tries", sentence);
        Problem { after_seconds: Some(seconds), ..problem }
    }

    /// The request comes from another site.
    pub(crate) fn foreign_origin() -> Problem {
        Problem::new(
            StatusCode::FORBIDDEN,
            "foreign-origin",
            "This is taken only from pages of this service itself; reload the page and try again.",
        )
    }

    /// The request comes from another site or under another name than this computer's own.
    pub(crate) fn foreign_origin_on_loopback() -> Problem {
        Problem::new(
            StatusCode::FORBIDDEN,
            "foreign-origin",
            "Entries are taken only from pages of this service, opened on the computer that it runs on.",
        )
    }

    /// The body is larger than we read.
    pub(crate) fn too_large(limit: usize) -> Problem {
        Problem::new(
            StatusCode::PAYLOAD_TOO_LARGE,
            "too-large",
            format!("The request is larger than the {limit} bytes that are read here."),
        )
    }

    /// The body is of another kind than we read.
    pub(crate) fn wrong_media_type(wanted: &str) -> Problem {
        Problem::new(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "wrong-media-type",
            format!("This address takes {wanted}; say so in the Content-Type header."),
        )
    }

    /// Well-formed, but not something that we can take.
    pub(crate) fn refused(code: &'static str, sentence: impl Into<String>) -> Problem {
        Problem::new(StatusCode::UNPROCESSABLE_ENTITY, code, sentence)
    }

    /// Something else stands in its way, which somebody has to move first.
    pub(crate) fn conflict(code: &'static str, sentence: impl Into<String>) -> Problem {
        Problem::new(StatusCode::CONFLICT, code, sentence)
    }

    /// The same request is there already, without an answer.
    pub(crate) fn underway() -> Problem {
        Problem::new(
            StatusCode::CONFLICT,
            "underway",
            "A request with this Idempotency-Key is being worked on, or was cut off; look whether the entry is there before you send it \
             with another key.",
        )
    }

    /// Cannot be answered now, and why; it goes by itself.
    pub(crate) fn unavailable(code: &'static str, sentence: &str, cause: impl Display) -> Problem {
        error!(code, %cause, "a request could not be answered");
        Problem::new(StatusCode::SERVICE_UNAVAILABLE, code, sentence)
    }

    /// Our own mistake: vague outside, exact in the log.
    pub(crate) fn internal(code: &'static str, cause: impl Display) -> Problem {
        error!(code, %cause, "a request failed");
        Problem::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            code,
            "Something went wrong on our side; it has been written to the log.",
        )
    }

    /// The status's own phrase.
    pub(crate) fn title(&self) -> &'static str {
        self.status.canonical_reason().unwrap_or("Problem")
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let document = Document {
            r#type: "about:blank",
            title: self.title(),
            status: self.status.as_u16(),
            detail: &self.sentence,
            code: self.code,
        };
        let text = serde_json::to_string(&document).expect("words and a number can be written as JSON");
        let mut response = (self.status, Body::from(text)).into_response();
        response
            .headers_mut()
            .insert(header::CONTENT_TYPE, HeaderValue::from_static("application/problem+json"));
        if let Some(seconds) = self.after_seconds {
            response.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from(seconds));
        }
        response.extensions_mut().insert(self);
        response
    }
}
