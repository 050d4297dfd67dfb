//! Requests that come again, and pages of lists.

use axum::body::Body;
use axum::http::{Request, StatusCode};
use model::{BatchId, Span};
use records::BatchQuery;
use web::Entries;

use crate::works::{Answer, Sink, Works, works, works_with};

const NOTE: &str = r#"{"machine":"alder","event":"note","text":"stirred"}"#;

impl Works {
    /// Sends a body as a program on this computer does.
    pub(crate) async fn post_json(&self, address: &str, body: &str, headers: &[(&str, &str)]) -> Answer {
        let request = Request::post(address)
            .header("host", "127.0.0.1:8460")
            .header("content-type", "application/json");
        let request = headers.iter().fold(request, |request, (name, value)| request.header(*name, *value));
        self.send(request.body(Body::from(body.to_owned())).unwrap()).await
    }
}

#[tokio::test]
async fn the_same_request_is_entered_once_and_answered_alike() {
    let works = works(Entries::OpenOnLoopback);
    let key = [("idempotency-key", "\"8e03978e-40d5\"")];
    let first = works.post_json("/api/v1/events", NOTE, &key).await;
    assert_eq!(first.status, StatusCode::CREATED, "{}", first.text);
    let again = works.post_json("/api/v1/events", NOTE, &key).await;
    assert_eq!((again.status, &again.text), (first.status, &first.text));
    assert_eq!(again.header("idempotency-replayed"), "true");
    assert_eq!(again.header("content-type"), "application/json");
    assert_eq!(works.sink.taken.lock().unwrap().len(), 1);
    let bare = works.post_json("/api/v1/events", NOTE, &[("idempotency-key", "8e03978e-40d5")]).await;
    assert_eq!(bare.header("idempotency-replayed"), "true", "quotation marks are no part of the key");
}

#[tokio::test]
async fn another_body_under_the_same_key_is_refused() {
    let works = works(Entries::OpenOnLoopback);
    let key = [("idempotency-key", "\"k1\"")];
    works.post_json("/api/v1/events", NOTE, &key).await;
    let other = works.post_json("/api/v1/events", &NOTE.replace("stirred", "poured"), &key).await;
    assert_eq!(other.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(other.json()["code"], "key-used");
    assert_eq!(works.sink.taken.lock().unwrap().len(), 1);
}

#[tokio::test]
async fn what_was_refused_can_be_mended_under_its_key() {
    let works = works(Entries::OpenOnLoopback);
    let key = [("idempotency-key", "\"k2\"")];
    let refused = works.post_json("/api/v1/events", r#"{"machine":"alder","event":"dance"}"#, &key).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(works.post_json("/api/v1/events", NOTE, &key).await.status, StatusCode::CREATED);
}

#[tokio::test]
async fn a_key_is_its_callers_own() {
    let works = works(Entries::OpenOnLoopback);
    for caller in ["hd-session=one", "hd-session=two"] {
        let headers = [("idempotency-key", "\"k3\""), ("cookie", caller)];
        assert_eq!(
            works.post_json("/api/v1/events", NOTE, &headers).await.header("idempotency-replayed"),
            ""
        );
    }
    assert_eq!(works.sink.taken.lock().unwrap().len(), 2);
}

#[tokio::test]
async fn a_key_that_is_none_has_its_sentence() {
    let works = works(Entries::OpenOnLoopback);
    let long = format!("\"{}\"", "k".repeat(201));
    for key in ["", "\"\"", "two words", long.as_str(), "\"a\\b\""] {
        let answer = works.post_json("/api/v1/events", NOTE, &[("idempotency-key", key)]).await;
        assert_eq!(
            (answer.status, &answer.json()["code"]),
            (StatusCode::BAD_REQUEST, &"bad-key".into()),
            "{key}"
        );
    }
}

#[tokio::test]
async fn what_could_not_be_put_on_disk_can_be_tried_again() {
    let config = web::WebConfig { entries: Entries::OpenOnLoopback, ..web::WebConfig::default() };
    let works = works_with(config, Sink { refuses: true, ..Sink::default() });
    for _ in 0..2 {
        let answer = works.post_json("/api/v1/events", NOTE, &[("idempotency-key", "\"k4\"")]).await;
        assert_eq!(answer.json()["code"], "not-durable");
    }
}

#[tokio::test]
async fn pages_of_a_list_follow_each_other_without_a_seam() {
    let works = works(Entries::Closed);
    let first = works.state.records.batches(&BatchQuery::default()).unwrap().remove(0);
    let earlier = |n| {
        let start = first.start - Span::from_hours(n);
        let id = BatchId::new(&first.machine, start);
        model::Batch { id, start, end: Some(start + Span::from_mins(50)), ..first.clone() }
    };
    works.fill((1..=5).map(earlier).collect(), &[]);
    let whole = works.get("/api/v1/batches").await.json();
    let all: Vec<_> = whole["batches"].as_array().unwrap().iter().map(|batch| batch["id"].clone()).collect();
    assert_eq!((all.len(), &whole["next"]), (6, &serde_json::Value::Null));
    let (mut seen, mut address) = (Vec::new(), "/api/v1/batches?limit=2".to_owned());
    loop {
        let page = works.get(&address).await.json();
        seen.extend(page["batches"].as_array().unwrap().iter().map(|batch| batch["id"].clone()));
        let Some(next) = page["next"].as_str() else { break };
        address = format!("/api/v1/batches?limit=2&after={next}");
    }
    assert_eq!(seen, all);
    let fault = works.get("/api/v1/batches?after=yesterday").await.json();
    assert_eq!(
        fault["detail"],
        "The parameter `after` is `yesterday`; it should be the `next` of the page before."
    );
}
