//! What people say of alarms: acknowledged, shelved, out of service, and who may.

use std::sync::Arc;

use axum::http::StatusCode;
use model::{Board, FindingKind, Phase, Timestamp};
use records::Update;
use serde_json::{Value, json};
use web::{Entries, WebConfig};

use crate::staff::*;
use crate::works::{Works, moment, works};

fn open() -> Works {
    works(Entries::OpenOnLoopback)
}

async fn listed(works: &Works) -> Vec<Value> {
    works.get("/api/v1/alarms").await.json()["alarms"].as_array().unwrap().clone()
}

async fn alarm(works: &Works) -> Value {
    listed(works).await.first().cloned().unwrap()
}

async fn post(works: &Works, what: &str, body: Value) -> (StatusCode, Value) {
    let answer = works.post_json(&format!("/api/v1/alarms/{what}"), &body.to_string(), &[]).await;
    (answer.status, answer.json())
}

/// The finding on Alder changes, on the board and on record.
fn change(works: &Works, change: impl Fn(&mut model::Finding)) {
    let mut board: Board = (**works.board.borrow()).clone();
    let mut finding = works.state.records.findings(&records::FindingQuery::default()).unwrap().remove(0);
    change(&mut finding);
    board.lanes[0].open = if finding.is_open() { vec![finding.clone()] } else { Vec::new() };
    works.state.records.commit(&Update { findings: vec![finding], ..Update::default() }).unwrap();
    works.board.send_replace(Arc::new(board));
}

#[tokio::test]
async fn an_alarm_is_seen_once_and_every_page_says_by_whom() {
    let works = open();
    let first = alarm(&works).await;
    assert_eq!((&first["state"], &first["rings"]), (&json!("unacknowledged"), &json!(true)));
    assert_eq!(
        first["act_by"],
        json!(
            (first["raised_at"].as_str().unwrap().parse::<Timestamp>().unwrap() + model::Span::from_mins(10))
                .to_string()
        )
    );
    let page = works.get("/alarms").await;
    assert!(page.says("One alarm calls for somebody.") && page.says("Acknowledge<span"), "{}", page.text);
    assert!(works.get("/").await.says("Not acknowledged yet"));
    let id = first["id"].as_str().unwrap();
    let (status, told) = post(&works, "acknowledge", json!({ "alarm": id, "by": "ana" })).await;
    assert_eq!((status, &told["acknowledged"][0]["by"]), (StatusCode::CREATED, &json!("ana")));
    assert_eq!(alarm(&works).await["state"], "acknowledged");
    for address in ["/", "/machines/alder", "/alarms"] {
        assert!(works.get(address).await.says("Acknowledged by ana, 12:00"), "{address}");
    }
    let (status, again) = post(&works, "acknowledge", json!({ "alarm": id, "by": "rui" })).await;
    assert_eq!(
        (status, &again["detail"]),
        (StatusCode::UNPROCESSABLE_ENTITY, &json!("ana has acknowledged it already."))
    );
    let audit = works.get("/api/v1/audit?kind=machine&id=alder").await.json();
    assert_eq!(audit["entries"][0]["deed"], "alarm-acknowledged");
}

#[tokio::test]
async fn the_button_of_the_page_needs_no_words() {
    let works = open();
    let id = alarm(&works).await["id"].as_str().unwrap().replace(':', "%3A");
    let answer = works.post_form("/alarms/acknowledge", &format!("alarm={id}")).await;
    assert_eq!((answer.status, answer.header("location")), (StatusCode::SEE_OTHER, "/alarms"));
    assert_eq!(alarm(&works).await["acknowledged"]["by"], "somebody at this computer");
    let answer = works.post_form("/alarms/acknowledge", "alarm=none").await;
    assert_eq!(answer.status, StatusCode::NOT_FOUND);
    assert!(answer.says("There is no such alarm now; it may be over already."));
}

#[tokio::test]
async fn the_shelf_is_short_has_a_reason_and_is_taken_back() {
    let works = open();
    let shelve = |minutes: i64| json!({ "machine": "alder", "kind": "warm-hold", "minutes": minutes, "reason": "valve", "by": "ana" });
    let (status, long) = post(&works, "shelve", shelve(61)).await;
    assert_eq!(
        (status, &long["detail"]),
        (StatusCode::UNPROCESSABLE_ENTITY, &json!("That is too long: at most 60 min."))
    );
    let (_, none) =
        post(&works, "shelve", json!({ "machine": "alder", "kind": "warm-hold", "minutes": 5 })).await;
    assert_eq!(none["detail"], "The field `reason` should be why it is set aside.");
    let (status, aside) = post(&works, "shelve", shelve(30)).await;
    assert_eq!((status, &aside["number"]), (StatusCode::CREATED, &json!(1)));
    let shelved = alarm(&works).await;
    assert_eq!((&shelved["state"], &shelved["rings"]), (&json!("shelved"), &json!(false)));
    assert!(works.get("/alarms").await.says("Shelved by ana until 12:30: valve"));
    let answer = works.post_form("/alarms/take-back", "number=1").await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER);
    assert_eq!(alarm(&works).await["state"], "unacknowledged");
}

/// Nothing is chosen that a person has not chosen, and what was typed stands there again.
#[tokio::test]
async fn a_reason_is_said_by_whoever_shelves() {
    let works = open();
    let id = alarm(&works).await["id"].as_str().unwrap().replace(':', "%3A");
    let page = works.get(&format!("/alarms?aside={id}")).await;
    assert!(
        page.says("name=\"why\"") && !page.says(" checked>") && !page.says(" selected>"),
        "{}",
        page.text
    );
    let shelve = async |more: &str| {
        let body = format!("form=shelve&alarm={id}&kind=warm-hold&machine=alder{more}");
        works.post_form("/alarms/shelve", &body).await
    };
    let refused = shelve("&minutes=30").await;
    assert_eq!(refused.status, StatusCode::BAD_REQUEST);
    assert!(
        refused.says("“Why” is not answered; choose a reason, or write one in your own words.")
            && refused.says("value=\"30\" required checked"),
        "{}",
        refused.text
    );
    let refused = shelve("&why=Being+worked+on").await;
    assert!(refused.says("“For how long” is not answered; choose some minutes."), "{}", refused.text);
    assert!(refused.says("value=\"Being worked on\" checked"), "{}", refused.text);
    let refused = shelve("&minutes=90&why=Being+worked+on").await;
    assert!(refused.says("That is too long: at most 60 min."), "{}", refused.text);
    assert_eq!(shelve("&minutes=30&why=Being+worked+on").await.status, StatusCode::SEE_OTHER);
    let again = shelve("&minutes=30&why=Being+worked+on").await;
    assert_eq!(again.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        again.says("Somebody at this computer has shelved it already. Let it ring again first"),
        "{}",
        again.text
    );
    assert!(!again.says("Shelve for some minutes"), "there is nothing left to shelve");
    let aside = works.get("/api/v1/alarms").await.json()["set_aside"].as_array().unwrap().len();
    assert_eq!(aside, 1);
    let nobody = works.post_form("/alarms/out-of-service", "form=machine-out&days=3&reason=new+probe").await;
    assert!(nobody.says("“Machine” is not answered; choose one."), "{}", nobody.text);
}

/// What is shelved goes on: the page is not green over it.
#[tokio::test]
async fn the_headline_says_what_is_set_aside_and_still_on() {
    let works = open();
    let shelve = json!({ "machine": "alder", "kind": "warm-hold", "minutes": 30, "reason": "valve" });
    assert_eq!(post(&works, "shelve", shelve).await.0, StatusCode::CREATED);
    let page = works.get("/alarms").await;
    assert!(
        page.says("No alarm calls for anybody, but one that is set aside is still on.")
            && page.says("headline later")
            && !page.says("headline good"),
        "{}",
        page.text
    );
    change(&works, |finding| finding.to = Some(moment("11:59")));
    let page = works.get("/alarms").await;
    assert!(page.says("No alarm calls for anybody.") && page.says("headline good"), "{}", page.text);
}

#[tokio::test]
async fn out_of_service_is_for_an_engineer_and_so_is_taking_it_back() {
    let works = staffed(WebConfig::default());
    let (ana, rui) = (signed_in(&works, "ana").await, signed_in(&works, "rui").await);
    let send = async |cookie: &str, address: &str, body: &str| {
        works.send(form(&format!("/alarms/{address}"), cookie, body.to_owned())).await
    };
    let out = "machine=alder&days=3&reason=new+probe";
    let refused = send(&ana, "out-of-service", out).await;
    assert_eq!(refused.status, StatusCode::FORBIDDEN);
    assert!(
        refused.says("to take alarms out of service one has to be an engineer or quality"),
        "{}",
        refused.text
    );
    let program = |cookie: &str| {
        let mut request = form("/api/v1/alarms/out-of-service", cookie, String::new());
        request.headers_mut().insert("content-type", "application/json".parse().unwrap());
        *request.body_mut() =
            json!({ "machine": "alder", "until": "2026-03-05T05:00:00Z", "reason": "probe" })
                .to_string()
                .into();
        request
    };
    let refused = works.send(program(&ana)).await;
    assert_eq!((refused.status, &refused.json()["code"]), (StatusCode::FORBIDDEN, &json!("role-may-not")));
    let page = get_as(&works, &ana, "/alarms").await;
    assert!(page.says("to take alarms out of service one has to be an engineer or quality"), "{}", page.text);
    let shelf = "machine=alder&kind=warm-hold&minutes=30&reason=valve";
    assert_eq!(send(&ana, "shelve", shelf).await.status, StatusCode::SEE_OTHER);
    assert_eq!(send(&rui, "out-of-service", out).await.status, StatusCode::SEE_OTHER);
    let aside = |text: &str| text.contains("Out of service by rui until");
    assert!(aside(&get_as(&works, &ana, "/alarms").await.text));
    let refused = send(&ana, "take-back", "number=2").await;
    assert!(
        refused.says("to take alarms out of service one has to be an engineer or quality"),
        "{}",
        refused.text
    );
    assert!(aside(&get_as(&works, &ana, "/alarms").await.text), "it stays out of service");
    assert_eq!(send(&rui, "take-back", "number=2").await.status, StatusCode::SEE_OTHER);
    assert!(get_as(&works, &ana, "/alarms").await.says("Shelved by ana until"));
}

#[tokio::test]
async fn nothing_is_taken_out_of_service_by_a_slip() {
    let works = open();
    let out = |kind: Value, until: &str| json!({ "machine": "alder", "kind": kind, "until": until, "reason": "probe" });
    let (status, said) = post(&works, "out-of-service", out(json!(["scorch"]), "2026-03-05T05:00:00Z")).await;
    assert_eq!(
        (status, &said["detail"]),
        (StatusCode::BAD_REQUEST, &json!("The field `kind` should be a text."))
    );
    let (_, said) = post(&works, "out-of-service", out(json!("scorch"), "2026-02-05T05:00:00Z")).await;
    assert_eq!(said["detail"], "That time has passed already; say one that is still to come.");
    assert_eq!(works.get("/api/v1/alarms").await.json()["set_aside"], json!([]));
}

#[tokio::test]
async fn what_latches_waits_for_a_test_and_what_came_back_for_somebody() {
    let works = open();
    change(&works, |finding| {
        finding.kind = FindingKind::TemperLoss;
        finding.to = Some(moment("11:58"));
    });
    assert_eq!(alarm(&works).await["state"], "latched-unacknowledged");
    assert!(works.get("/alarms").await.says("It stays until a temper test is entered"));
    let body =
        r#"{"machine":"alder","event":"temper-test","gloss":"good","contraction":"good","snap":"good"}"#;
    assert_eq!(works.post_json("/api/v1/events", body, &[]).await.status, StatusCode::CREATED);
    assert_eq!(alarm(&works).await["state"], "returned-unacknowledged");
    assert!(works.get("/alarms").await.says("Acknowledge all of these"));
    works.post_form("/alarms/acknowledge", "alarm=all-returned").await;
    assert_eq!(listed(&works).await, [] as [Value; 0]);
    assert!(works.get("/alarms").await.says("No alarm calls for anybody."));
}

#[tokio::test]
async fn the_night_melt_does_not_ring() {
    let works = open();
    let mut board: Board = (**works.board.borrow()).clone();
    board.lanes[0].phase = Phase::Soak;
    board.lanes[0].open[0].kind = FindingKind::HotRoom;
    works.board.send_replace(Arc::new(board));
    assert_eq!(alarm(&works).await["state"], "suppressed");
    let page = works.get("/alarms").await;
    assert!(page.says("No alarm calls for anybody.") && page.says("Does not ring in soak"), "{}", page.text);
}

#[tokio::test]
async fn the_reasons_are_on_the_page_and_the_form_opens_for_one_alarm() {
    let works = open();
    let page = works.get("/alarms").await;
    assert!(page.says("A relay that welded shut") && page.says("no alarm: a prompt"));
    let id = alarm(&works).await["id"].as_str().unwrap().replace(':', "%3A");
    let page = works.get(&format!("/alarms?aside={id}")).await;
    assert!(
        page.says("Shelve for some minutes") && page.says("name=\"minutes\" value=\"60\""),
        "{}",
        page.text
    );
    let reasons = works.get("/api/v1/alarms/reasons").await.json();
    assert_eq!(reasons["reasons"].as_array().unwrap().len(), FindingKind::ALL.len());
}
