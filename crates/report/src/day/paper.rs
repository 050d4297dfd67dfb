//! A day on paper: the answer first, then the evidence, then the courses laid over each other.

use super::DayWords;
use crate::typst::{Column, Source};

/// The source of a day's report. `overlays` are pictures by name, each with its sentence; `batches` are rows of machine,
/// couverture, start of cooling, length of cooling and standing.
pub fn day_source(
    title: &str,
    plant: &str,
    words: &DayWords,
    overlays: &[(&str, &str)],
    batches: &[[String; 5]],
) -> String {
    let mut source = Source::new(title, &format!("{plant}, {title}"));
    source.heading(1, title);
    source.lead(&words.headline);
    words.lead.iter().for_each(|paragraph| source.paragraph(paragraph));
    if !words.causes.is_empty() {
        source.heading(2, "Causes, the most probable first");
    }
    for cause in &words.causes {
        source.heading(3, &format!("{}: {}", crate::saying::capital(cause.likelihood), cause.title));
        if !cause.place.is_empty() {
            source.note(&format!("On {}.", cause.place));
        }
        let told = |head: &str, clues: &[String]| format!("{head}: {}.", clues.join("; "));
        source.paragraph(&told("For", &cause.supports));
        if !cause.opposes.is_empty() {
            source.paragraph(&told("Against", &cause.opposes));
        }
        if !cause.missing.is_empty() {
            source.paragraph(&format!("Not known: {}.", cause.missing.join("; ")));
        }
        source.paragraph(&format!("Cheapest check: {}.", cause.check));
        cause.caution.iter().for_each(|caution| source.note(caution));
    }
    if !words.further.is_empty() {
        source.note(&format!("Possible, too: {}.", words.further.join("; ").to_lowercase()));
    }
    if !words.others.is_empty() {
        source.note(&format!("Little speaks for: {}.", words.others.join("; ").to_lowercase()));
    }
    if !words.moved.is_empty() {
        source.heading(2, "What moved first");
        source.list(words.moved.iter().map(String::as_str));
    }
    if !words.unexplained.is_empty() {
        source.heading(2, "Not explained by the first cause");
        source.list(words.unexplained.iter().map(String::as_str));
    }
    if !overlays.is_empty() {
        source.heading(2, "Courses laid over each other at the start of cooling");
        source.pictures(overlays, 1);
    }
    source.heading(2, "Batches of the day");
    if batches.is_empty() {
        source.paragraph("There were none.");
    }
    let columns = [
        ("Machine", Column::Words),
        ("Couverture", Column::Wide),
        ("Cooling from", Column::Words),
        ("Cooling", Column::Number),
        ("Standing", Column::Words),
    ];
    let rows: Vec<Vec<String>> = batches.iter().map(|row| row.to_vec()).collect();
    source.table(&columns, &rows);
    source.note(&words.basis);
    source.finish()
}
