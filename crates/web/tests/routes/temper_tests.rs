//! Temper tests: smears that are counted down, photos, cooling curves of samples from tables and channels, and what of it stands on paper.

use axum::http::StatusCode;
use model::{Arrival, Channel, Content, Reading, Span};
use serde_json::json;
use web::{Entries, Paper, WebConfig};

use crate::people::{BATCH, batch_json, form, parts, post, program, report};
use crate::works::{Sink, Works, moment, works, works_with};

/// With something that sets a PDF, here the source itself, if it can set these files.
fn with_paper(can_set: fn(&[&str]) -> bool) -> Works {
    let paper = Paper::new(move |source, files| {
        let named: Vec<&str> = files.iter().map(|(name, _)| *name).collect();
        if can_set(&named) {
            Ok(format!("%PDF {} {source}", named.join(" ")).into_bytes())
        } else {
            Err("a picture cannot be decoded".to_owned())
        }
    });
    let config = WebConfig { entries: Entries::OpenOnLoopback, paper: Some(paper), ..WebConfig::default() };
    works_with(config, Sink::default())
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
    for words in [
        "One temper test: by a sample&#x27;s cooling curve, which failed, at 12:00.",
        "cooling curve failed",
        "consistent with too few crystals",
        "hd-sample",
        "Sample of Alder, 12:00",
    ] {
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
    let with_paper = with_paper(|_| true);
    parts(&with_paper, &[("table", &table()), ("by", "rui")]).await;
    let paper = with_paper.get(&format!("/batches/{BATCH}.pdf")).await;
    assert!(paper.text.starts_with("%PDF curve.svg sample.svg "), "{}", paper.text);
    assert!(paper.says("consistent with too few crystals"), "{}", paper.text);
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
    assert!(
        page.says("<select name=\"channel\" required aria-describedby=\"help-channel-channel\"><option value=\"\">choose</option>"),
        "{}",
        page.text
    );
    assert!(!page.says("value=\"2026-03-02T"), "one press enters nothing");
    assert!(!works.get("/machines/alder").await.says("Or from a channel"), "its own charge is no sample");
    let span = [("from", "2026-03-02T10:00:00"), ("to", "2026-03-02T10:20"), ("by", "rui")];
    let with = |channel: &'static str| [&[("channel", channel)][..], &span].concat();
    let entered = parts(&works, &with("birch/room")).await;
    assert_eq!(entered.status, StatusCode::SEE_OTHER, "{}", entered.text);
    let test = batch_json(&works).await["events"][0].clone();
    assert_eq!((&test["at"], &test["curve_channel"]), (&json!("2026-03-02T10:00:00Z"), &json!("birch/room")));
    assert_eq!(test["curve"].as_array().unwrap().len(), 140);
    assert_eq!(test["result"]["curve_grade"], "poor", "like the table of the same readings");
    assert!(report(&works).await.says("taken from Birch"));
    for (fields, told) in [
        (with("alder/chocolate"), "a sample has a probe of its own"),
        (with("birch/jacket"), "there is no reading of birch/jacket in that time."),
        (
            vec![("channel", "birch/room"), ("from", "now"), ("to", "2026-03-02T10:20")],
            "“From” is `now`, which is not a day and a time",
        ),
        (
            vec![("channel", "birch/room"), ("from", "2026-03-02T10:20"), ("to", "2026-03-02T10:00")],
            "“To” should be after the beginning of the curve, and within 3 h of it.",
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
async fn a_channel_has_to_be_chosen() {
    let works = works(Entries::OpenOnLoopback);
    let part = |name: &str, value: &str| {
        format!("--cut\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n")
    };
    let fields =
        [("form", "channel"), ("channel", ""), ("from", "2026-03-02T10:00:10"), ("to", "2026-03-02T10:20")];
    let body = fields.map(|(name, value)| part(name, value)).concat() + "--cut--\r\n";
    let request = post("/machines/birch/tests", "multipart/form-data; boundary=cut", body.into_bytes());
    let refused = works.send(request).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(refused.says("“Which channel” is missing; choose where"), "{}", refused.text);
    assert!(refused.says("value=\"2026-03-02T10:00:10\""), "what was typed stands there still");
    assert!(works.sink.taken.lock().unwrap().is_empty());
}

#[tokio::test]
async fn a_hold_is_not_taken_for_a_samples_curve() {
    let works = works(Entries::OpenOnLoopback);
    let held = (0..200).map(|n| format!("{},31.{}\n", n * 5, n % 3)).collect::<String>();
    let refused = parts(&works, &[("table", &held)]).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(refused.says("he curve does not cool: it begins at 31.1"), "{}", refused.text);
    assert!(works.sink.taken.lock().unwrap().is_empty());
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
    let works = with_paper(|_| true);
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
    let paper = works.get(&format!("/batches/{BATCH}.pdf")).await;
    assert!(paper.text.starts_with("%PDF curve.svg smear.jpg "), "{}", paper.text);
    assert!(paper.says("image(\"smear.jpg\", width: 100%, height: 34mm, fit: \"contain\""), "{}", paper.text);
}

#[tokio::test]
async fn a_photo_that_cannot_be_set_does_not_cost_the_report() {
    let works = with_paper(|files| !files.contains(&"smear.png"));
    let by = records::By::new(records::Actor::Loopback, moment("11:30"));
    let photo = |sides: [u8; 2]| {
        let head = [&[0, 0, sides[0], sides[1]][..], &[0, 0, sides[0], sides[1]], &[8, 2, 0, 0, 0]].concat();
        let bytes = [b"\x89PNG\r\n\x1a\n", &[0, 0, 0, 13][..], b"IHDR", &head].concat();
        records::StoredPhoto { media_type: "image/png".to_owned(), bytes }
    };
    let keep = |at: &str, sides| {
        works.state.records.keep_photo(&by, &"alder".parse().unwrap(), moment(at), &photo(sides)).unwrap();
    };
    keep("11:30", [0, 8]);
    let paper = works.get(&format!("/batches/{BATCH}.pdf")).await;
    assert!(paper.text.starts_with("%PDF curve.svg #"), "{}", paper.text);
    assert!(paper.says("cannot be printed; it stands on the page"), "{}", paper.text);
    keep("11:40", [0x20, 0]);
    let paper = works.get(&format!("/batches/{BATCH}.pdf")).await;
    assert!(paper.says("The photo of the smear of 11:40 is too large to be printed"), "{}", paper.text);
}
