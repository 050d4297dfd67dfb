//! All addresses, and what holds for every answer: headers that keep a page to itself, a deadline, and faults in the
//! form that the reader can use.

use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::{DefaultBodyLimit, Request, State};
use axum::http::{HeaderName, HeaderValue, StatusCode, header};
use axum::middleware::{Next, from_fn, from_fn_with_state};
use axum::response::{Html, IntoResponse, Response};
use axum::routing::{get, post};
use serde::Serialize;

use crate::accept;
use crate::access::for_its_visitor;
use crate::api;
use crate::app::{App, Frame};
use crate::handlers::test_entry::LARGEST_UPLOAD;
use crate::handlers::{
    self, account, alarms, assets, baselines, batch, bench, compare, day, decisions, display, entries,
    findings, floor, handbook, health, lots, machine, setup, sign_in, smears, test_entry, users, week,
    week_entries,
};
use crate::once::once;
use crate::problem::Problem;
use crate::reader::for_its_reader;

/// The longest event that is read: a cooling curve of three thousand points.
pub(crate) const LARGEST_BODY: usize = 64 * 1024;

/// Nobody waits longer for a page; a request that takes longer gives its place back.
const DEADLINE: Duration = Duration::from_secs(20);

/// What a page may do: show its own files, talk to its own host, send its own forms. Nothing inline, nothing foreign.
const PAGE_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; \
     connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

const HEADERS: [(HeaderName, &str); 6] = [
    (header::CONTENT_SECURITY_POLICY, PAGE_POLICY),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::REFERRER_POLICY, "same-origin"),
    (
        HeaderName::from_static("permissions-policy"),
        "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
    ),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
];

/// Pages stand here; the addresses for programs, `/api/v1/…`, in the table of `api`.
pub(crate) fn routes(app: Arc<App>) -> Router {
    let pages = Router::new()
        .route("/", get(floor::floor))
        .route("/pages/{name}", get(floor::added))
        .route("/machines/{id}", get(machine::page))
        .route("/machines/{id}/{file}", get(machine::curve))
        .route("/machines/{id}/entries", post(entries::form))
        .route("/machines/{id}/baselines", post(baselines::form))
        .route("/machines/{id}/smears", post(smears::form))
        .route("/machines/{id}/tests", post(test_entry::form).layer(DefaultBodyLimit::max(LARGEST_UPLOAD)))
        .route("/photos/{machine}/{at}", get(test_entry::photo))
        .route("/batches/{id}", get(batch::report))
        .route("/batches/{id}/decisions", post(decisions::form))
        .route("/findings", get(findings::page))
        .route("/alarms", get(alarms::page))
        .route("/alarms/acknowledge", post(alarms::acknowledge_form))
        .route("/alarms/shelve", post(alarms::shelve_form))
        .route("/alarms/out-of-service", post(alarms::take_out_form))
        .route("/alarms/take-back", post(alarms::take_back_form))
        .route("/lots", get(lots::page))
        .route("/lots/{lot}", get(lots::one))
        .route("/setup", get(setup::page))
        .route("/setup/checks", post(setup::form))
        .route("/days", get(day::today))
        .route("/days/{date}", get(day::day))
        .route("/weeks", get(week::this_week))
        .route("/weeks/{week}", get(week::week))
        .route("/weeks/{week}/actions", post(week_entries::open_action))
        .route("/weeks/{week}/actions/done", post(week_entries::close_action))
        .route("/weeks/{week}/sign-off", post(week_entries::sign_off))
        .route("/compare", get(compare::page))
        .route("/bench", get(bench::list))
        .route("/bench/{id}", get(bench::page))
        .route("/bench/{id}/entries", post(bench::form))
        .route("/bench/{id}/readings", post(bench::reading))
        .route("/display", get(display::page))
        .route("/sign-in", get(sign_in::page).post(sign_in::sign_in))
        .route("/sign-in/pin", get(sign_in::pin_page).post(sign_in::take_over))
        .route("/sign-out", post(sign_in::sign_out))
        .route("/account", get(account::page))
        .route("/account/keys", post(account::make_key))
        .route("/account/keys/withdraw", post(account::withdraw_key))
        .route("/account/pin", post(account::set_pin))
        .route("/users", get(users::list).post(users::add))
        .route("/users/{name}", get(users::one).post(users::change_one))
        .route("/assets/{name}", get(assets::asset))
        .route("/handbook", get(handbook::page))
        .route("/health", get(health::page))
        .route("/healthz", get(handlers::api::health))
        .route("/metrics", get(health::metrics));
    pages
        .merge(api::routes().layer(from_fn_with_state(app.clone(), once)))
        .layer(from_fn(deadline))
        .merge(api::lasting_routes())
        .fallback(async || Problem::not_found("no-such-page", "There is no such page here."))
        .method_not_allowed_fallback(async || Problem::wrong_method())
        .layer(DefaultBodyLimit::max(LARGEST_BODY))
        .layer(from_fn_with_state(app.clone(), faults_as_pages))
        .layer(from_fn_with_state(app.clone(), for_its_visitor))
        .layer(from_fn(headers))
        .layer(from_fn(for_its_reader))
        .with_state(app)
}

/// Every answer carries the headers; one that set its own keeps it.
async fn headers(request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    for (name, value) in HEADERS {
        response.headers_mut().entry(name).or_insert(HeaderValue::from_static(value));
    }
    if response.status() == StatusCode::UNAUTHORIZED {
        // RFC 9110, 15.5.2: an answer of that status says how one is known here. People have a page for it.
        response.headers_mut().insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
    }
    response.headers_mut().entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}

async fn deadline(request: Request, next: Next) -> Response {
    match tokio::time::timeout(DEADLINE, next.run(request)).await {
        Ok(response) => response,
        Err(elapsed) => Problem::unavailable(
            "too-slow",
            "This took too long; ask for a shorter time, or try again in a minute.",
            elapsed,
        )
        .into_response(),
    }
}

#[derive(Serialize)]
struct ProblemPage<'a> {
    title: &'a str,
    sentence: &'a str,
    code: &'a str,
    status: u16,
    frame: Frame,
}

/// A person who opened a page gets a fault as a page; a program gets it as a problem document.
async fn faults_as_pages(State(app): State<Arc<App>>, request: Request, next: Next) -> Response {
    let for_a_person = wants_page(&request);
    let response = next.run(request).await;
    let Some(problem) = response.extensions().get::<Problem>().filter(|_| for_a_person) else {
        return response;
    };
    let shown = ProblemPage {
        title: problem.title(),
        sentence: &problem.sentence,
        code: problem.code,
        status: problem.status.as_u16(),
        frame: app.frame("problem", ""),
    };
    match app.dashboards.render("problem.html", shown) {
        Ok(page) => (problem.status, Html(page)).into_response(),
        Err(_) => response,
    }
}

/// Addresses for programs, and files, answer with documents; everything else is a page for who asks for one. A program that asks for
/// anything, or for nothing in particular, gets documents of faults everywhere.
fn wants_page(request: &Request) -> bool {
    let path = request.uri().path();
    let for_programs =
        path.starts_with("/api/") || path == "/healthz" || path == "/metrics" || path.starts_with("/assets/");
    let file = [".json", ".svg", ".csv", ".png", ".parquet", ".xlsx", ".pdf"]
        .iter()
        .any(|ending| path.ends_with(ending));
    !for_programs && !file && accept::wants_page(request.headers())
}
