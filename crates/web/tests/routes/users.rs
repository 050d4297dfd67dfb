//! Users as somebody who may manage them adds and changes them.

use axum::http::StatusCode;
use web::WebConfig;

use crate::staff::{PASSWORD, form, get_as, note_as, signed_in, staffed, try_sign_in};
use crate::works::Answer;

const OTHER: &str = "four other plain words";

/// A form of Joana, who may, with her own password typed again.
async fn by_joana(works: &crate::works::Works, address: &str, fields: &str) -> Answer {
    let joana = signed_in(works, "joana").await;
    let body = format!("{fields}&password={}", PASSWORD.replace(' ', "+"));
    works.send(form(address, &joana, body)).await
}

#[tokio::test]
async fn whoever_may_adds_a_user_who_may_then_sign_in() {
    let works = staffed(WebConfig::default());
    let new = format!("name=marta&role=engineer&new_password={}", OTHER.replace(' ', "+"));
    let added = by_joana(&works, "/users", &new).await;
    assert_eq!((added.status, added.header("location")), (StatusCode::SEE_OTHER, "/users?added=marta"));
    assert_eq!(try_sign_in(&works, "marta", OTHER).await.status, StatusCode::SEE_OTHER);
    let joana = signed_in(&works, "joana").await;
    let list = get_as(&works, &joana, "/users").await;
    assert!(list.says("<b>marta</b><span>an engineer</span>"), "{}", list.text);
    assert!(
        list.says("<b>worker</b>: also make entries and temper tests; acknowledge and shelve alarms</li>")
    );
    let again = by_joana(&works, "/users", &new).await;
    assert_eq!(again.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(again.says("There is a user `marta` already."), "{}", again.text);
    for (fields, told) in [
        ("name=Marta+B&role=worker&new_password=x", "A user&#x27;s name has 1 to 32 lower-case letters"),
        ("name=rosa&role=boss&new_password=x", "viewer, worker, engineer or quality"),
        ("name=rosa&role=worker&new_password=short", "A password has at least 15 characters"),
    ] {
        let refused = by_joana(&works, "/users", fields).await;
        assert!(refused.status.is_client_error() && refused.says(told), "{}", refused.text);
    }
}

#[tokio::test]
async fn a_user_is_changed_and_the_page_shows_what_was_changed_by_whom() {
    let works = staffed(WebConfig::default());
    let ana = signed_in(&works, "ana").await;
    let role = by_joana(&works, "/users/ana", "what=role&role=engineer").await;
    assert_eq!(role.header("location"), "/users/ana?done=role", "{}", role.text);
    assert!(get_as(&works, &ana, "/account").await.says("You may correct phases."), "at once");
    let pin = by_joana(&works, "/users/ana", "what=pin&pin=").await;
    assert_eq!(pin.header("location"), "/users/ana?done=pin");
    let password = format!("what=password&new_password={}", OTHER.replace(' ', "+"));
    by_joana(&works, "/users/ana", &password).await;
    assert_eq!(note_as(&works, &ana, "lid").await.status, StatusCode::UNAUTHORIZED, "signed out everywhere");
    assert_eq!(try_sign_in(&works, "ana", OTHER).await.status, StatusCode::SEE_OTHER);
    by_joana(&works, "/users/ana", "what=disable").await;
    assert_eq!(try_sign_in(&works, "ana", OTHER).await.status, StatusCode::UNPROCESSABLE_ENTITY);
    by_joana(&works, "/users/ana", "what=enable").await;
    let joana = signed_in(&works, "joana").await;
    let page = get_as(&works, &joana, "/users/ana").await;
    for words in [
        "ana, an engineer",
        "has no PIN",
        "<b>joana</b> gave another role: worker → engineer",
        "<b>joana</b> took the PIN away",
        "<b>joana</b> set another password",
        "<b>joana</b> shut this user out",
        "<b>joana</b> let this user in again",
    ] {
        assert!(page.says(words), "{words}: {}", page.text);
    }
    assert!(!page.says(OTHER), "no secret is shown");
}

#[tokio::test]
async fn others_and_other_sites_may_not_and_nobody_gives_themselves_up() {
    let works = staffed(WebConfig::default());
    let asked = format!("what=disable&password={}", PASSWORD.replace(' ', "+"));
    for name in ["ana", "rui"] {
        let cookie = signed_in(&works, name).await;
        assert_eq!(get_as(&works, &cookie, "/users").await.status, StatusCode::FORBIDDEN);
        assert_eq!(get_as(&works, &cookie, "/users/joana").await.status, StatusCode::FORBIDDEN);
        let refused = works.send(form("/users/joana", &cookie, asked.clone())).await;
        assert_eq!(refused.status, StatusCode::FORBIDDEN);
        assert!(refused.says("to manage users one has to be quality"), "{}", refused.text);
    }
    assert_eq!(works.get("/users").await.header("location"), "/sign-in?to=/users");
    assert_eq!(works.send(form("/users/ana", "", asked.clone())).await.status, StatusCode::UNAUTHORIZED);
    let joana = signed_in(&works, "joana").await;
    let mut elsewhere = form("/users/ana", &joana, asked);
    elsewhere.headers_mut().insert("origin", "http://elsewhere.example".parse().unwrap());
    assert_eq!(works.send(elsewhere).await.status, StatusCode::FORBIDDEN);
    let unsure = works.send(form("/users/ana", &joana, "what=disable&password=x".to_owned())).await;
    assert!(unsure.says("That is not the password; nothing has been changed."), "{}", unsure.text);
    let own = by_joana(&works, "/users/joana", "what=disable").await;
    assert!(own.says("Nobody shuts themselves out"), "{}", own.text);
    let nobody = by_joana(&works, "/users/who", "what=disable").await;
    assert_eq!(nobody.status, StatusCode::NOT_FOUND);
    assert!(works.state.records.users().unwrap().iter().all(|user| user.is_enabled));
}

#[tokio::test]
async fn an_address_that_is_no_name_is_no_user() {
    let works = staffed(WebConfig::default());
    assert_eq!(works.get("/users/ana").await.header("location"), "/sign-in?to=/users/ana");
    for address in ["/users/%0a", "/users/a%26b", "/users/Ana"] {
        let answer = works.get(address).await;
        assert_eq!(answer.status, StatusCode::NOT_FOUND, "{address}");
        assert!(answer.says("There is no user"), "{}", answer.text);
    }
}
