//! Drawings, their other forms, and what can be done to them.

use std::sync::Arc;

use axum::http::StatusCode;
use model::Span;
use web::{Entries, router};

use crate::works::{moment, works};

const BATCH: &str = "/batches/alder-2026-03-02T09:00";

/// A recording that was played again, or a machine that was put out of use in mid-charge.
#[tokio::test]
async fn an_open_batch_of_long_ago_reaches_as_far_as_its_readings() {
    let mut works = works(Entries::Closed);
    works.state.clock = Arc::new(|| moment("12:00") + Span::from_hours(40 * 24));
    works.routes = router(&works.config, works.state.clone()).unwrap();
    let table = works.get("/batches/alder-2026-03-02T09:00.csv").await;
    assert_eq!((table.status, table.text.lines().count()), (StatusCode::OK, 601), "{}", table.text);
    let columns = works.get("/batches/alder-2026-03-02T09:00.parquet").await;
    assert_eq!(columns.status, StatusCode::OK);
    assert!(columns.text.starts_with("PAR1"));
    let values =
        works.get(&format!("/machines/alder/curve.json?batch={}&span=batch", &BATCH[9..])).await.json();
    let drawn = (values["to"].as_i64().unwrap() - values["from"].as_i64().unwrap()) / 3_600_000;
    assert!((3..6).contains(&drawn), "{drawn} h of the three from 09:00 to 12:00");
    let sheet = works.get(&format!("{BATCH}.svg")).await;
    assert!(sheet.text.contains(">11:00<") || sheet.text.contains(">11:30<"), "{}", sheet.text);
    let page = works.get(BATCH).await;
    assert!(page.says("No end is known: there has been no good reading of it since"), "{}", page.text);
    assert!(page.says(", 3 h after its start.") && !page.says("Going on for"), "{}", page.text);
}

#[tokio::test]
async fn a_curve_is_drawn_in_the_page_and_says_what_it_shows() {
    let page = works(Entries::Closed).get("/machines/alder").await;
    assert!(page.text.contains("role=\"img\""), "{}", page.text);
    assert!(
        page.says("Chocolate: highest 32.0 °C at 11:59, lowest 31.0 °C at 11:50, last 32.0 °C at 11:59.")
    );
    for control in ["Earlier", "Closer", "Whole batch", ": shown, take it off"] {
        assert!(page.says(control), "{control}");
    }
}

#[tokio::test]
async fn the_curve_alone_is_what_the_script_asks_for() {
    let works = works(Entries::Closed);
    let asked = "from=2026-03-02T11:52:00Z&to=2026-03-02T11:58:00Z&channels=chocolate";
    for page in ["/machines/alder", BATCH] {
        let part = works.get(&format!("{page}?{asked}&width=900&part=curve")).await;
        assert_eq!(part.status, StatusCode::OK, "{page}: {}", part.text);
        assert!(part.text.starts_with("<section class=\"curve-section\""), "{}", part.text);
        assert!(part.text.contains("viewBox=\"0 0 900 "));
        assert!(
            part.says("from=2026-03-02T11:53:30Z&amp;to=2026-03-02T11:56:30Z&amp;channels=chocolate"),
            "closer, of the same channel"
        );
    }
    let fault = works.get("/machines/alder?part=page").await;
    assert!(fault.says("The parameter `part` is `page`; it should be curve, or left out."), "{}", fault.text);
}

#[tokio::test]
async fn the_cross_hair_gets_one_value_a_column_and_no_more() {
    let works = works(Entries::Closed);
    let asked = "from=2026-03-02T11:50:00Z&to=2026-03-02T12:00:00Z&width=300";
    let values = works.get(&format!("/machines/alder/curve.json?{asked}")).await.json();
    let chocolate = &values["series"][0];
    assert_eq!((&chocolate["name"], &chocolate["unit"]), (&"chocolate".into(), &"°C".into()));
    let column = chocolate["values"].as_array().unwrap();
    assert_eq!((column.len(), &column[0]), (300, &31.0.into()));
    assert!(values["usual"].is_null());
}

#[tokio::test]
async fn a_batch_comes_in_every_form_that_its_page_offers() {
    let works = works(Entries::Closed);
    let page = works.get(BATCH).await;
    for (ending, media_type, begins) in [
        ("svg", "image/svg+xml", "<svg"),
        ("png", "image/png", "\u{fffd}PNG"),
        ("csv", "text/csv; charset=utf-8", "time,"),
        ("parquet", "application/vnd.apache.parquet", "PAR1"),
        ("json", "application/json", "{"),
    ] {
        let address = format!("{BATCH}.{ending}");
        assert!(page.says(&format!("href=\"{address}\"")), "{ending}");
        let form = works.get(&address).await;
        assert_eq!((form.status, form.header("content-type")), (StatusCode::OK, media_type), "{ending}");
        assert!(form.text.starts_with(begins), "{ending}");
    }
    let curve = works.get("/machines/alder/curve.png?span=12h&width=600").await;
    assert!(curve.text.starts_with("\u{fffd}PNG"));
}

#[tokio::test]
async fn readings_of_one_channel_come_as_columns() {
    let asked = "machine=alder&channel=chocolate&from=2026-03-02T11:50:00Z&to=2026-03-02T12:00:00Z";
    let works = works(Entries::Closed);
    for points in ["", "&points=20"] {
        let answer = works.get(&format!("/api/v1/readings?{asked}&format=parquet{points}")).await;
        assert_eq!(
            (answer.status, answer.header("content-type")),
            (StatusCode::OK, "application/vnd.apache.parquet")
        );
        assert!(answer.text.starts_with("PAR1") && answer.text.ends_with("PAR1"));
    }
}
