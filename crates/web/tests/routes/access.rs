//! Signing in, and what follows from it: who may do what, and whose name it carries.

use axum::body::Body;
use axum::http::{Request, StatusCode};
use records::{Actor, By, Password, Pin, Role, UserName};
use serde_json::json;
use web::{Entries, Reading, WebConfig};

use crate::works::{Answer, Sink, Works, moment, works, works_with};

const HOST: &str = "works.example:8460";
const PASSWORD: &str = "three plain words";

/// Ana works, Rui is an engineer, Joana answers for quality. All have the same password, Ana and Joana the PIN 2718.
fn staffed(config: WebConfig) -> Works {
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

fn form(address: &str, cookie: &str, body: String) -> Request<Body> {
    Request::post(address)
        .header("host", HOST)
        .header("origin", format!("http://{HOST}"))
        .header("cookie", cookie)
        .header("content-type", "application/x-www-form-urlencoded")
        .body(Body::from(body))
        .unwrap()
}

fn cookie_in(answer: &Answer) -> String {
    answer.header("set-cookie").split(';').next().unwrap().to_owned()
}

async fn try_sign_in(works: &Works, name: &str, password: &str) -> Answer {
    let body = format!("name={name}&password={}&to=%2Fmachines%2Falder", password.replace(' ', "+"));
    works.send(form("/sign-in", "", body)).await
}

/// The cookie of somebody who has signed in.
async fn signed_in(works: &Works, name: &str) -> String {
    let answer = try_sign_in(works, name, PASSWORD).await;
    assert_eq!((answer.status, answer.header("location")), (StatusCode::SEE_OTHER, "/machines/alder"));
    cookie_in(&answer)
}

async fn get_as(works: &Works, cookie: &str, address: &str) -> Answer {
    works.send(Request::get(address).header("cookie", cookie).body(Body::empty()).unwrap()).await
}

async fn note_as(works: &Works, cookie: &str, text: &str) -> Answer {
    let body = format!("event=note&text={text}&by=somebody+else");
    works.send(form("/machines/alder/entries", cookie, body)).await
}

/// What the watch does with what was entered.
fn make_records(works: &Works) {
    let taken = works.sink.taken.lock().unwrap();
    let events = taken.iter().map(|arrival| match &arrival.content {
        model::Content::Event(event) => event.clone(),
        model::Content::Reading(reading) => panic!("an entry became the reading {reading:?}"),
    });
    let update = records::Update { events: events.collect(), ..records::Update::default() };
    works.state.records.commit(&update).unwrap();
}

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
        (&json!("joana"), &json!("token scale"))
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
