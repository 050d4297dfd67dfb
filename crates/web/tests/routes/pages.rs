//! Each page is there, says what it should, and lets no markup through.

use std::sync::Arc;

use axum::http::StatusCode;
use model::Span;
use web::{Entries, WebConfig};

use crate::staff::{get_as, signed_in, staffed};
use crate::works::{Sink, works, works_with};

#[tokio::test]
async fn the_floor_says_in_words_who_needs_someone() {
    let floor = works(Entries::Closed).get("/").await;
    assert_eq!(floor.status, StatusCode::OK);
    assert!(
        floor.says("Alder needs someone soon: It has been above its working range for 5 min."),
        "{}",
        floor.text
    );
    assert!(floor.says("<span class=\"number\">32.8</span>"));
    assert!(floor.says("Lower the set-point and make a temper test."));
    assert!(floor.says("href=\"/batches/alder-2026-03-02T09:00\""));
    assert!(floor.says("over-temperature cut-out in hardware"));
}

#[tokio::test]
async fn the_machine_page_has_curve_findings_and_batches() {
    let works = works(Entries::OpenOnLoopback);
    let machine = works.get("/machines/alder?span=12h").await;
    assert_eq!(machine.status, StatusCode::OK);
    assert!(machine.says("/machines/alder/curve.svg?span=12h"), "{}", machine.text);
    assert!(machine.says("It has been above its working range for 5 min."));
    assert!(machine.says("Enter the temper test"));
    let curve = works.get("/machines/alder/curve.svg?span=3h&width=narrow").await;
    assert_eq!((curve.status, curve.header("content-type")), (StatusCode::OK, "image/svg+xml"));
    assert!(curve.text.starts_with("<svg"));
    assert!(curve.says("working range 31.0–32.0"), "{}", curve.text);
}

#[tokio::test]
async fn a_machine_from_which_nothing_has_come_has_its_page() {
    let birch = works(Entries::Closed).get("/machines/birch").await;
    assert_eq!(birch.status, StatusCode::OK);
    assert!(birch.says("no reading yet"));
    assert!(birch.says("No batch has been seen on this machine yet."));
    assert!(birch.says("This can be done by people who have signed in"));
}

#[tokio::test]
async fn the_batch_report_opens_with_a_statement() {
    let works = works(Entries::Closed);
    let report = works.get("/batches/alder-2026-03-02T09:00").await;
    assert_eq!(report.status, StatusCode::OK);
    assert!(
        report.says("Temperature alone never proves temper; only a temper test does."),
        "{}",
        report.text
    );
    assert!(report.says("no temper test"));
    assert!(report.says("46.1 °C"));
    assert!(report.says("there are 0."));
    let sheet = works.get("/batches/alder-2026-03-02T09:00.svg").await;
    assert!(sheet.text.starts_with("<svg"));
    let readings = works.get("/batches/alder-2026-03-02T09:00.csv").await;
    assert_eq!(readings.text.lines().count(), 601);
    assert!(readings.text.contains("2026-03-02T11:55:00"), "{}", &readings.text[..200]);
}

#[tokio::test]
async fn the_handbook_explains_every_finding_where_pages_link_to_it() {
    let works = works(Entries::Closed);
    let handbook = works.get("/handbook").await;
    assert_eq!(handbook.status, StatusCode::OK, "{}", handbook.text);
    for kind in model::FindingKind::ALL {
        assert!(handbook.says(&format!("id=\"{kind}\"")), "{kind}");
    }
    assert!(handbook.says("Temperature alone never proves temper; only a temper test does."));
    assert!(works.get("/batches/alder-2026-03-02T09:00").await.says("href=\"/handbook#warm-hold\""));
}

#[tokio::test]
async fn a_forecast_stands_on_the_floor_and_on_the_machines_page() {
    let works = works(Entries::Closed);
    for (give_or_take, says) in [(6, "<b>in 25 min</b>"), (40, "<b>too early to say</b>")] {
        works.board.send_modify(|board| {
            let mut cooling = (**board).clone();
            cooling.lanes[0].forecast = Some(model::Forecast {
                at: cooling.lanes[0].seen_to + Span::from_mins(25),
                give_or_take: Span::from_mins(give_or_take),
            });
            *board = Arc::new(cooling);
        });
        for address in ["/", "/machines/alder"] {
            let page = works.get(address).await;
            assert!(page.says("<dt>Ready</dt>") && page.says(says), "{address}: {}", page.text);
        }
    }
}

#[tokio::test]
async fn findings_are_listed() {
    let works = works(Entries::Closed);
    for address in ["/findings", "/findings?open=yes"] {
        assert!(works.get(address).await.says("It has been above its working range for 5 min."));
    }
}

#[tokio::test]
async fn names_from_outside_are_text_and_never_markup() {
    let works = works(Entries::Closed);
    let birch = works.get("/machines/birch").await;
    assert!(birch.text.contains("Birch &lt;b&gt;&amp;&quot;s"));
    let report = works.get("/batches/alder-2026-03-02T09:00").await;
    assert!(!report.text.contains("<script>alert"));
    assert!(report.text.contains("&lt;script&gt;alert"));
}

#[tokio::test]
async fn every_answer_keeps_to_its_own_host() {
    let works = works(Entries::Closed);
    for address in [
        "/",
        "/machines/alder",
        "/batches/alder-2026-03-02T09:00",
        "/findings",
        "/display",
        "/nowhere",
        "/healthz",
    ] {
        let answer = works.get(address).await;
        let policy = answer.header("content-security-policy");
        assert!(
            policy.contains("default-src 'none'") && policy.contains("script-src 'self'"),
            "{address}: {policy}"
        );
        assert!(!policy.contains("unsafe"), "{address}: {policy}");
        assert_eq!(answer.header("x-content-type-options"), "nosniff", "{address}");
        for foreign in ["src=\"http", "href=\"http", "<script>", "<style", " style=\"", "onclick="] {
            assert!(!answer.text.contains(foreign), "{address} holds {foreign}");
        }
    }
}

#[tokio::test]
async fn assets_are_there_under_the_address_that_the_page_names() {
    let works = works(Entries::Closed);
    let floor = works.get("/").await.text;
    for name in ["style.css", "live.js", "curve.js", "icon.svg"] {
        let from = floor.find(&format!("/assets/{name}?v=")).unwrap();
        let address: String = floor[from..].chars().take_while(|c| *c != '"').collect();
        let asset = works.get(&address).await;
        assert_eq!(asset.status, StatusCode::OK, "{address}");
        assert!(asset.header("cache-control").contains("immutable"));
    }
}

#[tokio::test]
async fn a_plant_can_add_a_page_of_its_own() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("pages")).unwrap();
    let page = "title = \"Moulding room\"\nshows = \"works\"\nparts = [\"headline\", \"lanes\"]\nmachines = [\"birch\"]\n";
    std::fs::write(folder.path().join("pages/moulding.toml"), page).unwrap();
    let config = WebConfig { dashboards: Some(folder.path().to_owned()), ..WebConfig::default() };
    let works = works_with(config, Sink::default());
    assert!(works.get("/").await.says("href=\"/pages/moulding\""));
    let added = works.get("/pages/moulding").await;
    assert!(added.says("No machine has reported yet."), "Birch is the only machine that it shows");
}

#[tokio::test]
async fn a_page_may_name_areas() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("pages")).unwrap();
    let page = "title = \"Floor\"\nshows = \"works\"\nparts = [\"lanes\"]\n\n[[area]]\nname = \"Moulding room\"\nmachines = [\"alder\"]\n";
    std::fs::write(folder.path().join("pages/floor.toml"), page).unwrap();
    let config = WebConfig { dashboards: Some(folder.path().to_owned()), ..WebConfig::default() };
    let floor = works_with(config, Sink::default()).get("/").await;
    assert!(floor.says("<h2 id=\"area-1\">Moulding room</h2>"), "{}", floor.text);
}

/// What describes a field is there, says something, and is no other field's.
#[tokio::test]
async fn every_help_text_is_on_its_page() {
    let works = staffed(WebConfig::default());
    let joana = signed_in(&works, "joana").await;
    let mut seen = 0;
    for page in [
        "/machines/alder",
        "/setup",
        "/alarms",
        "/compare",
        "/display",
        "/sign-in",
        "/users",
        "/users/ana",
        "/account",
    ] {
        let answer = get_as(&works, &joana, page).await;
        assert_eq!(answer.status, StatusCode::OK, "{page}");
        let mut ids: Vec<&str> =
            answer.text.split(r#" id=""#).skip(1).filter_map(|rest| rest.split('"').next()).collect();
        for described in answer.text.split(r#"aria-describedby="help-"#).skip(1) {
            let id = format!("help-{}", described.split('"').next().unwrap());
            let (_, text) = answer.text.split_once(&format!(r#"id="{id}" aria-hidden="true">"#)).expect(&id);
            assert!(!text.starts_with('<'), "{page}: {id} says nothing");
            seen += 1;
        }
        ids.retain(|id| id.starts_with("help-"));
        let all = ids.len();
        ids.sort_unstable();
        ids.dedup();
        assert_eq!(ids.len(), all, "{page}: one id twice");
    }
    assert!(30 < seen, "{seen}");
}
