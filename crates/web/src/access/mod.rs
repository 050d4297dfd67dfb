//! Who may do what here, and how somebody is known.
//!
//! - `rights`: the one table of who may do what.
//! - `visitor`: who a request comes from: a signed-in person, a program with a key, or nobody that is known.
//! - `origin`: does a request come from a page of this service?
//! - `door`: signing in, slowly and not too often.
//!
//! Every handler that changes something calls `admit`, and nothing else decides. It answers *who* does it and when, which the records ask for
//! and the audit trail keeps.

mod door;
mod origin;
mod rights;
mod visitor;

use axum::body::Bytes;
use axum::extract::rejection::BytesRejection;
use axum::http::{HeaderMap, header};
use records::{Actor, By};

pub(crate) use crate::access::door::Door;
pub(crate) use crate::access::origin::{is_own_page, is_own_page_on_loopback};
pub(crate) use crate::access::rights::{Right, RightsView, TABLE, a_role, needs};
pub(crate) use crate::access::visitor::{
    Visitor, VisitorView, cookie_of, for_its_visitor, from_where, no_cookie, session_key,
};
use crate::app::App;
use crate::problem::Problem;
use crate::router::LARGEST_BODY;
use crate::state::{Entries, Reading};

impl App {
    /// Who does this now, if they may.
    pub(crate) fn may(&self, right: Right) -> Result<By, Problem> {
        let actor = match (Visitor::now(), self.entries) {
            (Some(visitor), _) => {
                rights::check(&visitor, right)?;
                visitor.actor()
            }
            (None, Entries::OpenOnLoopback) => Actor::Loopback,
            (None, Entries::Closed) => return Err(Problem::sign_in_needed()),
        };
        Ok(By::new(actor, self.now()))
    }

    /// May whoever asks now read?
    pub(crate) fn may_read(&self) -> bool {
        self.reading == Reading::Open || Visitor::now().is_some()
    }

    /// Does the request come from where this visitor's requests may come from?
    fn comes_from_us(&self, headers: &HeaderMap) -> Result<(), Problem> {
        let (ours, problem) = match Visitor::now() {
            // A key is nothing that a browser sends by itself.
            Some(visitor) if visitor.is_program() => return Ok(()),
            Some(_) => (is_own_page(headers, self.origin.as_deref()), Problem::foreign_origin()),
            None => (is_own_page_on_loopback(headers), Problem::foreign_origin_on_loopback()),
        };
        if ours { Ok(()) } else { Err(problem) }
    }
}

/// May this request do what it asks for, and is its body what we read? Answers who asks, and the body.
pub(crate) fn admit(
    app: &App,
    right: Right,
    headers: &HeaderMap,
    body: Result<Bytes, BytesRejection>,
    media_type: &str,
) -> Result<(By, Bytes), Problem> {
    let by = app.may(right)?;
    app.comes_from_us(headers)?;
    Ok((by, read(headers, body, media_type)?))
}

/// The body, if it is of the kind that we read.
pub(crate) fn read(
    headers: &HeaderMap,
    body: Result<Bytes, BytesRejection>,
    media_type: &str,
) -> Result<Bytes, Problem> {
    let given = headers.get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or_default();
    let given = given.split(';').next().unwrap_or_default().trim();
    if !given.eq_ignore_ascii_case(media_type) {
        return Err(Problem::wrong_media_type(media_type));
    }
    body.map_err(|_| Problem::too_large(LARGEST_BODY))
}
