//! A made-up works with people in it, and what they send.

use axum::body::Body;
use axum::http::{Request, StatusCode};
use records::{Actor, By, Password, Pin, Role};
use web::WebConfig;

use crate::works::{Answer, Sink, Works, moment, works_with};

pub(crate) const HOST: &str = "works.example:8460";
pub(crate) const PASSWORD: &str = "three plain words";

/// Ana works, Rui is an engineer, Joana answers for quality. All have the same password, Ana and Joana the PIN 2718.
pub(crate) fn staffed(config: WebConfig) -> Works {
    let works = works_with(config, Sink::default());
    let by = By::new(Actor::CommandLine, moment("08:00"));
    let password = Password::new(PASSWORD).unwrap();
    for (name, role) in [("ana", Role::Worker), ("rui", Role::Engineer), ("joana", Role::Quality)] {
        works.state.records.add_user(&by, &name.parse().unwrap(), role, &password).unwrap();
    }
    for name in ["ana", "joana"] {
        let pin = Pin::new("2718").unwrap();
        works.state.records.set_pin(&by, &name.parse().unwrap(), Some(&pin)).unwrap();
    }
    works
}

pub(crate) fn form(address: &str, cookie: &str, body: String) -> Request<Body> {
    Request::post(address)
        .header("host", HOST)
        .header("origin", format!("http://{HOST}"))
        .header("cookie", cookie)
        .header("content-type", "application/x-www-form-urlencoded")
        .body(Body::from(body))
        .unwrap()
}

pub(crate) fn cookie_in(answer: &Answer) -> String {
    answer.header("set-cookie").split(';').next().unwrap().to_owned()
}

pub(crate) async fn try_sign_in(works: &Works, name: &str, password: &str) -> Answer {
    let body = format!("name={name}&password={}&to=%2Fmachines%2Falder", password.replace(' ', "+"));
    works.send(form("/sign-in", "", body)).await
}

/// The cookie of somebody who has signed in.
pub(crate) async fn signed_in(works: &Works, name: &str) -> String {
    let answer = try_sign_in(works, name, PASSWORD).await;
    assert_eq!((answer.status, answer.header("location")), (StatusCode::SEE_OTHER, "/machines/alder"));
    cookie_in(&answer)
}

pub(crate) async fn get_as(works: &Works, cookie: &str, address: &str) -> Answer {
    works
        .send(
            Request::get(address)
                .header("accept", crate::works::BROWSER)
                .header("cookie", cookie)
                .body(Body::empty())
                .unwrap(),
        )
        .await
}

pub(crate) async fn note_as(works: &Works, cookie: &str, text: &str) -> Answer {
    let body = format!("event=note&text={text}&by=somebody+else");
    works.send(form("/machines/alder/entries", cookie, body)).await
}

/// What the watch does with what was entered.
pub(crate) fn make_records(works: &Works) {
    let taken = works.sink.taken.lock().unwrap();
    let events = taken.iter().map(|arrival| match &arrival.content {
        model::Content::Event(event) => event.clone(),
        model::Content::Reading(reading) => panic!("an entry became the reading {reading:?}"),
    });
    let update = records::Update { events: events.collect(), ..records::Update::default() };
    works.state.records.commit(&update).unwrap();
}
