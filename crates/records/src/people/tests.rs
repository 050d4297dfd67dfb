//! People over time: signed in, taken over, shut out.

use model::{Span, Timestamp};
use tempfile::{TempDir, tempdir};

use super::*;
use crate::{Actor, By, EntryQuery, Records, RecordsError, Way};

const PASSWORD: &str = "three plain words";

fn at(minute: i64) -> Timestamp {
    Timestamp::from_millis(1_772_427_600_000) + Span::from_secs(60 * minute)
}

fn by() -> By {
    By::new(Actor::CommandLine, at(0))
}

fn name(text: &str) -> UserName {
    text.parse().unwrap()
}

/// Ana works, Joana answers for quality; both have the same password.
fn open() -> (TempDir, Records) {
    let folder = tempdir().unwrap();
    let records = Records::open(folder.path().join(crate::FILE_NAME)).unwrap();
    let password = Password::new(PASSWORD).unwrap();
    records.add_user(&by(), &name("ana"), Role::Worker, &password).unwrap();
    records.add_user(&by(), &name("joana"), Role::Quality, &password).unwrap();
    (folder, records)
}

fn sign_in(records: &Records, who: &str, now: Timestamp) -> Key {
    let (key, session) = records.sign_in(who, PASSWORD, "192.0.2.1", now).unwrap().expect("they may");
    assert_eq!((session.user.as_str(), session.way), (who, Way::Password));
    key
}

fn deeds(records: &Records) -> Vec<String> {
    let entries = records.audit(&EntryQuery::default()).unwrap();
    entries.iter().rev().map(|e| format!("{} {} {}", e.who, e.deed, e.subject.id)).collect()
}

#[test]
fn who_signs_in_is_known_again_and_others_are_not() {
    let (_folder, records) = open();
    for (who, password) in
        [("ana", "three plain word"), ("nobody-here", PASSWORD), ("Ana", PASSWORD), ("", "")]
    {
        assert_eq!(records.sign_in(who, password, "192.0.2.1", at(0)).unwrap(), None, "{who}");
    }
    let key = sign_in(&records, "ana", at(0));
    assert_eq!(records.session(&key, at(1)).unwrap().unwrap().role, Role::Worker);
    assert_eq!(records.session(&Key::from_lookup("f"), at(1)).unwrap(), None);
    assert!(records.sign_out(&key, at(2)).unwrap());
    assert_eq!(records.session(&key, at(2)).unwrap(), None);
    assert!(!records.sign_out(&key, at(2)).unwrap());
    let told = deeds(&records);
    assert_eq!(told[2..], ["ana signed-in ana", "ana signed-out ana"]);
}

#[test]
fn a_session_ends_when_it_is_idle_and_in_any_case() {
    let (_folder, records) = open();
    let idle = sign_in(&records, "ana", at(0));
    assert!(records.session(&idle, at(239)).unwrap().is_some());
    assert!(records.session(&idle, at(239 + 240)).unwrap().is_none());
    let used = sign_in(&records, "ana", at(0));
    for hour in 1..14 {
        assert!(records.session(&used, at(60 * hour)).unwrap().is_some(), "{hour} h");
    }
    assert!(records.session(&used, at(60 * 14)).unwrap().is_none());
    records.add_user(&by(), &name("wall"), Role::Viewer, &Password::new(PASSWORD).unwrap()).unwrap();
    let wall = sign_in(&records, "wall", at(0));
    assert!(records.session(&wall, at(29 * 24 * 60)).unwrap().is_some());
}

#[test]
fn whoever_is_shut_out_is_out_at_once_and_so_is_what_they_opened() {
    let (_folder, records) = open();
    let (anas, joanas) = (sign_in(&records, "ana", at(0)), sign_in(&records, "joana", at(0)));
    records.set_pin(&by(), &name("ana"), Some(&Pin::new("2718").unwrap())).unwrap();
    let TakeOver::Done(taken, _) = records.take_over(&joanas, "ana", "2718", at(1)).unwrap() else {
        panic!("the PIN is right");
    };
    let token = records.make_token(&by(), &name("joana"), "scale").unwrap();
    assert_eq!(records.token(&token).unwrap().unwrap().name, "scale");
    records.enable_user(&by(), &name("joana"), false).unwrap();
    assert!(records.session(&taken, at(2)).unwrap().is_none(), "opened by one who is shut out");
    assert!(records.token(&token).unwrap().is_none());
    assert_eq!(records.sign_in("joana", PASSWORD, "192.0.2.1", at(2)).unwrap(), None);
    assert!(records.session(&anas, at(2)).unwrap().is_some());
    records.enable_user(&by(), &name("joana"), true).unwrap();
    assert!(records.session(&taken, at(2)).unwrap().is_none(), "what was ended stays so");
    records.set_password(&by(), &name("ana"), &Password::new("four other plain words").unwrap()).unwrap();
    assert!(records.session(&anas, at(2)).unwrap().is_none());
    assert_eq!(records.sign_in("ana", PASSWORD, "192.0.2.1", at(2)).unwrap(), None);
}

#[test]
fn a_device_changes_hands_by_pin_under_another_key() {
    let (_folder, records) = open();
    records.set_pin(&by(), &name("ana"), Some(&Pin::new("2718").unwrap())).unwrap();
    let key = sign_in(&records, "joana", at(0));
    assert_eq!(records.take_over(&key, "joana", "2718", at(1)).unwrap(), TakeOver::Wrong, "she has none");
    let TakeOver::Done(new, session) = records.take_over(&key, "ana", "2718", at(1)).unwrap() else {
        panic!("the PIN is right");
    };
    assert_eq!((session.user.as_str(), session.way), ("ana", Way::Pin));
    assert_eq!((session.opened_by.as_str(), session.began), ("joana", at(0)));
    assert!(records.session(&key, at(1)).unwrap().is_none(), "the old key opens nothing");
    for _ in 0..4 {
        assert_eq!(records.take_over(&new, "ana", "1828", at(2)).unwrap(), TakeOver::Wrong);
    }
    assert_eq!(records.take_over(&new, "ana", "1828", at(2)).unwrap(), TakeOver::SignedOut);
    assert_eq!(records.take_over(&new, "ana", "2718", at(2)).unwrap(), TakeOver::NobodySignedIn);
    assert_eq!(deeds(&records)[3..], ["joana signed-in joana", "ana took-over ana"]);
}

#[test]
fn every_change_of_people_is_in_the_trail_and_no_secret_is() {
    let (folder, records) = open();
    records.set_role(&by(), &name("ana"), Role::Engineer).unwrap();
    records.set_role(&by(), &name("ana"), Role::Engineer).unwrap();
    records.set_pin(&by(), &name("ana"), Some(&Pin::new("2718").unwrap())).unwrap();
    records.set_pin(&by(), &name("ana"), None).unwrap();
    let token = records.make_token(&by(), &name("ana"), "scale").unwrap();
    assert!(matches!(
        records.make_token(&by(), &name("ana"), "scale"),
        Err(RecordsError::TokenExists { .. })
    ));
    assert!(records.withdraw_token(&by(), &name("ana"), "scale").unwrap());
    assert!(!records.withdraw_token(&by(), &name("ana"), "scale").unwrap());
    records.note_failed_sign_in("ana", &Way::Password, "192.0.2.1", at(0)).unwrap();
    records.note_failed_sign_in("my secret words by mistake", &Way::Password, "192.0.2.1", at(0)).unwrap();
    assert!(matches!(records.enable_user(&by(), &name("rui"), false), Err(RecordsError::NoSuchUser { .. })));
    let key = sign_in(&records, "ana", at(0));
    assert_eq!(
        deeds(&records),
        [
            "command line user-added ana",
            "command line user-added joana",
            "command line role-changed ana",
            "command line pin-changed ana",
            "command line pin-removed ana",
            "command line key-made ana",
            "command line key-withdrawn ana",
            "nobody sign-in-failed ana",
            "nobody sign-in-failed (unknown)",
            "ana signed-in ana",
        ]
    );
    drop(records);
    let file = std::fs::read(folder.path().join(crate::FILE_NAME)).unwrap();
    for secret in [PASSWORD, token.as_str(), key.as_str(), "my secret words"] {
        assert!(!file.windows(secret.len()).any(|window| window == secret.as_bytes()), "{secret}");
    }
}
