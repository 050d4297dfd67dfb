//! Baselines are shown, and ordered only by those who may.

use std::sync::Arc;

use axum::body::Body;
use axum::http::{Request, StatusCode};
use model::{Baseline, BaselineDeed, BaselineState, Board, Usual};
use serde_json::json;
use web::Entries;

use crate::works::{Works, moment, works};

fn learned() -> Baseline {
    let usual = |median, spread| Some(Usual { median, spread, batches: 7 });
    Baseline {
        machine: "alder".parse().unwrap(),
        couverture: "dark-64".parse().unwrap(),
        state: BaselineState::Learned,
        batches: 7,
        needed: 3,
        since: Some(moment("08:00")),
        by: None,
        used_cooling_minutes: Some(71.4),
        cooling_minutes: usual(71.4, 2.1),
        cooling_minutes_per_kg: None,
        cooling_tau_min: usual(38.2, 1.0),
        settled_c: usual(31.42, 0.05),
        hold_offset_c: None,
        seed_dip_c: usual(3.1, 0.3),
        working_sd_c: usual(0.08, 0.01),
        mass_kg: None,
    }
}

fn with_baseline(works: &Works) {
    let board = Board { baselines: vec![learned()], ..(**works.state.board.borrow()).clone() };
    works.board.send_replace(Arc::new(board));
}

fn order(body: &str) -> Request<Body> {
    Request::post("/api/v1/baselines")
        .header("host", "127.0.0.1:8460")
        .header("content-type", "application/json")
        .body(Body::from(body.to_owned()))
        .unwrap()
}

#[tokio::test]
async fn what_is_usual_is_listed_and_shown() {
    let works = works(Entries::OpenOnLoopback);
    with_baseline(&works);
    let list = works.get("/api/v1/baselines?machine=alder").await.json();
    assert_eq!(list["baselines"][0]["state"], "learned");
    assert_eq!(
        list["baselines"][0]["cooling_minutes"],
        json!({ "median": 71.4, "spread": 2.1, "batches": 7 })
    );
    assert_eq!(works.get("/api/v1/baselines?machine=birch").await.json()["baselines"], json!([]));
    let page = works.get("/machines/alder").await;
    assert!(page.says("7 good batches; 71 min of cooling are usual."), "{}", page.text);
}

#[tokio::test]
async fn an_order_is_on_disk_when_it_is_answered() {
    let works = works(Entries::OpenOnLoopback);
    let body = r#"{"machine":"alder","couverture":"dark-64","order":"freeze","by":"ana"}"#;
    let answer = works.send(order(body)).await;
    assert_eq!(answer.status, StatusCode::CREATED, "{}", answer.text);
    let orders = works.state.records.baseline_orders(None).unwrap();
    assert_eq!(
        (orders.len(), orders[0].deed, orders[0].by.as_deref()),
        (1, BaselineDeed::Freeze, Some("ana"))
    );
}

#[tokio::test]
async fn what_makes_no_order_is_refused_in_a_sentence() {
    let works = works(Entries::OpenOnLoopback);
    for (body, says) in [
        (
            r#"{"machine":"alder","couverture":"dark-99","order":"freeze"}"#,
            "There is no couverture `dark-99` in the plant file.",
        ),
        (
            r#"{"machine":"alder","couverture":"dark-64","order":"burn"}"#,
            "The field `order` should be freeze, learn or reset.",
        ),
        (r#"{"couverture":"dark-64","order":"learn"}"#, "The field `machine` should be the id of a machine."),
    ] {
        let answer = works.send(order(body)).await;
        assert_eq!((answer.status, answer.json()["detail"].as_str()), (StatusCode::BAD_REQUEST, Some(says)));
    }
    assert_eq!(works.state.records.baseline_orders(None).unwrap(), []);
}

#[tokio::test]
async fn nobody_orders_who_has_not_signed_in() {
    let works = works(Entries::Closed);
    let answer = works.send(order(r#"{"machine":"alder","couverture":"dark-64","order":"reset"}"#)).await;
    assert!(answer.status.is_client_error());
    assert_eq!(works.state.records.baseline_orders(None).unwrap(), []);
}
