//! Who may make entries, and when they are answered.

use axum::body::Body;
use axum::http::{Request, StatusCode};
use model::{Content, EventKind};
use web::{Entries, WebConfig};

use crate::works::{Sink, Works, works, works_with};

fn event(host: &str, media_type: &str, body: impl Into<Body>) -> Request<Body> {
    Request::post("/api/v1/events")
        .header("host", host)
        .header("content-type", media_type)
        .body(body.into())
        .unwrap()
}

fn note(host: &str) -> Request<Body> {
    event(host, "application/json", r#"{"machine":"alder","event":"note","text":"lid left open"}"#)
}

fn taken(works: &Works) -> Vec<EventKind> {
    let taken = works.sink.taken.lock().unwrap();
    let kind = |content: &Content| match content {
        Content::Event(event) => event.kind.clone(),
        Content::Reading(reading) => panic!("an entry became the reading {reading:?}"),
    };
    taken.iter().map(|arrival| kind(&arrival.content)).collect()
}

#[tokio::test]
async fn an_entry_is_answered_when_it_is_durable() {
    let works = works(Entries::OpenOnLoopback);
    let answer = works.send(note("127.0.0.1:8460")).await;
    assert_eq!(answer.status, StatusCode::CREATED, "{}", answer.text);
    assert_eq!(answer.json()["at"], "2026-03-02T12:00:00Z");
    assert_eq!(taken(&works), [EventKind::Note { text: "lid left open".to_owned() }]);
}

#[tokio::test]
async fn an_entry_that_cannot_be_put_on_disk_is_not_called_entered() {
    let config = WebConfig { entries: Entries::OpenOnLoopback, ..WebConfig::default() };
    let works = works_with(config, Sink { refuses: true, ..Sink::default() });
    let answer = works.send(note("localhost:8460")).await;
    assert_eq!(answer.status, StatusCode::SERVICE_UNAVAILABLE);
    assert_eq!(answer.json()["detail"], "The entry could not be put on disk; it is not entered. Try again.");
}

#[tokio::test]
async fn without_signing_in_nothing_can_be_entered() {
    let works = works(Entries::Closed);
    let answer = works.send(note("127.0.0.1:8460")).await;
    assert_eq!((answer.status, &answer.json()["code"]), (StatusCode::UNAUTHORIZED, &"sign-in-needed".into()));
    assert!(answer.says("This can be done by people who have signed in"));
    assert_eq!(taken(&works), []);
}

#[tokio::test]
async fn each_bad_entry_has_its_sentence() {
    let works = works(Entries::OpenOnLoopback);
    let here = "127.0.0.1:8460";
    let json = "application/json";
    for (request, status, sentence) in [
        (
            note("elsewhere.example"),
            403,
            "Entries are taken only from pages of this service, opened on the computer that it runs on.",
        ),
        (
            event(here, "text/plain", "{}"),
            415,
            "This address takes application/json; say so in the Content-Type header.",
        ),
        (event(here, json, "{}"), 400, "The field `machine` is missing; it should be the id of a machine."),
        (
            event(here, json, r#"{"machine":"oak","event":"end"}"#),
            404,
            "There is no machine `oak` in the plant file.",
        ),
        (
            event(here, json, vec![b' '; 65 * 1024]),
            413,
            "The request is larger than the 65536 bytes that are read here.",
        ),
    ] {
        let answer = works.send(request).await;
        assert_eq!((answer.status.as_u16(), &answer.json()["detail"]), (status, &sentence.into()));
    }
    let not_json = works.send(event(here, json, "{")).await;
    assert!(not_json.says("The body is not JSON"), "{}", not_json.text);
    let unknown = works.send(event(here, json, r#"{"machine":"alder","event":"dance"}"#)).await;
    assert_eq!(unknown.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(unknown.says("dance"), "{}", unknown.text);
    assert_eq!(taken(&works), []);
}

#[tokio::test]
async fn a_form_comes_back_to_its_page_with_a_message() {
    let works = works(Entries::OpenOnLoopback);
    let form = |body: &'static str| {
        Request::post("/machines/alder/entries")
            .header("host", "127.0.0.1:8460")
            .header("origin", "http://127.0.0.1:8460")
            .header("content-type", "application/x-www-form-urlencoded")
            .body(Body::from(body))
            .unwrap()
    };
    let good = works.send(form("event=seed&mass_kg=1%2C5&temperature=20&lot=&by=ana")).await;
    assert_eq!(
        (good.status, good.header("location")),
        (StatusCode::SEE_OTHER, "/machines/alder?entered=seed#entries-title")
    );
    let seed = EventKind::Seed { mass_kg: Some(1.5), temperature: Some(20.0), lot: None };
    assert_eq!(taken(&works), [seed]);
    assert!(works.get("/machines/alder?entered=seed").await.says("The seed has been entered."));
    let bad = works.send(form("event=seed&mass_kg=much")).await;
    assert_eq!(bad.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(bad.says("“Mass” is `much`, which is not a number; write it like 1.5."), "{}", bad.text);
}

#[tokio::test]
async fn what_a_hand_has_slipped_on_is_refused_at_its_field_and_stands_there_still() {
    let works = works(Entries::OpenOnLoopback);
    let long = "a".repeat(61);
    for (body, says) in [
        ("event=charge&lot=L7".to_owned(), "“Mass” is missing; weigh it, and enter it in kg."),
        ("event=charge&mass_kg=0&lot=L7".to_owned(), "“Mass” is 0, and must be above zero."),
        (
            "event=charge&mass_kg=73&lot=L7".to_owned(),
            "“Mass” is 73 kg, and Alder holds 60 kg; look at the figure again",
        ),
        (
            "event=top-up&mass_kg=2&temperature=90&lot=L7".to_owned(),
            "“Temperature of the top-up” is 90.0 °C, above the scorch limit",
        ),
        (
            "event=seed&mass_kg=2&temperature=45&lot=L7".to_owned(),
            "“Temperature of the seed” is 45.0 °C, and the charge was at",
        ),
        (
            "event=seed&mass_kg=2&temperature=200&lot=L7".to_owned(),
            "“Temperature of the seed” is 200.0 °C, and the charge was at",
        ),
        (
            "event=note&text=done&clean=true&by=+&lot=L7".to_owned(),
            "“Your name” is missing; a clean counts for nothing",
        ),
        (
            format!("event=seed&mass_kg=2&lot=L7&by={long}"),
            "“Your name or initials” has 61 characters, and at most 60 are kept.",
        ),
    ] {
        let answer = works.post_form("/machines/alder/entries", &body).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{body}: {}", answer.text);
        let at_field = answer.text.split_once("class=\"at-field\"").map(|(_, behind)| &behind[..400]);
        assert!(answer.says(says) && at_field.is_some(), "{says}: {}", answer.text);
        assert!(answer.says("aria-invalid=\"true\" autofocus"));
        assert!(
            answer.says("value=\"L7\"") || body.contains("clean"),
            "what was typed is lost: {}",
            answer.text
        );
        assert!(!answer.text.contains("`mass_kg`"));
    }
    assert_eq!(taken(&works), []);
}
