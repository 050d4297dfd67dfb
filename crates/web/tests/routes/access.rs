//! Who may do what once somebody has signed in, and whose name it carries.

use axum::body::Body;
use axum::http::{Request, StatusCode};
use serde_json::json;
use web::{Entries, WebConfig};

use crate::staff::*;
use crate::works::works;

#[tokio::test]
async fn an_entry_carries_the_name_of_whoever_is_signed_in() {
    let works = staffed(WebConfig::default());
    let answer = try_sign_in(&works, "ana", PASSWORD).await;
    let set = answer.header("set-cookie").to_owned();
    assert!(
        set.starts_with("hd-session=") && set.ends_with("; Path=/; Max-Age=50400; HttpOnly; SameSite=Strict"),
        "{set}"
    );
    let cookie = cookie_in(&answer);
    let page = get_as(&works, &cookie, "/machines/alder").await;
    assert!(page.says("ana, a worker") && page.says("Entered as ana.") && page.says("Hand over"));
    let entered = note_as(&works, &cookie, "lid+off").await;
    assert_eq!(entered.status, StatusCode::SEE_OTHER, "{}", entered.text);
    {
        let taken = works.sink.taken.lock().unwrap();
        let model::Content::Event(event) = &taken[0].content else { panic!("an event") };
        assert_eq!(event.by.as_deref(), Some("ana"));
    }
    make_records(&works);
    let page = get_as(&works, &cookie, "/batches/alder-2026-03-02T09:00").await;
    assert!(
        page.says("History of changes") && page.says("<b>ana</b> entered a note: “lid off”"),
        "{}",
        page.text
    );
    let audit = works.get("/api/v1/audit?kind=machine&id=alder").await.json();
    assert_eq!(audit["entries"][0]["who"], "ana");
    assert_eq!(audit["entries"][0]["way"], "password");
    assert_eq!(audit["entries"][0]["new"]["text"], "lid off");
}

#[tokio::test]
async fn a_lot_shows_who_told_of_it_and_no_other() {
    let works = staffed(WebConfig::default());
    let ana = signed_in(&works, "ana").await;
    for lot in ["L2207", "L22"] {
        let body = format!("event=top-up&lot={lot}&mass_kg=2");
        assert_eq!(
            works.send(form("/machines/alder/entries", &ana, body)).await.status,
            StatusCode::SEE_OTHER
        );
    }
    make_records(&works);
    let page = get_as(&works, &ana, "/lots/L22").await;
    assert!(page.says("<b>ana</b> entered a top-up: lot L22, 2 kg "), "{}", page.text);
    assert_eq!(page.text.matches("entered a top-up").count(), 1, "{}", page.text);
    assert!(!get_as(&works, &ana, "/lots").await.says("History of changes"));
}

#[tokio::test]
async fn each_role_may_what_it_may_and_is_told_the_rest() {
    let works = staffed(WebConfig::default());
    let order = |cookie: &str| {
        form("/machines/alder/baselines", cookie, "couverture=dark-64&order=freeze".to_owned())
    };
    let correct = |cookie: &str| {
        let body =
            json!({ "phase": "settling", "from": "2026-03-02T11:00:00Z", "by": "x", "reason": "seed" });
        Request::post("/api/v1/batches/alder-2026-03-02T09:00/phases")
            .header("host", HOST)
            .header("origin", format!("http://{HOST}"))
            .header("cookie", cookie)
            .header("content-type", "application/json")
            .body(Body::from(body.to_string()))
            .unwrap()
    };
    let (ana, rui, joana) =
        (signed_in(&works, "ana").await, signed_in(&works, "rui").await, signed_in(&works, "joana").await);
    let refused = works.send(correct(&ana)).await;
    assert_eq!(
        (refused.status, refused.header("content-type")),
        (StatusCode::FORBIDDEN, "application/problem+json")
    );
    assert_eq!(refused.json()["code"], "role-may-not");
    assert_eq!(
        refused.json()["detail"],
        "ana is signed in as a worker, and to correct phases one has to be an engineer or quality."
    );
    assert_eq!(works.send(order(&ana)).await.status, StatusCode::FORBIDDEN);
    assert_eq!(works.send(order(&rui)).await.status, StatusCode::SEE_OTHER);
    let corrected = works.send(correct(&rui)).await;
    assert_eq!((corrected.status, &corrected.json()["by"]), (StatusCode::CREATED, &json!("rui")));
    let sign = |cookie: &str| form("/weeks/2026-W09/sign-off", cookie, String::new());
    let refused = works.send(sign(&rui)).await;
    assert_eq!(refused.status, StatusCode::FORBIDDEN);
    assert!(
        refused.says("rui is signed in as an engineer, and to sign a week one has to be quality."),
        "{}",
        refused.text
    );
    assert_eq!(works.send(sign(&joana)).await.status, StatusCode::SEE_OTHER);
    let week = get_as(&works, &joana, "/weeks/2026-W09").await;
    assert!(
        week.says("Signed by joana (quality)") && week.says("<b>joana</b> signed the week"),
        "{}",
        week.text
    );
    let batch = get_as(&works, &rui, "/batches/alder-2026-03-02T09:00").await;
    assert!(batch.says("<b>rui</b> corrected 11:00 on: working → settling; seed"), "{}", batch.text);
    assert!(batch.says("baseline of dark-64: nothing ordered → freeze"));
    let account = get_as(&works, &rui, "/account").await;
    assert!(account.says("You may correct phases.") && account.says("To sign a week one has to be quality."));
}

#[tokio::test]
async fn the_demo_stays_open_and_says_who_did_it() {
    let works = works(Entries::OpenOnLoopback);
    assert!(!works.get("/machines/alder").await.says("href=\"/sign-in\""));
    let order = Request::post("/machines/alder/baselines")
        .header("host", "127.0.0.1:8460")
        .header("content-type", "application/x-www-form-urlencoded")
        .body(Body::from("couverture=dark-64&order=freeze&by=ana"))
        .unwrap();
    assert_eq!(works.send(order).await.status, StatusCode::SEE_OTHER);
    let page = works.get("/batches/alder-2026-03-02T09:00").await;
    assert!(page.says("<b>somebody at this computer</b> baseline of dark-64"), "{}", page.text);
}

#[tokio::test]
async fn anybody_may_keep_a_batch_apart_and_quality_alone_releases_it() {
    let works = staffed(WebConfig::default());
    let address = "/batches/alder-2026-03-02T09:00/decisions";
    let decide = |cookie: String, decision: &str| {
        let body = format!("decision={decision}&reason=seen&by=somebody+else");
        let request = form(address, &cookie, body);
        let works = &works;
        async move { works.send(request).await }
    };
    let ana = signed_in(&works, "ana").await;
    let page = get_as(&works, &ana, "/batches/alder-2026-03-02T09:00").await;
    assert!(page.says("to decide what becomes of a batch one has to be quality"), "{}", page.text);
    assert_eq!(decide(ana.clone(), "hold").await.status, StatusCode::SEE_OTHER);
    let refused = decide(ana, "release").await;
    assert_eq!(refused.status, StatusCode::FORBIDDEN, "{}", refused.text);
    let joana = signed_in(&works, "joana").await;
    assert_eq!(decide(joana.clone(), "release").await.status, StatusCode::SEE_OTHER);
    assert_eq!(decide("hd-session=0123".to_owned(), "hold").await.status, StatusCode::UNAUTHORIZED);
    let told = works.get("/api/v1/batches/alder-2026-03-02T09:00").await.json();
    let taken: Vec<(&str, &str)> = told["decisions"]
        .as_array()
        .unwrap()
        .iter()
        .map(|decision| (decision["by"].as_str().unwrap(), decision["role"].as_str().unwrap()))
        .collect();
    assert_eq!(taken, [("ana", "worker"), ("joana", "quality")]);
    let page = get_as(&works, &joana, "/batches/alder-2026-03-02T09:00").await;
    assert!(page.says("<b>joana</b> decision: hold → release; seen"), "{}", page.text);
}

#[tokio::test]
async fn a_smear_and_a_check_carry_the_name_of_whoever_is_signed_in() {
    let works = staffed(WebConfig::default());
    let ana = signed_in(&works, "ana").await;
    works.send(form("/machines/alder/smears", &ana, "by=somebody+else".to_owned())).await;
    let page = get_as(&works, &ana, "/machines/alder").await;
    assert!(page.says("Taken by ana."), "{}", page.text);
    let check = "probe=alder%2Fchocolate&kind=ice-point&as_found_c=0.1&by=somebody+else".to_owned();
    let entered = works.send(form("/setup/checks", &ana, check)).await;
    assert_eq!(entered.status, StatusCode::SEE_OTHER, "{}", entered.text);
    assert_eq!(works.get("/api/v1/probe-checks").await.json()["probe_checks"][0]["by"], "ana");
    let audit = works.get("/api/v1/audit?kind=machine&id=alder").await.json();
    let deeds: Vec<&str> =
        audit["entries"].as_array().unwrap().iter().map(|entry| entry["deed"].as_str().unwrap()).collect();
    assert_eq!(deeds, ["probe-checked", "smear-taken"]);
}
