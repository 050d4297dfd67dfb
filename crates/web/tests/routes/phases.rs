//! What people say of phases: kept beside the program's own, and shown with it.

use axum::body::Body;
use axum::http::{Request, StatusCode};
use model::Phase;
use serde_json::{Value, json};
use web::Entries;

use crate::works::{Works, moment, works};

const BATCH: &str = "alder-2026-03-02T09:00";

fn said(body: &Value) -> Request<Body> {
    Request::post(format!("/api/v1/batches/{BATCH}/phases"))
        .header("host", "127.0.0.1:8460")
        .header("content-type", "application/json")
        .body(Body::from(body.to_string()))
        .unwrap()
}

fn settling() -> Value {
    json!({ "phase": "settling", "from": "2026-03-02T11:00:00Z", "to": "2026-03-02T11:20:00Z",
        "by": "ana", "reason": "the seed was not yet <b>stirred</b> in" })
}

/// As the service does it.
fn work_in(works: &Works) {
    let records = &works.state.records;
    let machines: Vec<_> = works.state.plant.machines.iter().map(|machine| &machine.id).collect();
    for own in records.corrections_due(records::Due::NewWord, &machines).unwrap() {
        let corrections = records.phase_corrections(&own.id).unwrap();
        let mut corrected = own.clone();
        corrected.phases[1].to = Some(moment("11:20"));
        corrected.phases[1].phase = Phase::Settling;
        records.keep_corrected(&own, &corrected, corrections.len()).unwrap();
    }
}

#[tokio::test]
async fn a_correction_is_kept_and_both_are_shown() {
    let works = works(Entries::OpenOnLoopback);
    let answer = works.send(said(&settling())).await;
    assert_eq!(answer.status, StatusCode::CREATED, "{}", answer.text);
    assert_eq!(answer.json()["at"], "2026-03-02T12:00:00Z");
    work_in(&works);

    let document = works.get(&format!("/api/v1/batches/{BATCH}")).await.json();
    assert_eq!(document["phases"][1]["phase"], "settling");
    assert_eq!(document["corrections"]["said"][0]["by"], "ana");
    assert_eq!(document["corrections"]["own_phases"][1]["phase"], "working");

    let page = works.get(&format!("/batches/{BATCH}")).await;
    assert_eq!(page.status, StatusCode::OK);
    for words in ["Corrected by people", "As the program found them", "&lt;b&gt;stirred"] {
        assert!(page.says(words), "{words}");
    }
}

#[tokio::test]
async fn a_batch_of_which_nobody_said_anything_has_no_corrections() {
    let works = works(Entries::OpenOnLoopback);
    let document = works.get(&format!("/api/v1/batches/{BATCH}")).await.json();
    assert_eq!(document.get("corrections"), None);
    assert!(!works.get(&format!("/batches/{BATCH}")).await.says("Corrected by people"));
}

#[tokio::test]
async fn each_bad_correction_has_its_sentence_and_is_not_kept() {
    let works = works(Entries::OpenOnLoopback);
    for (field, value, sentence) in [
        ("phase", json!("resting"), "The field `phase` should be one of idle, melting,"),
        ("from", json!("early"), "The field `from` should be a time such as"),
        ("to", json!("2026-03-02T10:00:00Z"), "is no time of this batch"),
        ("from", json!("2026-03-02T13:00:00Z"), "is no time of this batch"),
        ("by", json!(" "), "The field `by` should be the name of whoever says so"),
        ("reason", json!(null), "The field `reason` should be why it was that phase"),
    ] {
        let mut body = settling();
        body[field] = value;
        let answer = works.send(said(&body)).await;
        assert_eq!(answer.status, StatusCode::BAD_REQUEST, "{field}");
        assert!(answer.says(sentence), "{}", answer.text);
    }
    let id = model::BatchId::from_lookup(BATCH);
    assert_eq!(works.state.records.phase_corrections(&id).unwrap(), []);
}

#[tokio::test]
async fn without_signing_in_nothing_can_be_corrected() {
    let works = works(Entries::Closed);
    assert_eq!(works.send(said(&settling())).await.status, StatusCode::UNAUTHORIZED);
}
