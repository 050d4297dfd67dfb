//! What people keep: temper tests, decisions, lots, cleans, checks of probes; entered by form and by program, and shown where it matters.

use axum::body::Body;
use axum::http::{Request, StatusCode};
use model::{Arrival, Channel, Content, Reading, Span};
use serde_json::{Value, json};
use web::Entries;

use crate::works::{Answer, Works, moment, works};

const BATCH: &str = "alder-2026-03-02T09:00";

fn post(address: &str, media_type: &str, body: impl Into<Body>) -> Request<Body> {
    Request::post(address)
        .header("host", "127.0.0.1:8460")
        .header("content-type", media_type)
        .body(body.into())
        .unwrap()
}

async fn form(works: &Works, address: &str, body: &'static str) -> Answer {
    works.send(post(address, "application/x-www-form-urlencoded", body)).await
}

async fn event(works: &Works, body: Value) {
    let answer = works.send(post("/api/v1/events", "application/json", body.to_string())).await;
    assert_eq!(answer.status, StatusCode::CREATED, "{}", answer.text);
}

async fn program(works: &Works, address: &str, body: Value) -> Answer {
    works.send(post(address, "application/json", body.to_string())).await
}

/// A form of several parts, as a browser sends it.
async fn parts(works: &Works, fields: &[(&str, &str)]) -> Answer {
    let part = |(name, value): &(&str, &str)| {
        let file = if *name == "table" { "; filename=\"sample.csv\"" } else { "" };
        format!("--cut\r\nContent-Disposition: form-data; name=\"{name}\"{file}\r\n\r\n{value}\r\n")
    };
    let body: String = fields.iter().map(part).collect::<String>() + "--cut--\r\n";
    works.send(post("/machines/alder/tests", "multipart/form-data; boundary=cut", body)).await
}

async fn batch_json(works: &Works) -> Value {
    works.get(&format!("/api/v1/batches/{BATCH}")).await.json()
}

async fn report(works: &Works) -> Answer {
    works.get(&format!("/batches/{BATCH}")).await
}

#[tokio::test]
async fn a_smear_is_counted_down_until_its_result_is_entered() {
    let works = works(Entries::OpenOnLoopback);
    let answer = form(&works, "/machines/alder/smears", "by=ana").await;
    assert_eq!(
        (answer.status, answer.header("location")),
        (StatusCode::SEE_OTHER, "/machines/alder#test-title")
    );
    let page = works.get("/machines/alder").await;
    assert!(
        page.says("The smear cools: ready at 12:10, in 10 min.") && page.says("Taken by ana."),
        "{}",
        page.text
    );
    assert!(works.get("/").await.says("ready at 12:10"));
    let test = [
        ("gloss", "good"),
        ("contraction", "good"),
        ("snap", "fair"),
        ("minutes", "6,5"),
        ("room_c", "20.5"),
        ("room_rh", "48"),
        ("cooled", "refrigerator"),
        ("by", "ana"),
    ];
    let entered = parts(&works, &test).await;
    assert_eq!(
        entered.header("location"),
        "/machines/alder?entered=temper-test#test-title",
        "{}",
        entered.text
    );
    assert!(!works.get("/machines/alder").await.says("The smear cools"));
    let report = report(&works).await;
    for words in [
        "set after 6.5 min, cooled in a refrigerator, room 20.5 °C, 48 %RH",
        "Grade B, usable, on the thin side",
    ] {
        assert!(report.says(words), "{words}: {}", report.text);
    }
    let json = batch_json(&works).await;
    assert_eq!(
        (&json["events"][0]["cooled"], &json["events"][0]["room_rh"]),
        (&json!("refrigerator"), &json!(48.0))
    );
    let result = &json["events"][0]["result"];
    assert_eq!((&result["grade"], &result["meaning"]), (&json!("B"), &json!("usable, on the thin side")));
    assert_eq!(result.get("curve_grade"), None, "there was no curve");
}

#[tokio::test]
async fn a_program_can_start_a_test_too() {
    let works = works(Entries::OpenOnLoopback);
    let answer = program(&works, "/api/v1/smears", json!({"machine": "alder"})).await;
    assert_eq!(
        (answer.status, &answer.json()["ready_at"]),
        (StatusCode::CREATED, &json!("2026-03-02T12:10:00Z"))
    );
    let answer = program(&works, "/api/v1/smears", json!({"by": "ana"})).await;
    assert_eq!(answer.status, StatusCode::BAD_REQUEST);
    let closed = crate::works::works(Entries::Closed);
    assert_eq!(
        program(&closed, "/api/v1/smears", json!({"machine": "alder"})).await.status,
        StatusCode::UNAUTHORIZED
    );
}

/// Falls from 32 °C and gives off heat around the fifth minute.
fn table() -> String {
    let line = |second: usize| {
        let t = second as f64 * 5.0;
        let set = 1.0 / (1.0 + (-(t - 300.0) / 25.0).exp());
        let celsius = 10.0 + 22.0 * (-t / 200.0).exp() + 6.0 * set * (-((t - 300.0).max(0.0)) / 400.0).exp();
        format!("{t};{celsius:.3}").replace('.', ",")
    };
    std::iter::once("time;temperature".to_owned()).chain((0..140).map(line)).collect::<Vec<_>>().join("\n")
}

#[tokio::test]
async fn a_samples_curve_is_read_from_a_table_and_drawn() {
    let works = works(Entries::OpenOnLoopback);
    let entered = parts(&works, &[("table", &table()), ("by", "rui")]).await;
    assert_eq!(entered.status, StatusCode::SEE_OTHER, "{}", entered.text);
    let report = report(&works).await;
    for words in
        ["cooling curve failed", "consistent with too few crystals", "hd-sample", "Sample of Alder, 12:00"]
    {
        assert!(report.says(words), "{words}: {}", report.text);
    }
    let json = batch_json(&works).await;
    assert_eq!(json["events"][0]["curve"].as_array().unwrap().len(), 140);
    assert_eq!(json["events"][0].get("gloss"), None, "nobody has judged a smear");
    let result = &json["events"][0]["result"];
    assert_eq!((&result["curve_grade"], result.get("grade")), (&json!("poor"), None));
    let celsius = result["inflection"]["celsius"].as_f64().unwrap();
    assert!((17.0..19.0).contains(&celsius), "{result}");
    assert_eq!(json["concerned"][0]["from"], "2026-03-02T11:00:00Z");
}

/// The same sample, with a probe that reported to a channel of its own.
fn reported() -> Vec<Arrival> {
    let from = moment("10:00");
    let table = table();
    let readings = table.lines().skip(1).map(|line| {
        let (seconds, celsius) = line.split_once(';').unwrap();
        let number = |text: &str| text.replace(',', ".").parse::<f64>().unwrap();
        let at = from + Span::from_millis((number(seconds) * 1e3) as i64);
        let (machine, channel) = ("birch".parse().unwrap(), Channel::Room);
        let reading = Reading { machine, channel, at, value: Some(number(celsius)) };
        Arrival { arrived: at, retained: false, content: Content::Reading(reading) }
    });
    readings.collect()
}

#[tokio::test]
async fn a_samples_curve_is_taken_from_a_channel() {
    let works = works(Entries::OpenOnLoopback);
    works.fill(Vec::new(), &reported());
    let page = works.get("/machines/birch").await;
    assert!(page.says("<option value=\"alder/chocolate\">Alder, chocolate</option>"), "{}", page.text);
    assert!(page.says("value=\"2026-03-02T11:30:00\"") && page.says("value=\"2026-03-02T12:00:00\""));
    assert!(!works.get("/machines/alder").await.says("Or from a channel"), "its own charge is no sample");
    let span = [("from", "2026-03-02T10:00:00"), ("to", "2026-03-02T10:20"), ("by", "rui")];
    let with = |channel: &'static str| [&[("channel", channel)][..], &span].concat();
    let entered = parts(&works, &with("birch/room")).await;
    assert_eq!(entered.status, StatusCode::SEE_OTHER, "{}", entered.text);
    let test = batch_json(&works).await["events"][0].clone();
    assert_eq!((&test["at"], &test["curve_channel"]), (&json!("2026-03-02T10:00:00Z"), &json!("birch/room")));
    assert_eq!(test["curve"].as_array().unwrap().len(), 140);
    assert_eq!(test["result"]["curve_grade"], "poor", "like the table of the same readings");
    for (fields, told) in [
        (with("alder/chocolate"), "A sample has a probe of its own"),
        (with("birch/jacket"), "There is no reading of birch/jacket in that time."),
        (
            vec![("channel", "birch/room"), ("from", "now"), ("to", "2026-03-02T10:20")],
            "`now` is not a day and a time",
        ),
        (
            vec![("channel", "birch/room"), ("from", "2026-03-02T10:20"), ("to", "2026-03-02T10:00")],
            "The curve has to end after it begins, and within 3 h.",
        ),
        (
            vec![("channel", "birch/room"), ("from", "2026-03-02T10:00"), ("to", "2026-03-02T10:01")],
            "at least 20 are needed",
        ),
    ] {
        let refused = parts(&works, &fields).await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(refused.says(told), "{told}: {}", refused.text);
    }
}

#[tokio::test]
async fn a_table_that_cannot_be_read_is_told_beside_the_form() {
    let works = works(Entries::OpenOnLoopback);
    let answer = parts(&works, &[("table", "1,30\nmuch,29\n")]).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        answer.says("The cooling curve cannot be read: line 2: `much,29` is not a time"),
        "{}",
        answer.text
    );
    let large = "1,30\n".repeat(1_200_000);
    let answer = parts(&works, &[("table", &large)]).await;
    assert_eq!(answer.status, StatusCode::PAYLOAD_TOO_LARGE);
    assert!(works.sink.taken.lock().unwrap().is_empty());
}

#[tokio::test]
async fn a_photo_stands_on_the_report_without_what_the_camera_wrote() {
    let works = works(Entries::OpenOnLoopback);
    let segment = |marker: u8, data: &[u8]| {
        let length = u16::try_from(data.len() + 2).unwrap().to_be_bytes();
        [&[0xFF, marker], &length[..], data].concat()
    };
    let photo = [
        vec![0xFF, 0xD8],
        segment(0xE1, b"Exif\0\0SECRET"),
        segment(0xC0, &[8, 0, 8, 0, 8, 1, 1, 0x11, 0]),
        segment(0xDA, &[1, 1, 0, 0, 63, 0]),
        vec![1, 2, 3, 0xFF, 0xD9],
    ]
    .concat();
    let field = |name: &str, value: &[u8]| {
        [
            format!("--cut\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n").as_bytes(),
            value,
            b"\r\n",
        ]
        .concat()
    };
    let with = |photo: &[u8]| {
        let grades = ["gloss", "contraction", "snap"].map(|name| field(name, b"good")).concat();
        let body = [grades, field("photo", photo), b"--cut--\r\n".to_vec()].concat();
        works.send(post("/machines/alder/tests", "multipart/form-data; boundary=cut", body))
    };
    let refused = with(b"GIF89a").await;
    assert!(refused.says("The photo cannot be taken: it is neither a JPEG nor a PNG."), "{}", refused.text);
    assert!(works.sink.taken.lock().unwrap().is_empty(), "and no test is entered without it");
    assert_eq!(with(&photo).await.status, StatusCode::SEE_OTHER);
    let address = "/photos/alder/1772452800000";
    assert!(report(&works).await.says(&format!("src=\"{address}\"")));
    let shown = works.get(address).await;
    assert_eq!(
        (shown.header("content-type"), shown.header("x-content-type-options")),
        ("image/jpeg", "nosniff")
    );
    assert!(!shown.text.contains("SECRET"));
    assert_eq!(works.get("/photos/alder/1").await.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn a_decision_stands_beside_the_standing_and_leaves_earlier_ones() {
    let works = works(Entries::OpenOnLoopback);
    let address = format!("/batches/{BATCH}/decisions");
    let bad = form(&works, &address, "decision=release&by=joana").await;
    assert_eq!(bad.status, StatusCode::BAD_REQUEST);
    assert!(bad.says("The field `reason` should be why it was decided."), "{}", bad.text);
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
    for words in ["failed", "0.80 °C too much; correct it", "rui, with T-4", "31.0 to 32.0 °C"] {
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
            "The field `as_found_c` should be a temperature in °C, from -40 to 150.",
        ),
    ] {
        let answer = program(&works, "/api/v1/probe-checks", body).await;
        assert_eq!((answer.status, &answer.json()["detail"]), (StatusCode::BAD_REQUEST, &json!(sentence)));
    }
}
