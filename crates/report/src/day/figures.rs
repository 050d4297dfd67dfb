//! The figures of a day beside what is usual, as rows for a page, a table file and a workbook.

use history::day::{Deviation, Way};
use jiff::tz::TimeZone;
use model::{BatchId, MachineId, Timestamp};
use serde::Serialize;

use super::clue::{name_of, said, unit_of};
use crate::names::Names;
use crate::week::{Cell, Holds, ReviewSheet, Section, Table, XlsxError, review_xlsx};

/// One figure of one batch.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FigureRow {
    /// As people call the machine.
    pub machine: String,
    /// The batch's id.
    pub batch: String,
    /// What people call the figure.
    pub figure: String,
    /// The value, with its unit.
    pub value: String,
    /// The usual one.
    pub usual: String,
    /// From how many batches it comes.
    pub batches: usize,
    /// How many spreads apart.
    pub spreads: String,
    /// `high`, `low`, or nothing where it does not stand out.
    pub stands_out: &'static str,
}

/// Rows in the order of machines and of a batch's day.
pub fn figure_rows(compared: &[(MachineId, BatchId, Deviation)], names: &Names) -> Vec<FigureRow> {
    let row = |(machine, batch, deviation): &(MachineId, BatchId, Deviation)| FigureRow {
        machine: names.machine(machine).to_owned(),
        batch: batch.to_string(),
        figure: crate::saying::capital(name_of(deviation.figure)),
        value: said(deviation.figure, deviation.value),
        usual: said(deviation.figure, deviation.usual),
        batches: deviation.batches,
        spreads: format!("{:+.1}", deviation.z),
        stands_out: match deviation.way() {
            Some(Way::High) => "high",
            Some(Way::Low) => "low",
            None => "",
        },
    };
    compared.iter().map(row).collect()
}

/// The same as a workbook, with numbers that are numbers.
///
/// # Errors
/// When the workbook cannot be put together.
pub fn figures_xlsx(
    title: &str,
    plant: &str,
    (headline, lead): (&str, &[String]),
    compared: &[(MachineId, BatchId, Deviation)],
    names: &Names,
    (zone, made): (&TimeZone, Timestamp),
) -> Result<Vec<u8>, XlsxError> {
    let row = |(machine, batch, deviation): &(MachineId, BatchId, Deviation)| {
        let (unit, decimals) = unit_of(deviation.figure);
        vec![
            Cell::text(names.machine(machine)),
            Cell::Batch(batch.clone(), batch.to_string()),
            Cell::text(name_of(deviation.figure)),
            Cell::text(unit),
            Cell::Number(deviation.value, decimals),
            Cell::Number(deviation.usual, decimals),
            Cell::Number(deviation.batches as f64, 0),
            Cell::Number(deviation.z, 1),
        ]
    };
    let table = Table {
        columns: vec![
            ("Machine", Holds::Words),
            ("Batch", Holds::Words),
            ("Figure", Holds::Words),
            ("Unit", Holds::Words),
            ("Value", Holds::Numbers),
            ("Usual", Holds::Numbers),
            ("Batches", Holds::Numbers),
            ("Spreads apart", Holds::Numbers),
        ],
        rows: compared.iter().map(row).collect(),
    };
    let section = Section {
        key: "figures",
        title: "Figures",
        says: vec!["Each figure against the median of the machine's own earlier batches of the same couverture: the good ones, where there are enough.".to_owned()],
        table: Some(table),
        pictures: Vec::new(),
    };
    let sheet = ReviewSheet {
        title: title.to_owned(),
        plant: plant.to_owned(),
        span: title.to_owned(),
        headline: headline.to_owned(),
        lead: lead.to_vec(),
        sections: vec![section],
        signed: None,
    };
    review_xlsx(&sheet, zone, made)
}
