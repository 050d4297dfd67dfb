//! What programs get.

use axum::http::StatusCode;
use web::Entries;

use crate::works::works;

#[tokio::test]
async fn machines_batches_and_findings_are_documents() {
    let works = works(Entries::Closed);
    let machines = works.get("/api/v1/machines").await.json();
    assert_eq!(machines["machines"][0]["id"], "alder");
    assert_eq!(machines["machines"][0]["phase"], "working");
    let batches = works.get("/api/v1/batches?machine=alder&open=yes").await.json();
    assert_eq!(batches["batches"][0]["id"], "alder-2026-03-02T09:00");
    assert_eq!(batches["batches"][0]["measures"]["soak_max_c"], 46.1);
    let batch = works.get("/api/v1/batches/alder-2026-03-02T09:00").await.json();
    assert_eq!(batch["findings"][0]["kind"], "warm-hold");
    let findings = works.get("/api/v1/findings?kind=warm-hold&from=2026-03-02T11:00:00Z").await.json();
    assert_eq!(findings["findings"].as_array().unwrap().len(), 1);
    let none = works.get("/api/v1/findings?kind=scorch").await.json();
    assert_eq!(none["findings"].as_array().unwrap().len(), 0);
}

#[tokio::test]
async fn readings_come_whole_or_thinned() {
    let works = works(Entries::Closed);
    let span = "machine=alder&channel=chocolate&from=2026-03-02T11:50:00Z&to=2026-03-02T12:00:00Z";
    let thinned = works.get(&format!("/api/v1/readings?{span}&points=20")).await.json();
    let readings = thinned["readings"].as_array().unwrap();
    assert!(2 <= readings.len() && readings.len() < 600, "{}", readings.len());
    assert_eq!(thinned["unit"], "°C");
    let whole = works.get(&format!("/api/v1/readings?{span}&format=csv")).await;
    assert_eq!(whole.header("content-type"), "text/csv; charset=utf-8");
    assert_eq!(whole.text.lines().count(), 601);
    assert!(whole.text.starts_with("time,chocolate\n2026-03-02T11:50:00Z,31\n"), "{}", &whole.text[..90]);
}

#[tokio::test]
async fn a_zone_offset_in_a_query_is_understood() {
    let answer = works(Entries::Closed).get("/api/v1/batches?from=2026-03-02T12:00:00%2B01:00").await;
    assert_eq!(answer.status, StatusCode::OK);
}

#[tokio::test]
async fn health_is_a_word_and_its_reasons() {
    let answer = works(Entries::Closed).get("/healthz").await;
    assert_eq!((answer.status, &answer.json()["status"]), (StatusCode::OK, &"ok".into()));
    assert_eq!(answer.json()["health"]["readings"], 7_200);
}
