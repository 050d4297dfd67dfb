//! Users, signing in, roles and the audit trail, with the program as it is run: `user`, `serve`, `audit`.

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::{Output, Stdio};

use tempfile::TempDir;
use testkit::wait_until;

use crate::program::{Service, output, program, run, text};

const PASSWORD: &str = "three plain words";

/// A plant whose broker is not there.
const PLANT: &str = "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n[mqtt]\n\
    url = \"mqtt://127.0.0.1:1\"\n[[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n[[machine]]\nid = \"alder\"\n\
    style = \"kettle\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\n";

struct Site {
    folder: TempDir,
}

impl Site {
    /// A data folder in which Ana works.
    fn new() -> Site {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("plant.toml"), PLANT).unwrap();
        let site = Site { folder };
        let added = site.user(&["add", "--role", "worker", "ana"], PASSWORD);
        assert_eq!(text(&added.stdout), "ana may sign in as worker.\n", "{}", text(&added.stderr));
        site
    }

    fn data(&self) -> String {
        self.folder.path().join("data").to_str().unwrap().to_owned()
    }

    fn serve(&self) -> Service {
        self.serve_on("127.0.0.1:0")
    }

    fn serve_on(&self, listen: &str) -> Service {
        Service::launch_on(listen, program(), &self.folder.path().join("plant.toml"), Path::new(&self.data()))
    }

    /// `halfdegree user …` with the secret on standard input.
    fn user(&self, args: &[&str], secret: &str) -> Output {
        let mut child = program()
            .arg("user")
            .args(args)
            .args(["--data", &self.data()])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        writeln!(child.stdin.take().unwrap(), "{secret}").unwrap();
        child.wait_with_output().unwrap()
    }

    fn audit(&self) -> String {
        output(&["audit", "list", "--data", &self.data()])
    }
}

/// Sends a form as a page of the service does. Status, and the cookie that came back.
fn send(service: &Service, path: &str, cookie: &str, origin: &str, body: &str) -> (u16, String, String) {
    let headers =
        [("Content-Type", "application/x-www-form-urlencoded"), ("Origin", origin), ("Cookie", cookie)];
    let (status, head, body) = service.ask("POST", path, &headers, body);
    let set = head.lines().find_map(|line| {
        let (name, value) = line.split_once(": ")?;
        name.eq_ignore_ascii_case("set-cookie").then(|| value.split(';').next().unwrap().to_owned())
    });
    (status, set.unwrap_or_default(), body)
}

fn sign_in(service: &Service, password: &str) -> (u16, String, String) {
    let form = format!("name=ana&password={}", password.replace(' ', "+"));
    send(service, "/sign-in", "", &format!("http://{}", service.address()), &form)
}

#[test]
fn an_entry_is_signed_for_and_stands_in_the_trail() {
    let site = Site::new();
    let service = site.serve();
    let ours = format!("http://{}", service.address());
    let (status, cookie, _) = sign_in(&service, PASSWORD);
    assert_eq!(status, 303);
    let note = "event=note&text=lid+off&by=rui";
    let (status, ..) = send(&service, "/machines/alder/entries", &cookie, &ours, note);
    assert_eq!(status, 303);
    let entered = "ana (password)  event-entered  machine alder";
    wait_until("the entry is a record", || site.audit().contains(entered));
    assert!(site.audit().contains(r#""text":"lid off","by":"ana""#), "{}", site.audit());

    let (status, _, page) =
        send(&service, "/machines/alder/entries", &cookie, "http://elsewhere.example", note);
    assert_eq!(status, 403);
    assert!(page.contains("only from pages of this service itself"), "{page}");

    let headers = [("Content-Type", "application/json"), ("Origin", &*ours), ("Cookie", &*cookie)];
    let order = r#"{"machine":"alder","couverture":"dark-64","order":"freeze"}"#;
    let (status, head, problem) = service.ask("POST", "/api/v1/baselines", &headers, order);
    assert_eq!(status, 403);
    assert!(head.contains("application/problem+json"), "{head}");
    let problem: serde_json::Value = serde_json::from_str(&problem).unwrap();
    assert_eq!((&problem["status"], &problem["code"]), (&403.into(), &"role-may-not".into()));

    let shut_out = run(&["user", "disable", "--data", &site.data(), "ana"]);
    assert!(shut_out.status.success(), "{}", text(&shut_out.stderr));
    let (status, ..) = send(&service, "/machines/alder/entries", &cookie, &ours, note);
    assert_eq!(status, 401, "the session ends at once");
    service.stop();

    let verified = output(&["audit", "verify", "--data", &site.data()]);
    assert!(verified.starts_with("The audit trail is whole: 4 entries.\n"), "{verified}");
    let known = verified.trim().rsplit(' ').next().unwrap();
    output(&["audit", "verify", "--data", &site.data(), "--known", known]);
    let deeds: Vec<String> = site
        .audit()
        .lines()
        .rev()
        .map(|line| line.split("  ").skip(2).take(2).collect::<Vec<_>>().join(" "))
        .collect();
    assert_eq!(
        deeds,
        [
            "command line user-added",
            "ana (password) signed-in",
            "ana (password) event-entered",
            "command line user-disabled"
        ]
    );
}

#[test]
fn an_entry_outlives_a_kill_together_with_its_name() {
    let site = Site::new();
    let service = site.serve();
    let (_, cookie, _) = sign_in(&service, PASSWORD);
    let ours = format!("http://{}", service.address());
    let (status, ..) = send(&service, "/machines/alder/entries", &cookie, &ours, "event=note&text=lid+off");
    assert_eq!(status, 303);
    // Most likely before the watch has made it a record.
    service.kill();
    let service = site.serve();
    let entered = "ana (password)  event-entered  machine alder";
    wait_until("the entry is a record", || site.audit().contains(entered));
    service.stop();
    assert_eq!(site.audit().matches("event-entered").count(), 1);
    assert!(output(&["audit", "verify", "--data", &site.data()]).starts_with("The audit trail is whole"));
}

#[test]
fn a_wrong_password_is_slowed_down() {
    let site = Site::new();
    let service = site.serve();
    let wrong = |n: &usize| sign_in(&service, &format!("wrong words {n}")).0;
    // On a busy computer a hash can take longer than the first wait.
    let tried = (0..20).take_while(|n| wrong(n) == 422).count();
    assert!((5..20).contains(&tried), "slowed down after {tried}");
    assert_eq!(sign_in(&service, PASSWORD).0, 429, "the right one waits, too");
    service.stop();
    assert_eq!(site.audit().matches("nobody  sign-in-failed  user ana").count(), tried);
}

#[test]
fn whoever_changes_the_trail_is_told_by_the_entry() {
    let site = Site::new();
    for role in ["engineer", "quality", "worker"] {
        output(&["user", "role", "--data", &site.data(), "ana", "--role", role]);
    }
    let file = Path::new(&site.data()).join("records.db");
    let mut bytes = fs::read(&file).unwrap();
    let third = br#"{"role":"engineer"}{"role":"quality"}"#;
    let place = bytes.windows(third.len()).position(|window| window == third).unwrap();
    bytes[place + third.len() - 3] ^= 1;
    fs::write(&file, &bytes).unwrap();
    let verified = run(&["audit", "verify", "--data", &site.data()]);
    assert_eq!(verified.status.code(), Some(1));
    assert_eq!(
        text(&verified.stdout),
        "The audit trail is broken at entry 3: it is not as it was written, or does not follow on the one before it.\n"
    );
    let nothing = run(&["audit", "verify", "--data", "/nowhere"]);
    assert_eq!(nothing.status.code(), Some(2));
}

#[test]
fn others_see_the_door_alone_until_they_sign_in() {
    let site = Site::new();
    let service = site.serve_on("0.0.0.0:0");
    assert_eq!(service.get("/").0, 303);
    assert_eq!(service.get("/api/v1/machines").0, 401);
    assert_eq!(service.get("/sign-in").0, 200);
    let (_, cookie, _) = sign_in(&service, PASSWORD);
    let (status, _, page) = service.ask("GET", "/", &[("Cookie", &cookie)], "");
    assert_eq!(status, 200);
    assert!(page.contains("Nothing is encrypted between your device and this service"));
    service.stop();
}

#[test]
fn users_are_added_listed_and_told_what_is_wrong() {
    let site = Site::new();
    let weak = site.user(&["add", "--role", "worker", "rui"], "short");
    assert_eq!(weak.status.code(), Some(2));
    assert_eq!(
        text(&weak.stderr),
        "halfdegree: a password has at least 15 characters; a few words in a row are easy to keep in mind\n"
    );
    let again = site.user(&["add", "--role", "viewer", "ana"], PASSWORD);
    assert_eq!(text(&again.stderr), "halfdegree: there is a user `ana` already\n");
    let easy = site.user(&["pin", "ana"], "1234");
    assert!(text(&easy.stderr).contains("one of the first that anybody would try"), "{}", text(&easy.stderr));
    assert_eq!(
        text(&site.user(&["pin", "ana"], "2718").stdout),
        "ana has a PIN. It takes over a device on which somebody has signed in.\n"
    );
    let role = |role| output(&["user", "role", "--data", &site.data(), "ana", "--role", role]);
    assert_eq!(role("engineer"), "The role of ana was worker and is engineer from now on.\n");
    assert_eq!(role("engineer"), "The role of ana is engineer already.\n");
    role("worker");
    let secret = site.folder.path().join("secret");
    fs::write(&secret, "four other plain words\nand a second line\n").unwrap();
    let given = ["user", "password", "--data", &site.data(), "ana", "--from-file", secret.to_str().unwrap()];
    output(&given);
    let listed = output(&["user", "list", "--data", &site.data()]);
    assert!(listed.starts_with("ana  worker    added 20"), "{listed}");
    let service = site.serve();
    assert_eq!(sign_in(&service, PASSWORD).0, 422);
    assert_eq!(sign_in(&service, "four other plain words").0, 303);
    service.stop();
    let trail = fs::read(Path::new(&site.data()).join("records.db")).unwrap();
    assert!(!trail.windows(17).any(|window| window == b"four other plain "), "no password is kept");
}

#[test]
fn a_program_gets_in_with_a_key_from_the_command_line_until_it_is_withdrawn() {
    let site = Site::new();
    let data = site.data();
    let key = output(&["key", "add", "--data", &data, "ana", "mould scale"]);
    let key = key.trim();
    assert!(key.starts_with("halfdegree-") && key.len() > 60, "{key}");
    let listed = output(&["key", "list", "--data", &data]);
    assert!(
        listed.starts_with("ana  worker    made 20")
            && listed.ends_with("  mould scale\n")
            && !listed.contains(key),
        "{listed}"
    );
    let again = run(&["key", "add", "--data", &data, "ana", "mould scale"]);
    assert_eq!(again.status.code(), Some(2));
    assert!(text(&again.stderr).contains("there is a key `mould scale` already"), "{}", text(&again.stderr));
    let service = site.serve();
    let bearer = format!("Bearer {key}");
    let enter = || {
        let headers = [("Authorization", bearer.as_str()), ("Content-Type", "application/json")];
        service
            .ask("POST", "/api/v1/events", &headers, r#"{"machine":"alder","event":"note","text":"12 kg"}"#)
            .0
    };
    assert_eq!(enter(), 201);
    output(&["key", "withdraw", "--data", &data, "ana", "mould scale"]);
    assert_eq!(enter(), 401, "at once");
    service.stop();
    let gone = run(&["key", "withdraw", "--data", &data, "ana", "mould scale"]);
    assert!(text(&gone.stderr).contains("ana has no key `mould scale`"), "{}", text(&gone.stderr));
    for deed in ["command line  key-made  user ana", "command line  key-withdrawn  user ana"] {
        assert!(site.audit().contains(deed), "{deed}: {}", site.audit());
    }
    let trail = fs::read(Path::new(&data).join("records.db")).unwrap();
    assert!(!trail.windows(key.len()).any(|window| window == key.as_bytes()), "no key is kept");
}
