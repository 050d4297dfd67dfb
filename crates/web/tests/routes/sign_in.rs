//! Signing in, by password, PIN and key; what is refused, and what strangers see.

use axum::body::Body;
use axum::http::{Request, StatusCode};
use records::{Actor, By, UserName};
use serde_json::json;
use web::{Reading, WebConfig};

use crate::staff::*;
use crate::works::{Sink, moment, works_with};

#[tokio::test]
async fn whoever_has_not_signed_in_is_told_where() {
    let works = staffed(WebConfig::default());
    let page = works.get("/machines/alder").await;
    assert!(page.says("Sign in") && page.says("/sign-in?to=/machines/alder"), "{}", page.text);
    assert_eq!(note_as(&works, "hd-session=0123", "lid").await.status, StatusCode::UNAUTHORIZED);
    assert_eq!(get_as(&works, "", "/account").await.header("location"), "/sign-in?to=/account");
    assert!(works.get("/sign-in").await.says("nothing is encrypted"));
    let nobody = works_with(WebConfig::default(), Sink::default());
    assert!(nobody.get("/sign-in").await.says("Nobody can sign in yet"));
}

#[tokio::test]
async fn a_wrong_password_is_refused_told_and_slowed_down() {
    let works = staffed(WebConfig::default());
    for (name, password) in [("ana", "three plain word"), ("who", PASSWORD), ("ana", ""), ("ana", "x")] {
        let answer = try_sign_in(&works, name, password).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(answer.says("Name and password do not fit.") && answer.header("set-cookie").is_empty());
    }
    let wrong = try_sign_in(&works, "ana", "x").await;
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    let slowed = try_sign_in(&works, "ana", PASSWORD).await;
    assert_eq!((slowed.status, slowed.header("retry-after")), (StatusCode::TOO_MANY_REQUESTS, "2"));
    assert!(slowed.says("That was wrong too often. Wait 2 s, then try again."), "{}", slowed.text);
    let audit = works.get("/api/v1/audit?kind=user&id=ana").await.json();
    let deeds: Vec<&str> =
        audit["entries"].as_array().unwrap().iter().map(|entry| entry["deed"].as_str().unwrap()).collect();
    assert_eq!(deeds[..4], ["sign-in-failed"; 4]);
    let unknown = works.get("/api/v1/audit?kind=user&id=(unknown)").await.json();
    assert_eq!(unknown["entries"].as_array().unwrap().len(), 1);
}

#[tokio::test]
async fn what_another_site_sends_is_refused_although_the_cookie_came_along() {
    let works = staffed(WebConfig::default());
    let ana = signed_in(&works, "ana").await;
    let from = |origin: Option<&str>, site: Option<&str>| {
        let mut request = Request::post("/machines/alder/entries")
            .header("host", HOST)
            .header("cookie", &ana)
            .header("content-type", "application/x-www-form-urlencoded");
        if let Some(origin) = origin {
            request = request.header("origin", origin);
        }
        if let Some(site) = site {
            request = request.header("sec-fetch-site", site);
        }
        request.body(Body::from("event=note&text=lid")).unwrap()
    };
    for (origin, site) in [
        (Some("http://elsewhere.example"), None),
        (Some("null"), None),
        (None, None),
        (Some("http://works.example:8460"), Some("same-site")),
        (None, Some("cross-site")),
        (Some("http://elsewhere.example"), Some("same-origin")),
    ] {
        let answer = works.send(from(origin, site)).await;
        assert_eq!(answer.status, StatusCode::FORBIDDEN, "{origin:?} {site:?}");
        assert!(answer.says("This is taken only from pages of this service itself"), "{}", answer.text);
    }
    assert_eq!(works.send(from(None, Some("same-origin"))).await.status, StatusCode::SEE_OTHER);
    let mut elsewhere = form("/sign-in", "", format!("name=ana&password={}", PASSWORD.replace(' ', "+")));
    elsewhere.headers_mut().insert("origin", "http://elsewhere.example".parse().unwrap());
    let answer = works.send(elsewhere).await;
    assert_eq!(answer.status, StatusCode::FORBIDDEN, "nobody signs somebody in from elsewhere");
    assert_eq!(works.sink.taken.lock().unwrap().len(), 1);
}

#[tokio::test]
async fn a_device_changes_hands_by_pin_and_a_pin_is_for_entries_alone() {
    let works = staffed(WebConfig::default());
    let pin = |cookie: &str, name: &str, pin: &str| {
        form("/sign-in/pin", cookie, format!("name={name}&pin={pin}&to=/machines/alder"))
    };
    let alone = works.send(pin("", "ana", "2718")).await;
    assert_eq!(alone.header("location"), "/sign-in", "a PIN alone opens nothing");
    let rui = signed_in(&works, "rui").await;
    let page = get_as(&works, &rui, "/sign-in/pin").await;
    assert!(page.says("rui works with this device now. Who takes over?"), "{}", page.text);
    assert!(!page.says("value=\"rui\""), "he has no PIN");
    let wrong = works.send(pin(&rui, "joana", "1828")).await;
    assert!(wrong.says("Name and PIN do not fit."), "{}", wrong.text);
    let taken = works.send(pin(&rui, "joana", "2718")).await;
    assert_eq!((taken.status, taken.header("location")), (StatusCode::SEE_OTHER, "/machines/alder"));
    let joana = cookie_in(&taken);
    assert_eq!(note_as(&works, &rui, "lid").await.status, StatusCode::UNAUTHORIZED, "the old key is gone");
    assert_eq!(note_as(&works, &joana, "lid").await.status, StatusCode::SEE_OTHER);
    let refused = works.send(form("/weeks/2026-W09/sign-off", &joana, String::new())).await;
    assert!(
        refused.says("joana has taken over this device by PIN. To sign a week, sign in with the password"),
        "{}",
        refused.text
    );
    let out = works.send(form("/sign-out", &joana, String::new())).await;
    assert_eq!(out.header("set-cookie"), "hd-session=; Path=/; Max-Age=0; HttpOnly; SameSite=Strict");
    assert_eq!(note_as(&works, &joana, "lid").await.status, StatusCode::UNAUTHORIZED);
}

#[tokio::test]
async fn whoever_is_shut_out_is_out_at_once() {
    let works = staffed(WebConfig::default());
    let ana = signed_in(&works, "ana").await;
    assert_eq!(note_as(&works, &ana, "lid").await.status, StatusCode::SEE_OTHER);
    let by = By::new(Actor::CommandLine, moment("12:00"));
    let name: UserName = "ana".parse().unwrap();
    works.state.records.enable_user(&by, &name, false).unwrap();
    assert_eq!(note_as(&works, &ana, "lid").await.status, StatusCode::UNAUTHORIZED);
    assert_eq!(try_sign_in(&works, "ana", PASSWORD).await.status, StatusCode::UNPROCESSABLE_ENTITY);
}

#[tokio::test]
async fn a_program_has_a_key_that_is_shown_once_and_may_be_withdrawn() {
    let works = staffed(WebConfig::default());
    let joana = signed_in(&works, "joana").await;
    let make = |password: &str| {
        form("/account/keys", &joana, format!("called=scale&password={}", password.replace(' ', "+")))
    };
    let wrong = works.send(make("x")).await;
    assert!(wrong.says("That is not the password; nothing has been changed."), "{}", wrong.text);
    let made = works.send(make(PASSWORD)).await;
    let begin = made.text.find("halfdegree-").expect("the key is shown");
    let key: String =
        made.text[begin..].chars().take_while(|c| c.is_ascii_alphanumeric() || *c == '-').collect();
    assert!(!get_as(&works, &joana, "/account").await.says(&key), "once");
    let again = works.send(make(PASSWORD)).await;
    assert_eq!(again.status, StatusCode::CONFLICT, "{}", again.text);
    assert!(again.says("There is a key `scale` already; call this one differently"), "{}", again.text);
    let long = format!("called={}&password={}", "a".repeat(500), PASSWORD.replace(' ', "+"));
    let long = works.send(form("/account/keys", &joana, long)).await;
    assert_eq!(long.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(long.says("“What it is for” has 500 characters, and at most 40 are kept."), "{}", long.text);
    let by_key = |key: &str, address: &str, body: &str| {
        Request::post(address)
            .header("host", HOST)
            .header("authorization", format!("Bearer {key}"))
            .header("content-type", "application/json")
            .body(Body::from(body.to_owned()))
            .unwrap()
    };
    let note = r#"{"machine":"alder","event":"note","text":"scale","by":"robot"}"#;
    let entered = works.send(by_key(&key, "/api/v1/events", note)).await;
    assert_eq!(entered.status, StatusCode::CREATED, "{}", entered.text);
    make_records(&works);
    let audit = works.get("/api/v1/audit?kind=machine&id=alder").await.json();
    assert_eq!(
        (&audit["entries"][0]["who"], &audit["entries"][0]["way"]),
        (&json!("joana"), &json!("key scale"))
    );
    let unknown = works.send(by_key("halfdegree-00", "/api/v1/events", note)).await;
    assert_eq!((unknown.status, unknown.header("www-authenticate")), (StatusCode::UNAUTHORIZED, "Bearer"));
    let withdrawn = works.send(form("/account/keys/withdraw", &joana, "called=scale".to_owned())).await;
    assert_eq!(withdrawn.header("location"), "/account?done=withdrawn");
    assert_eq!(works.send(by_key(&key, "/api/v1/events", note)).await.status, StatusCode::UNAUTHORIZED);
}

#[tokio::test]
async fn where_reading_is_for_those_who_signed_in_others_see_the_door_alone() {
    let works = staffed(WebConfig { reading: Reading::SignedIn, ..WebConfig::default() });
    let page = works.get("/weeks/2026-W09").await;
    assert_eq!(
        (page.status, page.header("location")),
        (StatusCode::SEE_OTHER, "/sign-in?to=%2Fweeks%2F2026-W09")
    );
    for address in ["/api/v1/machines", "/metrics", "/api/v1/live"] {
        assert_eq!(works.get(address).await.status, StatusCode::UNAUTHORIZED, "{address}");
    }
    for address in ["/sign-in", "/healthz", "/assets/style.css"] {
        assert_eq!(works.get(address).await.status, StatusCode::OK, "{address}");
    }
    assert!(
        !works.get("/healthz").await.says("latest_rejects"),
        "a stranger learns whether it is well, and no more"
    );
    let ana = signed_in(&works, "ana").await;
    assert_eq!(get_as(&works, &ana, "/").await.status, StatusCode::OK);
    assert!(get_as(&works, &ana, "/healthz").await.says("latest_rejects"));
}

#[tokio::test]
async fn behind_tls_the_cookie_goes_over_tls_alone() {
    let origin = Some("https://works.example".to_owned());
    let works = staffed(WebConfig { origin, ..WebConfig::default() });
    let mut request = form("/sign-in", "", format!("name=ana&password={}", PASSWORD.replace(' ', "+")));
    request.headers_mut().insert("origin", "https://works.example".parse().unwrap());
    let set = works.send(request).await.header("set-cookie").to_owned();
    assert!(set.starts_with("__Host-hd-session=") && set.ends_with("SameSite=Strict; Secure"), "{set}");
}
