//! What people keep: decisions, lots, cleans, checks of probes; entered by form and by program, and shown where it matters.

use axum::body::Body;
use axum::http::{Request, StatusCode};
use serde_json::{Value, json};
use web::Entries;

use crate::works::{Answer, Works, works};

pub(crate) const BATCH: &str = "alder-2026-03-02T09:00";

pub(crate) fn post(address: &str, media_type: &str, body: impl Into<Body>) -> Request<Body> {
    Request::post(address)
        .header("host", "127.0.0.1:8460")
        .header("content-type", media_type)
        .body(body.into())
        .unwrap()
}

pub(crate) async fn form(works: &Works, address: &str, body: &'static str) -> Answer {
    works.send(post(address, "application/x-www-form-urlencoded", body)).await
}

async fn event(works: &Works, body: Value) {
    let answer = works.send(post("/api/v1/events", "application/json", body.to_string())).await;
    assert_eq!(answer.status, StatusCode::CREATED, "{}", answer.text);
}

pub(crate) async fn program(works: &Works, address: &str, body: Value) -> Answer {
    works.send(post(address, "application/json", body.to_string())).await
}

/// A form of several parts, as a browser sends it.
pub(crate) async fn parts(works: &Works, fields: &[(&str, &str)]) -> Answer {
    let part = |(name, value): &(&str, &str)| {
        let file = if *name == "table" { "; filename=\"sample.csv\"" } else { "" };
        format!("--cut\r\nContent-Disposition: form-data; name=\"{name}\"{file}\r\n\r\n{value}\r\n")
    };
    let body: String = fields.iter().map(part).collect::<String>() + "--cut--\r\n";
    works.send(post("/machines/alder/tests", "multipart/form-data; boundary=cut", body)).await
}

pub(crate) async fn batch_json(works: &Works) -> Value {
    works.get(&format!("/api/v1/batches/{BATCH}")).await.json()
}

pub(crate) async fn report(works: &Works) -> Answer {
    works.get(&format!("/batches/{BATCH}")).await
}

#[tokio::test]
async fn a_decision_stands_beside_the_standing_and_leaves_earlier_ones() {
    let works = works(Entries::OpenOnLoopback);
    let address = format!("/batches/{BATCH}/decisions");
    let bad = form(&works, &address, "decision=release&by=joana").await;
    assert_eq!(bad.status, StatusCode::BAD_REQUEST);
    assert!(bad.says("“Why” should be why it was decided."), "{}", bad.text);
    let held = form(&works, &address, "decision=hold&reason=test+%3Cb%3Efailed&by=ana").await;
    assert_eq!(held.header("location"), format!("/batches/{BATCH}#decision-title"));
    let body = json!({"decision": "release", "reason": "tested again", "by": "joana"});
    assert_eq!(program(&works, &format!("/api/v1{address}"), body).await.status, StatusCode::CREATED);
    let report = report(&works).await;
    for words in ["Decision: released", "unproven", "test &lt;b&gt;failed", "a later decision took its place"]
    {
        assert!(report.says(words), "{words}: {}", report.text);
    }
    let json = batch_json(&works).await;
    assert_eq!((&json["decision"]["decision"], &json["standing"]), (&json!("release"), &json!("unproven")));
    assert_eq!(json["decisions"].as_array().unwrap().len(), 2);
    let nowhere =
        form(&works, "/batches/oak-2026-03-02T09:00/decisions", "decision=hold&reason=x&by=y").await;
    assert_eq!(nowhere.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn lots_lead_to_batches_and_back() {
    let works = works(Entries::OpenOnLoopback);
    let at = |clock: &str| format!("2026-03-02T{clock}:00Z");
    event(
        &works,
        json!({"machine": "alder", "event": "charge", "at": at("08:50"), "lot": "L 22/7", "mass_kg": 40}),
    )
    .await;
    event(
        &works,
        json!({"machine": "alder", "event": "top-up", "at": at("11:30"), "lot": "R1", "mass_kg": 10, "source": "rework"}),
    )
    .await;
    let page = works.get("/lots").await;
    assert!(page.says("<a href=\"/lots/L%2022%2F7\">L 22/7</a>"), "{}", page.text);
    let lot = works.get("/lots/L%2022%2F7").await;
    assert!(lot.says("Alder, 09:00") && lot.says("100.0 %"), "{}", lot.text);
    let trace = works.get("/api/v1/lots/R1").await.json();
    assert_eq!((&trace["uses"][0]["share"], &trace["uses"][0]["rework"]), (&json!(0.2), &json!(true)));
    let report = report(&works).await;
    for words in ["What it was made of", "80.0 %", "top-up, rework", "a charge goes into an empty machine"] {
        assert!(report.says(words), "{words}: {}", report.text);
    }
    assert_eq!(batch_json(&works).await["events"][0]["event"], "charge", "though it came before the rise");
    let unknown = works.get("/api/v1/lots/L9").await;
    assert_eq!((unknown.status, &unknown.json()["code"]), (StatusCode::NOT_FOUND, &json!("no-such-lot")));
}

#[tokio::test]
async fn milk_is_told_until_a_clean_is_signed() {
    let works = works(Entries::OpenOnLoopback);
    let milk = |hour: i64| {
        let batch = works.state.board.borrow().lanes[0].batch.clone().unwrap();
        let start = batch.start - model::Span::from_hours(hour);
        let phases = vec![model::PhaseSpan {
            phase: model::Phase::Working,
            from: start + model::Span::from_hours(2),
            to: None,
            confidence: model::Confidence::High,
        }];
        let end = Some(start + model::Span::from_hours(10));
        model::Batch {
            id: model::BatchId::new(&batch.machine, start),
            couverture: "milk-38".parse().unwrap(),
            start,
            end,
            phases,
            ..batch
        }
    };
    works.fill(vec![milk(24)], &[]);
    assert!(report(&works).await.says("May hold milk"));
    assert!(works.get("/machines/alder").await.says("no signed clean is on record since"));
    assert_eq!(batch_json(&works).await["changeover"]["kind"], "milk-before");
    let unsigned = json!({"machine": "alder", "event": "note", "text": "dry-cleaned", "clean": true, "at": "2026-03-02T06:00:00Z"});
    event(&works, unsigned.clone()).await;
    assert!(report(&works).await.says("May hold milk"), "nobody has signed it");
    let mut signed = unsigned;
    signed["by"] = json!("ana");
    event(&works, signed).await;
    assert!(!report(&works).await.says("May hold milk"));
    let form = form(&works, "/machines/alder/entries", "event=note&clean=true&text=wiped+dry&by=ana").await;
    assert_eq!(form.status, StatusCode::SEE_OTHER, "{}", form.text);
    assert!(
        works
            .sink
            .taken
            .lock()
            .unwrap()
            .iter()
            .any(|arrival| format!("{arrival:?}").contains("\\\"clean\\\":true"))
    );
}

#[tokio::test]
async fn a_failed_check_leaves_batches_in_doubt_until_the_probe_is_right() {
    let works = works(Entries::OpenOnLoopback);
    assert!(works.get("/setup").await.says("never checked"));
    let entered = form(
        &works,
        "/setup/checks",
        "probe=alder%2Fchocolate&kind=comparison&reference_c=31&as_found_c=31%2C8&by=rui&reference=T-4",
    )
    .await;
    assert_eq!(entered.header("location"), "/setup?entered=yes#checks-title", "{}", entered.text);
    let setup = works.get("/setup").await;
    for words in [
        "failed",
        "0.80 °C too much; correct it",
        "rui, with T-4",
        "31.0 to 32.0 °C",
        "checked the chocolate probe of Alder, failed: as found 31.8 °C beside 31",
    ] {
        assert!(setup.says(words), "{words}: {}", setup.text);
    }
    assert!(report(&works).await.says("Measured in doubt"));
    assert_eq!(batch_json(&works).await["measured_in_doubt"][0]["error_c"], 0.8);
    let list = works.get("/api/v1/probe-checks?machine=alder").await.json();
    assert_eq!(
        (&list["probe_checks"][0]["passed"], &list["probe_checks"][0]["accept_c"]),
        (&json!(false), &json!(0.3))
    );
    for (body, sentence) in [
        (
            json!({"machine": "alder", "channel": "motor", "kind": "ice-point", "as_found_c": 0.1, "by": "rui"}),
            "The field `channel` should be chocolate, jacket or room.",
        ),
        (
            json!({"machine": "alder", "channel": "room", "kind": "comparison", "as_found_c": 20, "by": "rui"}),
            "The field `reference_c` should be what the reference thermometer showed.",
        ),
        (
            json!({"machine": "alder", "channel": "room", "kind": "ice-point", "as_found_c": 900, "by": "rui"}),
            "The field `as_found_c` should be a temperature from -40 to 150 °C.",
        ),
    ] {
        let answer = program(&works, "/api/v1/probe-checks", body).await;
        assert_eq!((answer.status, &answer.json()["detail"]), (StatusCode::BAD_REQUEST, &json!(sentence)));
    }
}
