//! Cells, and the forms that need no numbers.

use jiff::tz::TimeZone;

use super::*;

#[test]
fn cells_are_said_as_people_say_them() {
    let zone = TimeZone::get("Europe/Lisbon").unwrap();
    let at = "2026-11-23T07:12:00Z".parse().unwrap();
    let cells = [Cell::Number(-0.001, 2), Cell::Number(31.456, 1), Cell::Moment(at), Cell::Nothing];
    assert_eq!(cells.map(|cell| cell.says(&zone)), ["0.00", "31.5", "Mon 23 Nov 2026 07:12", "–"]);
}

/// A table with every kind of cell and words that try to break out.
fn sheet() -> ReviewSheet {
    let at = "2026-11-23T07:12:00Z".parse().unwrap();
    let table = Table {
        columns: vec![
            ("Batch", Holds::Words),
            ("Why", Holds::Sentence),
            ("Cooling, min", Holds::Numbers),
            ("Due", Holds::Moments),
        ],
        rows: vec![vec![
            Cell::text("<b>Cedar & \"Birch\"</b> #strong[x] \\"),
            Cell::text("a test failed"),
            Cell::Number(104.25, 0),
            Cell::Moment(at),
        ]],
    };
    let section = Section {
        key: "exceptions",
        title: "Look at these first",
        says: vec!["The riskiest first.".to_owned()],
        table: Some(table),
        pictures: Vec::new(),
    };
    ReviewSheet {
        title: "Week 48 of 2026".to_owned(),
        plant: "Tern Street works".to_owned(),
        span: "23 November to 29 November 2026".to_owned(),
        headline: "Six batches; one of them needs a look.".to_owned(),
        lead: vec!["All of them have a temper test.".to_owned()],
        sections: vec![section],
        signed: None,
    }
}

#[test]
fn words_break_out_of_no_form() {
    let zone = TimeZone::get("Europe/Lisbon").unwrap();
    let html = review_html(&sheet(), &zone);
    assert!(html.contains("&lt;b&gt;Cedar &amp; &quot;Birch&quot;&lt;/b&gt;") && !html.contains("<b>Cedar"));
    let source = review_source(&sheet(), &zone);
    assert!(source.contains(
        r##""<b>Cedar & \"Birch\"</b> #strong[x] \\", "a test failed", "104", "Mon 23 Nov 2026 07:12""##
    ));
}

#[test]
fn a_workbook_is_a_zip_of_the_same_bytes_each_time() {
    let zone = TimeZone::get("Europe/Lisbon").unwrap();
    let made = "2026-11-30T00:00:00Z".parse().unwrap();
    let [first, again] = [0, 1].map(|_| review_xlsx(&sheet(), &zone, made).unwrap());
    // PKWARE APPNOTE: a local file header begins so.
    assert!(first.starts_with(b"PK\x03\x04"));
    assert_eq!(first, again);
}
