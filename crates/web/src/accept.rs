//! What a caller says that it would like to have (`Accept`; RFC 9110, 12.5.1).
//!
//! Only what is named counts: `*/*` is what programs send that do not care, and browsers name what they show.

use axum::http::{HeaderMap, header};

/// How much the caller wants this media type, from 0 to 1; 0 where it does not name it.
pub(crate) fn wish(headers: &HeaderMap, media_type: &str) -> f32 {
    let lines = headers.get_all(header::ACCEPT).iter().filter_map(|line| line.to_str().ok());
    let named = lines.flat_map(|line| line.split(',')).filter_map(|range| {
        let mut parts = range.split(';').map(str::trim);
        parts.next().filter(|name| name.eq_ignore_ascii_case(media_type))?;
        let weight = parts.find_map(|part| part.strip_prefix("q=").or(part.strip_prefix("Q=")));
        weight.map_or(Some(1.0), |weight| weight.parse().ok())
    });
    named.fold(0.0, f32::max)
}

/// A person with a browser, who is to get a page: it is asked for, and no document is wanted more.
pub(crate) fn wants_page(headers: &HeaderMap) -> bool {
    let page = wish(headers, "text/html");
    let document = ["application/problem+json", "application/json"].map(|document| wish(headers, document));
    0.0 < page && document.iter().all(|document| *document <= page)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asking(accept: &str) -> HeaderMap {
        [(header::ACCEPT, accept.parse().unwrap())].into_iter().collect()
    }

    #[test]
    fn a_wish_is_what_is_named_with_its_weight() {
        let scraper = asking(
            "application/openmetrics-text;version=1.0.0;q=0.5,text/plain;version=0.0.4;q=0.3,*/*;q=0.1",
        );
        assert_eq!(wish(&scraper, "application/openmetrics-text"), 0.5);
        assert_eq!(wish(&scraper, "text/plain"), 0.3);
        assert_eq!(wish(&scraper, "text/html"), 0.0);
        assert_eq!(wish(&HeaderMap::new(), "text/html"), 0.0);
        assert_eq!(wish(&asking("Text/HTML ; q=lots, text/html;q=0.2"), "text/html"), 0.2);
    }

    #[test]
    fn browsers_want_pages_and_programs_do_not() {
        let browser = "text/html,application/xhtml+xml,application/xml;q=0.9,image/avif,*/*;q=0.8";
        assert!(wants_page(&asking(browser)));
        for program in
            ["*/*", "application/json", "application/problem+json, text/html;q=0.5", "text/html;q=0"]
        {
            assert!(!wants_page(&asking(program)), "{program}");
        }
        assert!(!wants_page(&HeaderMap::new()));
    }
}
