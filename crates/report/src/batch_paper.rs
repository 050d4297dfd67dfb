//! A batch on two sheets of A4: the statement and the curve on the first, the figures and the record on the second.

use crate::typst::{Column, Source};
use crate::{MeasureRow, TEMPER_CAUTION};

/// Everything that stands on the two sheets.
#[derive(Debug, Clone, Default)]
pub struct BatchPaper {
    /// `Alder, Mon 2 March 2026, 07:05`.
    pub title: String,
    /// The plant's name.
    pub plant: String,
    /// Couverture, lot, mass and method in a line.
    pub about: String,
    /// The standing in a word, and why.
    pub standing: (String, String),
    /// The statement, a paragraph each.
    pub statement: Vec<String>,
    /// The picture of the curve by name, and its sentence.
    pub sheet: Option<(String, String)>,
    /// From what the reference band comes.
    pub reference: String,
    /// Findings: how soon, what, when, and what was the matter.
    pub findings: Vec<[String; 4]>,
    /// Figures beside the usual ones.
    pub measures: Vec<MeasureRow>,
    /// From what the usual figures come.
    pub usual: String,
    /// Phases: name, from, how long.
    pub phases: Vec<[String; 3]>,
    /// Events: when, what, by whom.
    pub events: Vec<[String; 3]>,
    /// Of tests: the curve of a sample and the photo of a smear, each by name with its sentence.
    pub tests: Vec<(String, String)>,
    /// What is said below them.
    pub tests_note: String,
}

/// The source of a batch's report.
pub fn batch_source(paper: &BatchPaper) -> String {
    let mut source = Source::new(&paper.title, &format!("{}, batch report, {}", paper.plant, paper.title));
    source.heading(1, &paper.title);
    source.note(&paper.about);
    source.marked(&paper.standing.0, &paper.standing.1);
    paper.statement.iter().for_each(|paragraph| source.paragraph(paragraph));
    if let Some((name, says)) = &paper.sheet {
        source.picture(name, says);
        source.note(&paper.reference);
    }
    source.heading(2, "Findings");
    if paper.findings.is_empty() {
        source.paragraph("Nothing was found.");
    }
    let rows = |rows: &[[String; 3]]| -> Vec<Vec<String>> { rows.iter().map(|row| row.to_vec()).collect() };
    let findings: Vec<Vec<String>> = paper.findings.iter().map(|row| row.to_vec()).collect();
    let columns = [
        ("How soon", Column::Words),
        ("What", Column::Words),
        ("Raised", Column::Words),
        ("It says", Column::Wide),
    ];
    source.table(&columns, &findings);
    source.heading(2, "Measures");
    let measures: Vec<Vec<String>> = paper
        .measures
        .iter()
        .map(|row| {
            vec![crate::saying::capital(row.label), row.says(), row.usual_says(), row.meaning.to_owned()]
        })
        .collect();
    source.table(
        &[
            ("Measure", Column::Words),
            ("This batch", Column::Number),
            ("Usual here", Column::Number),
            ("What it is", Column::Wide),
        ],
        &measures,
    );
    source.note(&paper.usual);
    source.heading(2, "Phases");
    source.table(
        &[("Phase", Column::Words), ("From", Column::Words), ("For", Column::Wide)],
        &rows(&paper.phases),
    );
    source.heading(2, "Tests and events");
    if paper.events.is_empty() {
        source.paragraph("No test or event was entered.");
    }
    source.table(
        &[("When", Column::Words), ("What", Column::Wide), ("By", Column::Words)],
        &rows(&paper.events),
    );
    let pictures: Vec<(&str, &str)> =
        paper.tests.iter().map(|(name, says)| (name.as_str(), says.as_str())).collect();
    source.low_pictures(&pictures);
    if !paper.tests_note.is_empty() {
        source.note(&paper.tests_note);
    }
    source.note(TEMPER_CAUTION);
    source.finish()
}
