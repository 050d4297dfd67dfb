//! Signing in and out, and taking over a device by PIN.
//!
//! All of it works without a script. What is wrong with a name, a password or a PIN is not said: only that they do not fit.

use std::sync::Arc;

use axum::body::Bytes;
use axum::extract::rejection::BytesRejection;
use axum::extract::{FromRequest, Request, State};
use axum::http::{HeaderMap, header};
use axum::response::{Html, IntoResponse, Redirect, Response};
use records::{TakeOver, Way};
use serde::Serialize;

use crate::access::{Visitor, cookie_of, from_where, is_own_page, no_cookie, read, session_key};
use crate::app::App;
use crate::page_file::Shows;
use crate::problem::Problem;
use crate::query::Params;

const FORM: &str = "application/x-www-form-urlencoded";
/// Longer than any page of ours is called.
const LONGEST_WAY_BACK: usize = 500;

#[derive(Serialize)]
struct Page<T> {
    view: T,
}

#[derive(Default, Serialize)]
struct SignInView {
    /// Where to go afterwards.
    to: String,
    name: String,
    fault: Option<String>,
    /// Does the password go over the network as it is?
    in_the_clear: bool,
    /// May anybody sign in at all?
    has_users: bool,
}

#[derive(Serialize)]
struct PinView {
    to: String,
    fault: Option<String>,
    /// Who may take over here.
    people: Vec<String>,
    opened_by: String,
}

/// `GET /sign-in`
pub(crate) async fn page(
    State(app): State<Arc<App>>,
    params: Params,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    params.only(&["to"])?;
    show(&app, &headers, SignInView { to: way_back(&params), ..SignInView::default() }).await
}

async fn show(app: &App, headers: &HeaderMap, view: SignInView) -> Result<Response, Problem> {
    let users = app.ask_records(|records| records.users()).await?;
    let view = SignInView {
        in_the_clear: !app.is_behind_tls() && !is_called_loopback(headers),
        has_users: users.iter().any(|user| user.is_enabled),
        ..view
    };
    let page = app.page("sign_in", Shows::SignIn)?;
    let mut frame = app.frame("sign_in", "");
    if !app.may_read() {
        // They name brokers and files, which are nothing for a stranger.
        frame.troubles.clear();
        frame.more_pages.clear();
    }
    app.render_page(&page, &frame, &page.title, Page { view }).map(|page| Html(page).into_response())
}

fn is_called_loopback(headers: &HeaderMap) -> bool {
    let host = headers.get(header::HOST).and_then(|host| host.to_str().ok()).unwrap_or_default();
    ["localhost", "127.0.0.1", "[::1]"]
        .iter()
        .any(|name| host.strip_prefix(name).is_some_and(|rest| rest.is_empty() || rest.starts_with(':')))
}

/// `POST /sign-in`
pub(crate) async fn sign_in(State(app): State<Arc<App>>, request: Request) -> Result<Response, Problem> {
    let (from, headers, form) = form_of(&app, request).await?;
    let (name, to) = (typed(&form, "name"), way_back(&form));
    let done = try_to_sign_in(&app, &name, &form, &from).await;
    match done {
        Ok(cookie) => Ok(([(header::SET_COOKIE, cookie)], Redirect::to(&to)).into_response()),
        Err(problem) => {
            let fault = Some(problem.sentence.clone());
            let shown = show(&app, &headers, SignInView { to, name, fault, ..SignInView::default() }).await?;
            Ok(as_told(&problem, shown))
        }
    }
}

async fn try_to_sign_in(
    app: &App,
    name: &str,
    form: &Params,
    from: &str,
) -> Result<axum::http::HeaderValue, Problem> {
    // A password may begin or end with a blank.
    let password = form.exact("password").unwrap_or_default().to_owned();
    let knock = app.door.knock(name, &Way::Password, from, app.now()).await?;
    let (asked, place, now) = (name.to_owned(), from.to_owned(), app.now());
    let opened = app.write_records(move |records| records.sign_in(&asked, &password, &place, now)).await?;
    match opened {
        Some((key, session)) => {
            app.door.was_right(&knock);
            Ok(cookie_of(app, &key, &session))
        }
        None => {
            app.note_failure(name, Way::Password, from).await?;
            Err(Problem::refused("sign-in-failed", "Name and password do not fit."))
        }
    }
}

/// `POST /sign-out`
pub(crate) async fn sign_out(State(app): State<Arc<App>>, request: Request) -> Result<Response, Problem> {
    let (_, headers, _) = form_of(&app, request).await?;
    if let Some(key) = session_key(&app, &headers) {
        let now = app.now();
        app.write_records(move |records| records.sign_out(&key, now)).await?;
    }
    Ok(([(header::SET_COOKIE, no_cookie(&app))], Redirect::to("/sign-in")).into_response())
}

/// `GET /sign-in/pin`
pub(crate) async fn pin_page(State(app): State<Arc<App>>, params: Params) -> Result<Response, Problem> {
    params.only(&["to"])?;
    show_pin(&app, way_back(&params), None).await
}

async fn show_pin(app: &App, to: String, fault: Option<String>) -> Result<Response, Problem> {
    let Some(visitor) = Visitor::now().filter(|visitor| !visitor.is_program()) else {
        return Ok(Redirect::to("/sign-in").into_response());
    };
    let users = app.ask_records(|records| records.users()).await?;
    let others =
        users.into_iter().filter(|user| user.is_enabled && user.has_pin && user.name != visitor.name);
    let people = others.map(|user| user.name.to_string()).collect();
    let view = PinView { to, fault, people, opened_by: visitor.name.to_string() };
    let page = app.page("pin", Shows::Pin)?;
    let frame = app.frame("pin", "");
    app.render_page(&page, &frame, &page.title, Page { view }).map(|page| Html(page).into_response())
}

/// `POST /sign-in/pin`
pub(crate) async fn take_over(State(app): State<Arc<App>>, request: Request) -> Result<Response, Problem> {
    let (from, headers, form) = form_of(&app, request).await?;
    let (name, to) = (typed(&form, "name"), way_back(&form));
    match try_to_take_over(&app, &headers, &name, &form, &from).await {
        Ok(TakeOver::Done(key, session)) => {
            let cookie = cookie_of(&app, &key, &session);
            Ok(([(header::SET_COOKIE, cookie)], Redirect::to(&to)).into_response())
        }
        Ok(TakeOver::Wrong) => {
            app.note_failure(&name, Way::Pin, &from).await?;
            let problem = Problem::refused("pin-failed", "Name and PIN do not fit.");
            Ok(as_told(&problem, show_pin(&app, to, Some(problem.sentence.clone())).await?))
        }
        Ok(TakeOver::SignedOut) => {
            app.note_failure(&name, Way::Pin, &from).await?;
            Ok(([(header::SET_COOKIE, no_cookie(&app))], Redirect::to("/sign-in")).into_response())
        }
        Ok(TakeOver::NobodySignedIn) => Ok(Redirect::to("/sign-in").into_response()),
        Err(problem) => Ok(as_told(&problem, show_pin(&app, to, Some(problem.sentence.clone())).await?)),
    }
}

async fn try_to_take_over(
    app: &App,
    headers: &HeaderMap,
    name: &str,
    form: &Params,
    from: &str,
) -> Result<TakeOver, Problem> {
    let Some(key) = session_key(app, headers) else { return Ok(TakeOver::NobodySignedIn) };
    let knock = app.door.knock(name, &Way::Pin, from, app.now()).await?;
    let (asked, pin, now) = (name.to_owned(), typed(form, "pin"), app.now());
    let done = app.write_records(move |records| records.take_over(&key, &asked, &pin, now)).await?;
    match done {
        TakeOver::Done(..) => app.door.was_right(&knock),
        TakeOver::Wrong | TakeOver::SignedOut | TakeOver::NobodySignedIn => {}
    }
    Ok(done)
}

/// A form of these pages: from where it comes, and what it says.
async fn form_of(app: &App, request: Request) -> Result<(String, HeaderMap, Params), Problem> {
    let (parts, body) = request.into_parts();
    if !is_own_page(&parts.headers, app.origin.as_deref()) {
        return Err(Problem::foreign_origin());
    }
    let from = from_where(app, &parts.extensions, &parts.headers);
    let body: Result<Bytes, BytesRejection> =
        Bytes::from_request(Request::from_parts(parts.clone(), body), &()).await;
    let body = read(&parts.headers, body, FORM)?;
    Ok((from, parts.headers, Params::parse(&String::from_utf8_lossy(&body))))
}

fn typed(form: &Params, name: &str) -> String {
    form.text(name).unwrap_or_default().to_owned()
}

/// The page that the visitor came from: one of ours, or the floor.
fn way_back(params: &Params) -> String {
    let ours = |to: &&str| {
        to.len() <= LONGEST_WAY_BACK
            && to.starts_with('/')
            && !to.starts_with("//")
            && to.bytes().all(|byte| byte.is_ascii_graphic() && byte != b'\\')
    };
    params.text("to").filter(ours).unwrap_or("/").to_owned()
}

/// The page with the status of what went wrong.
fn as_told(problem: &Problem, page: Response) -> Response {
    let mut response = (problem.status, page).into_response();
    if let Some(seconds) = problem.after_seconds {
        response.headers_mut().insert(header::RETRY_AFTER, seconds.into());
    }
    response
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_way_back_leads_to_a_page_of_ours() {
        let back = |to: &str| {
            let query: String = form_urlencoded::byte_serialize(to.as_bytes()).collect();
            way_back(&Params::parse(&format!("to={query}")))
        };
        for ours in ["/", "/machines/alder?span=3h#entries-title", "/weeks/2026-W09"] {
            assert_eq!(back(ours), ours);
        }
        for other in [
            "",
            "//elsewhere.example",
            "https://elsewhere.example",
            "/\\elsewhere.example",
            "machines",
            "/a b",
            "/\r\nx: y",
        ] {
            assert_eq!(back(other), "/", "{other}");
        }
    }

    #[test]
    fn loopback_is_known_by_its_names_alone() {
        let called =
            |host: &str| is_called_loopback(&HeaderMap::from_iter([(header::HOST, host.parse().unwrap())]));
        assert!(called("127.0.0.1:8460") && called("localhost") && called("[::1]:8460"));
        assert!(!called("localhost.elsewhere.example") && !called("works.example:8460"));
    }
}
