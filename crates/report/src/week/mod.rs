//! The review of a week as sections: a title, sentences, a table, pictures.
//!
//! Page, PDF, XLSX and HTML file are made from the same sections, so that no form knows more than another. A cell keeps
//! its number or moment until it is written, because a spreadsheet wants numbers and a page wants words.
//!
//! **Invariant:** machines stand in the order of the plant file and are never ranked; every share and every capability
//! has its number of values beside it.

mod alarms;
mod document;
mod html;
mod paper;
mod people;
mod pictures;
mod process;
mod record;
mod xlsx;

use history::week::Review;
use jiff::tz::TimeZone;
use model::{BatchId, Timestamp};

use crate::names::Names;

pub use self::document::ReviewDto;
pub use self::html::review_html;
pub use self::paper::review_source;
pub use self::pictures::{Course, Gallery, Picture};
pub use self::xlsx::{XlsxError, review_xlsx};

/// One cell of a table.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// Words.
    Text(String),
    /// A number with as many decimals as mean something.
    Number(f64, usize),
    /// A moment.
    Moment(Timestamp),
    /// A batch, by the name that people see.
    Batch(BatchId, String),
    /// Not known.
    Nothing,
}

impl Cell {
    pub(crate) fn text(words: impl Into<String>) -> Cell {
        Cell::Text(words.into())
    }

    pub(crate) fn number(value: Option<f64>, decimals: usize) -> Cell {
        value.filter(|value| value.is_finite()).map_or(Cell::Nothing, |value| Cell::Number(value, decimals))
    }

    pub(crate) fn count(n: usize) -> Cell {
        Cell::Number(n as f64, 0)
    }

    pub(crate) fn moment(at: Option<Timestamp>) -> Cell {
        at.map_or(Cell::Nothing, Cell::Moment)
    }

    /// As a page or a sheet of paper shows it.
    pub fn says(&self, zone: &TimeZone) -> String {
        match self {
            Cell::Text(words) | Cell::Batch(_, words) => words.clone(),
            Cell::Number(value, decimals) => {
                let scale = 10_f64.powi(i32::try_from(*decimals).unwrap_or(0));
                format!("{:.decimals$}", (value * scale).round() / scale + 0.0)
            }
            Cell::Moment(at) => zone.to_datetime(at.to_jiff()).strftime("%a %-d %b %Y %H:%M").to_string(),
            Cell::Nothing => "–".to_owned(),
        }
    }
}

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Holds {
    /// Words.
    Words,
    /// Longer words.
    Sentence,
    /// Numbers.
    Numbers,
    /// Moments.
    Moments,
}

/// A table of a section.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Table {
    /// Heads, each with its unit, and what stands beneath.
    pub columns: Vec<(&'static str, Holds)>,
    /// As many cells a row as there are columns.
    pub rows: Vec<Vec<Cell>>,
}

/// One section of the review.
#[derive(Debug, Clone, PartialEq)]
pub struct Section {
    /// For addresses and sheets: `exceptions`.
    pub key: &'static str,
    /// For people.
    pub title: &'static str,
    /// What has to be said before the table.
    pub says: Vec<String>,
    /// The table, if there is one.
    pub table: Option<Table>,
    /// Pictures beneath it.
    pub pictures: Vec<Picture>,
}

/// A review, ready to be written in any form.
#[derive(Debug, Clone, PartialEq)]
pub struct ReviewSheet {
    /// `Week 48 of 2026`.
    pub title: String,
    /// The plant's name.
    pub plant: String,
    /// `23 November 2026 to 29 November 2026`.
    pub span: String,
    /// One sentence that can be read from the door.
    pub headline: String,
    /// What it means, a paragraph each.
    pub lead: Vec<String>,
    /// Exceptions first.
    pub sections: Vec<Section>,
    /// Who signed it and its digest, if anybody did.
    pub signed: Option<String>,
}

/// Everything that the sections are made from.
#[derive(Debug, Clone, Copy)]
pub struct Reviewed<'a> {
    /// The review.
    pub review: &'a Review,
    /// What people call machines and couvertures.
    pub names: &'a Names,
    /// The plant's clock.
    pub zone: &'a TimeZone,
    /// The plant's name.
    pub plant: &'a str,
    /// Curves of the week's batches, where readings are at hand.
    pub galleries: &'a [Gallery],
    /// Who signed it and its digest.
    pub signed: Option<&'a str>,
}

/// Puts a review into sections.
pub fn review_sheet(reviewed: &Reviewed<'_>) -> ReviewSheet {
    let review = reviewed.review;
    let date = |at: Timestamp, how: &str| reviewed.zone.to_datetime(at.to_jiff()).strftime(how).to_string();
    let last = review.to - model::Span::from_hours(12);
    let label = review.week.to_string();
    let (year, week) = label.split_once("-W").unwrap_or((&label, ""));
    ReviewSheet {
        title: format!("Week {} of {year}", week.trim_start_matches('0')),
        plant: reviewed.plant.to_owned(),
        span: format!("{} to {}", date(review.from, "%-d %B %Y"), date(last, "%-d %B %Y")),
        headline: people::headline(review),
        lead: people::lead(reviewed),
        sections: vec![
            people::exceptions(reviewed),
            people::actions(reviewed),
            people::batches(reviewed),
            process::gallery(reviewed),
            process::holds(reviewed),
            process::charts(reviewed),
            process::trends(reviewed),
            alarms::alarms(reviewed),
            record::findings(reviewed),
            record::lots(reviewed),
            record::rooms(reviewed),
            process::probes(reviewed),
            record::data(reviewed),
        ],
        signed: reviewed.signed.map(str::to_owned),
    }
}

impl Reviewed<'_> {
    /// A batch as people see it.
    fn batch(&self, batch: &model::Batch) -> Cell {
        Cell::Batch(batch.id.clone(), self.names.batch(batch, self.zone))
    }
}

#[cfg(test)]
mod tests;
