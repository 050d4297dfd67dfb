//! Who a request comes from.
//!
//! A person is known by the cookie of a session, a program by its key (`Authorization: Bearer`, RFC 6750). Like the reader's degrees, the
//! visitor goes along with everything that is done for the request, so that a page can say who is signed in. Looked up at every request:
//! whoever is shut out is out at once.

use std::net::{IpAddr, Ipv6Addr};
use std::sync::Arc;

use axum::extract::connect_info::ConnectInfo;
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};
use records::{Actor, Key, Role, Session, UserName, Way};
use serde::Serialize;

use crate::access::rights::a_role;
use crate::app::App;
use crate::problem::Problem;
use crate::server::Peer;
use crate::state::Reading;

/// The cookie of a session, and its name where it goes over TLS alone: the prefix lets no other host or path set it (RFC 6265bis, 4.1.3.2).
const COOKIE: &str = "hd-session";
const SECURE_COOKIE: &str = "__Host-hd-session";

tokio::task_local! {
    static VISITOR: Option<Arc<Visitor>>;
}

/// Somebody who is known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Visitor {
    pub(crate) name: UserName,
    pub(crate) role: Role,
    pub(crate) way: Way,
}

impl Visitor {
    /// Who asks for what is being done now.
    pub(crate) fn now() -> Option<Arc<Visitor>> {
        VISITOR.try_with(Clone::clone).unwrap_or_default()
    }

    /// Does `make` for a visitor, or for nobody who is known.
    pub(crate) fn while_making<T>(visitor: Option<Arc<Visitor>>, make: impl FnOnce() -> T) -> T {
        VISITOR.sync_scope(visitor, make)
    }

    pub(crate) fn actor(&self) -> Actor {
        Actor::User(self.name.clone(), self.way.clone())
    }

    /// Is it a program with a key?
    pub(crate) fn is_program(&self) -> bool {
        match self.way {
            Way::Token(_) => true,
            Way::Password | Way::Pin => false,
        }
    }

    /// Did they sign in themselves, with their password?
    pub(crate) fn has_password(&self) -> bool {
        self.way == Way::Password
    }

    #[cfg(test)]
    pub(crate) fn made_up(name: &str, role: Role, way: Way) -> Visitor {
        Visitor { name: name.parse().unwrap(), role, way }
    }
}

impl From<Session> for Visitor {
    fn from(session: Session) -> Visitor {
        Visitor { name: session.user, role: session.role, way: session.way }
    }
}

/// The visitor, for templates.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct VisitorView {
    pub name: String,
    /// `a worker`
    pub role: &'static str,
    pub by_pin: bool,
}

impl VisitorView {
    pub(crate) fn now() -> Option<VisitorView> {
        let visitor = Visitor::now()?;
        Some(VisitorView {
            name: visitor.name.to_string(),
            role: a_role(visitor.role),
            by_pin: visitor.way == Way::Pin,
        })
    }
}

/// Every request is answered for its visitor; where reading is for those who have signed in, others are shown the door.
pub(crate) async fn for_its_visitor(State(app): State<Arc<App>>, request: Request, next: Next) -> Response {
    let visitor = match known(&app, request.headers()).await {
        Ok(visitor) => visitor,
        Err(problem) => return problem.into_response(),
    };
    if visitor.is_none() && app.reading == Reading::SignedIn && !is_open_to_all(request.uri().path()) {
        return door(&request);
    }
    VISITOR.scope(visitor.map(Arc::new), next.run(request)).await
}

/// The way in, what it looks like, and whether the service is well: a monitor asks for that, and it names nobody.
fn is_open_to_all(path: &str) -> bool {
    path == "/sign-in" || path == "/healthz" || path.starts_with("/assets/")
}

fn door(request: &Request) -> Response {
    let path = request.uri().path();
    let is_page =
        request.method() == axum::http::Method::GET && !path.starts_with("/api/") && path != "/metrics";
    if !is_page {
        return Problem::sign_in_needed_to_read().into_response();
    }
    let wanted = request.uri().path_and_query().map_or("/", |wanted| wanted.as_str());
    let to: String = form_urlencoded::byte_serialize(wanted.as_bytes()).collect();
    Redirect::to(&format!("/sign-in?to={to}")).into_response()
}

async fn known(app: &App, headers: &HeaderMap) -> Result<Option<Visitor>, Problem> {
    let now = app.now();
    if let Some(given) = headers.get(header::AUTHORIZATION) {
        let given = given.to_str().ok().and_then(|given| given.split_once(' '));
        let key =
            given.filter(|(scheme, _)| scheme.eq_ignore_ascii_case("bearer")).map(|(_, key)| key.trim());
        let key = Key::from_lookup(key.ok_or_else(Problem::unknown_key)?);
        let token = app.ask_records(move |records| records.token(&key)).await?;
        let token = token.ok_or_else(Problem::unknown_key)?;
        return Ok(Some(Visitor { name: token.user, role: token.role, way: Way::Token(token.name) }));
    }
    let Some(key) = session_key(app, headers) else { return Ok(None) };
    let session = app.ask_records(move |records| records.session(&key, now)).await?;
    Ok(session.map(Visitor::from))
}

/// The key in the cookie.
pub(crate) fn session_key(app: &App, headers: &HeaderMap) -> Option<Key> {
    let name = cookie_name(app);
    let lines = headers.get_all(header::COOKIE).iter().filter_map(|line| line.to_str().ok());
    let pairs = lines.flat_map(|line| line.split(';')).filter_map(|pair| pair.trim().split_once('='));
    pairs
        .filter(|(given, value)| *given == name && !value.is_empty())
        .map(|(_, key)| Key::from_lookup(key))
        .next()
}

fn cookie_name(app: &App) -> &'static str {
    if app.is_behind_tls() { SECURE_COOKIE } else { COOKIE }
}

/// The cookie that keeps `key` in the browser.
pub(crate) fn cookie_of(app: &App, key: &Key, session: &Session) -> HeaderValue {
    cookie(app, key.as_str(), session.longest().as_millis() / 1000)
}

/// The cookie that forgets it.
pub(crate) fn no_cookie(app: &App) -> HeaderValue {
    cookie(app, "", 0)
}

fn cookie(app: &App, value: &str, seconds: i64) -> HeaderValue {
    let secure = if app.is_behind_tls() { "; Secure" } else { "" };
    let name = cookie_name(app);
    let text = format!("{name}={value}; Path=/; Max-Age={seconds}; HttpOnly; SameSite=Strict{secure}");
    HeaderValue::from_str(&text).expect("a key is hexadecimal digits")
}

/// From where a request comes, as far as we can tell. Of an IPv6 address the network alone, because a host has as many addresses there as it
/// likes. Behind a proxy, what the proxy says of its caller.
pub(crate) fn from_where(app: &App, request: &axum::http::Extensions, headers: &HeaderMap) -> String {
    let peer = request.get::<ConnectInfo<Peer>>().map(|ConnectInfo(Peer(address))| *address);
    let told = headers.get_all("x-forwarded-for").iter().next_back().and_then(|line| line.to_str().ok());
    let told = told.and_then(|line| line.rsplit(',').next()).and_then(|last| last.trim().parse().ok());
    let is_proxy = app.origin.is_some() && peer.is_none_or(|peer| peer.is_loopback());
    match told.filter(|_| is_proxy).or(peer) {
        Some(address) => network_of(address),
        None => "unknown".to_owned(),
    }
}

fn network_of(address: IpAddr) -> String {
    match address.to_canonical() {
        IpAddr::V4(address) => address.to_string(),
        IpAddr::V6(address) => {
            let [a, b, c, d, ..] = address.segments();
            format!("{}/64", Ipv6Addr::new(a, b, c, d, 0, 0, 0, 0))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hosts_are_told_apart_as_far_as_they_can_be() {
        for (address, expected) in [
            ("192.0.2.7", "192.0.2.7"),
            ("::ffff:192.0.2.7", "192.0.2.7"),
            ("2001:db8:1:2:aaaa::1", "2001:db8:1:2::/64"),
        ] {
            assert_eq!(network_of(address.parse().unwrap()), expected);
        }
    }
}
