//! Does a request come from a page of this service?
//!
//! A browser sends the cookie of a session with every request to this host, whoever's page made it. So a request that changes something and
//! rests on a cookie must prove that a page of ours made it. Three things hold, each by itself enough in today's browsers:
//!
//! 1. the cookie is `SameSite=Strict`, so that it does not come along from another site at all;
//! 2. `Sec-Fetch-Site` says `same-origin`: a browser sets it, no page can. Browsers send it over TLS and on loopback;
//! 3. where it is missing, `Origin` is our own: browsers send it with every POST.
//!
//! Without either of the last two the request is refused, so that nothing slips through because a header is missing. This is what OWASP's cheat
//! sheet on cross-site request forgery describes under Fetch Metadata with Origin as fallback; a token in each form would prove the same thing a
//! second time, and would break the back button of a tablet that changed hands. A neighbour on another port of this host is another origin and is
//! refused, too.
//!
//! On loopback in the demo nobody signs in, and there is no cookie to steal. There the *name* under which we were called must be one of this
//! computer: a name that an outsider points here is not ours.

use axum::http::header::HeaderName;
use axum::http::{HeaderMap, header};

/// Set by the browser: how the page that made a request is related to us (W3C Fetch Metadata).
const FETCH_SITE: HeaderName = HeaderName::from_static("sec-fetch-site");

/// For requests that rest on a cookie. `origin` is how browsers call us where a proxy stands before us; without it we go by the name that the
/// browser used.
pub(crate) fn is_own_page(headers: &HeaderMap, origin: Option<&str>) -> bool {
    let from = text(headers, header::ORIGIN);
    let from_us = from.map(|from| match origin {
        Some(ours) => from == ours,
        None => host_of(from).is_some() && host_of(from) == text(headers, header::HOST),
    });
    match (text(headers, FETCH_SITE), from_us) {
        (Some("same-origin"), from_us) => from_us.unwrap_or(true),
        (Some(_), _) => false,
        (None, from_us) => from_us.unwrap_or(false),
    }
}

/// For the demo, where whoever sits at this computer may make entries: called under a name of this computer, and by none but a page of ours or a
/// program that is no browser.
pub(crate) fn is_own_page_on_loopback(headers: &HeaderMap) -> bool {
    let Some(host) = text(headers, header::HOST) else { return false };
    let name = host.rsplit_once(':').map_or(host, |(name, port)| {
        if port.bytes().all(|byte| byte.is_ascii_digit()) { name } else { host }
    });
    let ours = matches!(name, "localhost" | "127.0.0.1" | "[::1]");
    let from_us = match headers.get(header::ORIGIN) {
        None => true,
        Some(_) => {
            text(headers, header::ORIGIN).and_then(|origin| origin.strip_prefix("http://")) == Some(host)
        }
    };
    let not_foreign = text(headers, FETCH_SITE).is_none_or(|site| site == "same-origin");
    ours && from_us && not_foreign
}

fn text(headers: &HeaderMap, name: HeaderName) -> Option<&str> {
    headers.get(name).and_then(|value| value.to_str().ok())
}

fn host_of(origin: &str) -> Option<&str> {
    origin.strip_prefix("https://").or_else(|| origin.strip_prefix("http://")).filter(|host| !host.is_empty())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(pairs: &[(&'static str, &str)]) -> HeaderMap {
        pairs.iter().map(|(name, value)| (HeaderName::from_static(name), value.parse().unwrap())).collect()
    }

    #[test]
    fn what_rests_on_a_cookie_comes_from_a_page_of_ours() {
        let host = ("host", "works.example:8460");
        let origin = |value| ("origin", value);
        let site = |value| ("sec-fetch-site", value);
        for (given, expected) in [
            (vec![host, origin("http://works.example:8460")], true),
            (vec![host, origin("https://works.example:8460")], true),
            (vec![host, site("same-origin")], true),
            (vec![host, site("same-origin"), origin("http://works.example:8460")], true),
            (vec![host], false),
            (vec![], false),
            (vec![host, origin("http://works.example")], false),
            (vec![host, origin("http://elsewhere.example")], false),
            (vec![host, origin("null")], false),
            (vec![host, site("same-site"), origin("http://works.example:8460")], false),
            (vec![host, site("cross-site")], false),
            (vec![host, site("none")], false),
            (vec![host, site("same-origin"), origin("http://elsewhere.example")], false),
            (vec![("host", ""), origin("http://")], false),
        ] {
            assert_eq!(is_own_page(&headers(&given), None), expected, "{given:?}");
        }
        let behind_a_proxy = [("host", "127.0.0.1:8460"), origin("https://works.example")];
        assert!(is_own_page(&headers(&behind_a_proxy), Some("https://works.example")));
        assert!(!is_own_page(&headers(&behind_a_proxy), Some("https://other.example")));
    }

    #[test]
    fn in_the_demo_entries_come_from_our_own_page_under_our_own_name() {
        let check = |host: &str, origin: Option<&str>| {
            let mut given = headers(&[("host", host)]);
            if let Some(origin) = origin {
                given.insert(header::ORIGIN, origin.parse().unwrap());
            }
            is_own_page_on_loopback(&given)
        };
        assert!(check("127.0.0.1:8460", None));
        assert!(check("localhost:8460", Some("http://localhost:8460")));
        assert!(check("[::1]:8460", Some("http://[::1]:8460")));
        assert!(!check("127.0.0.1:8460", Some("http://elsewhere.example")));
        assert!(!check("127.0.0.1:8460", Some("null")));
        assert!(!check("elsewhere.example:8460", Some("http://elsewhere.example:8460")));
        assert!(!is_own_page_on_loopback(&HeaderMap::new()));
        let foreign = [("host", "localhost:8460"), ("sec-fetch-site", "cross-site")];
        assert!(!is_own_page_on_loopback(&headers(&foreign)));
    }
}
