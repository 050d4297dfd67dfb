//! Events of live pages.

use std::sync::Arc;
use std::time::Duration;

use axum::body::Body;
use axum::http::{Request, StatusCode};
use futures_util::StreamExt;
use serde_json::Value;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::oneshot;
use tower::ServiceExt;
use web::{Entries, LivePace, WebConfig};

use crate::staff::{signed_in, staffed};
use crate::works::{Works, works};

struct Listener(axum::body::BodyDataStream);

impl Listener {
    async fn to(works: &Works, address: &str) -> Listener {
        Listener::of(works, "", address).await
    }

    /// The page of whom the cookie says.
    async fn of(works: &Works, cookie: &str, address: &str) -> Listener {
        let request = Request::get(address).header("cookie", cookie).body(Body::empty()).unwrap();
        let response = works.routes.clone().oneshot(request).await.unwrap();
        assert_eq!(response.status(), StatusCode::OK);
        assert_eq!(response.headers()["content-type"], "text/event-stream");
        Listener(response.into_body().into_data_stream())
    }

    async fn next(&mut self) -> Value {
        let frame = self.0.next().await.unwrap().unwrap();
        let text = String::from_utf8(frame.to_vec()).unwrap();
        assert!(text.starts_with("event: parts\n"), "{text}");
        let data = text.lines().find_map(|line| line.strip_prefix("data: ")).unwrap();
        serde_json::from_str(data).unwrap()
    }
}

#[tokio::test]
async fn the_floor_sends_whole_parts_first_and_then_what_changed() {
    let works = works(Entries::Closed);
    let mut listener = Listener::to(&works, "/api/v1/live").await;
    let first = listener.next().await;
    assert_eq!(first["order"], serde_json::json!(["alder"]));
    assert!(first["parts"]["lane-alder"].as_str().unwrap().contains("32.8"), "{first}");
    works.board.send_modify(|board| {
        let mut changed = (**board).clone();
        changed.lanes[0].latest[0].as_mut().unwrap().value = Some(33.31);
        *board = Arc::new(changed);
    });
    let second = listener.next().await;
    let parts = second["parts"].as_object().unwrap();
    assert_eq!(parts.keys().collect::<Vec<_>>(), ["lane-alder"], "headline and troubles are as they were");
    assert!(parts["lane-alder"].as_str().unwrap().contains("33.3"));
}

/// What may be done stands in the part itself, and stays there.
#[tokio::test]
async fn whoever_is_signed_in_keeps_what_they_may_do() {
    let works = staffed(WebConfig::default());
    let alarms = "/api/v1/live?alarms=yes";
    let ana = signed_in(&works, "ana").await;
    for (cookie, may) in [(ana.as_str(), true), ("", false)] {
        let parts = Listener::of(&works, cookie, alarms).await.next().await["parts"].to_string();
        assert_eq!(parts.contains("/alarms/acknowledge"), may, "{parts}");
    }
}

#[tokio::test]
async fn a_quiet_works_is_heard_from_all_the_same() {
    let works = works(Entries::Closed);
    let mut listener = Listener::to(&works, "/api/v1/live?machine=alder").await;
    assert!(listener.next().await["parts"]["now"].as_str().unwrap().contains("Alder"));
    let quiet = listener.next().await;
    assert!(quiet["parts"].as_object().unwrap().is_empty(), "{quiet}");
    assert_eq!(quiet["at"], "12:00:00", "it says how late it is");
}

#[tokio::test]
async fn only_so_many_pages_live_at_once() {
    let works = works(Entries::Closed);
    let mut held = Vec::new();
    for _ in 0..256 {
        held.push(Listener::to(&works, "/api/v1/live").await);
    }
    let refused = works.get("/api/v1/live").await;
    assert_eq!(refused.status, StatusCode::SERVICE_UNAVAILABLE);
    assert_eq!(refused.json()["detail"], "Too many pages are kept alive at once; close one and try again.");
    held.pop();
    Listener::to(&works, "/api/v1/live").await;
}

#[tokio::test]
async fn a_live_page_does_not_hold_the_door_when_the_service_stops() {
    let works = works(Entries::Closed);
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let (stop, stopped) = oneshot::channel::<()>();
    let shutdown = async { stopped.await.unwrap() };
    let serving = tokio::spawn(web::run(works.config.clone(), works.state.clone(), listener, shutdown));
    let mut page = TcpStream::connect(address).await.unwrap();
    page.write_all(b"GET /api/v1/live HTTP/1.1\r\nHost: localhost\r\n\r\n").await.unwrap();
    let mut first = [0; 15];
    page.read_exact(&mut first).await.unwrap();
    assert_eq!(&first, b"HTTP/1.1 200 OK");
    stop.send(()).unwrap();
    serving.await.unwrap().unwrap();
}

#[tokio::test]
async fn a_live_address_names_its_mistakes() {
    for (query, told) in [
        ("machine=oak", "There is no machine `oak` in the plant file."),
        ("alarms=no", "The parameter `alarms` is `no`; it should be yes."),
    ] {
        let works = works(Entries::Closed);
        let address = format!("/api/v1/live?{query}");
        let answer = tokio::time::timeout(Duration::from_secs(10), works.get(&address));
        let answer = answer.await.expect("no page is kept alive");
        assert_eq!(answer.json()["detail"], told);
    }
}

/// Somebody may have to go now: a finding does not wait for the turn of temperatures.
#[tokio::test]
async fn a_finding_is_told_before_the_next_turn() {
    let pace = LivePace {
        at_most_every: Duration::from_secs(3_600),
        findings_at_most_every: Duration::ZERO,
        at_least_every: Duration::from_secs(3_600),
    };
    let works = staffed(WebConfig { pace, ..WebConfig::default() });
    let mut listener = Listener::to(&works, "/api/v1/live").await;
    listener.next().await;
    works.board.send_modify(|board| {
        let mut changed = (**board).clone();
        changed.lanes[0].open.clear();
        *board = Arc::new(changed);
    });
    let told = tokio::time::timeout(Duration::from_secs(10), listener.next()).await;
    assert!(told.expect("it is told at once")["parts"]["lane-alder"].is_string());
}
