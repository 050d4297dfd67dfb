//! How the service itself is, as page and as figures.

use axum::http::{StatusCode, header};
use web::Entries;

use crate::works::works;

#[tokio::test]
async fn the_health_page_tells_figures_and_gaps() {
    let page = works(Entries::Closed).get("/health").await;
    assert_eq!(page.status, StatusCode::OK);
    let told = [
        "7\u{202f}200",
        "1.2\u{a0}s",
        "12.3\u{a0}GB",
        "the broker had no session for us",
        "Nothing is missing.",
    ];
    for words in told {
        assert!(page.text.contains(words), "{words}: {}", page.text);
    }
}

#[tokio::test]
async fn figures_go_out_as_open_metrics() {
    let metrics = works(Entries::Closed).get("/metrics").await;
    assert_eq!(metrics.status, StatusCode::OK);
    let media_type = metrics.headers[header::CONTENT_TYPE].to_str().unwrap();
    assert!(media_type.starts_with("application/openmetrics-text"), "{media_type}");
    assert!(metrics.text.ends_with("# EOF\n"));
}
