//! How the service itself is, as page and as figures.

use axum::http::StatusCode;
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
async fn figures_go_out_as_prometheus_text_and_as_open_metrics_to_who_asks_for_it() {
    let works = works(Entries::Closed);
    for accept in [
        "*/*",
        "text/plain;version=0.0.4",
        "text/html",
        "application/openmetrics-text;q=0",
        "application/openmetrics-text;q=0.2,text/plain;q=0.5",
    ] {
        let metrics = works.get_accepting("/metrics", accept).await;
        let media_type = metrics.header("content-type");
        assert_eq!(media_type, "text/plain; version=0.0.4; charset=utf-8", "{accept}");
        assert_eq!((metrics.status, metrics.text.as_str()), (StatusCode::OK, "Prometheus\n"), "{accept}");
    }
    let scraper = "application/openmetrics-text;version=1.0.0;q=0.5,text/plain;version=0.0.4;q=0.3,*/*;q=0.1";
    let metrics = works.get_accepting("/metrics", scraper).await;
    assert_eq!(metrics.header("content-type"), "application/openmetrics-text; version=1.0.0; charset=utf-8");
    assert_eq!(metrics.text, "OpenMetrics\n");
}
