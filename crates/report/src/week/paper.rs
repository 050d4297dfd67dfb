//! The review on paper: exceptions first, tables with real columns, curves and charts in a grid.

use jiff::tz::TimeZone;

use super::{Holds, ReviewSheet, Section, Table};
use crate::typst::{Column, Source};

/// The source of a review. Its pictures are those of the sheet's sections, each named `<name>.svg`.
pub fn review_source(sheet: &ReviewSheet, zone: &TimeZone) -> String {
    let title = format!("{}, {}", sheet.plant, sheet.title);
    let foot = match &sheet.signed {
        Some(signed) => format!("{title}. {signed}"),
        None => format!("{title}. Not signed."),
    };
    let mut source = Source::new(&title, &foot);
    source.heading(1, &sheet.title);
    source.note(&format!("{}, {}", sheet.plant, sheet.span));
    source.lead(&sheet.headline);
    sheet.lead.iter().for_each(|paragraph| source.paragraph(paragraph));
    for section in &sheet.sections {
        add(&mut source, section, zone);
    }
    source.finish()
}

fn add(source: &mut Source, section: &Section, zone: &TimeZone) {
    source.heading(2, section.title);
    section.says.iter().for_each(|sentence| source.note(sentence));
    if let Some(table) = &section.table {
        add_table(source, table, zone);
    }
    let name = |picture: &super::Picture| format!("{}.svg", picture.name);
    for picture in section.pictures.iter().filter(|picture| picture.is_wide) {
        source.picture(&name(picture), &picture.says);
    }
    let narrow: Vec<(String, &str)> = section
        .pictures
        .iter()
        .filter(|picture| !picture.is_wide)
        .map(|picture| (name(picture), picture.says.as_str()))
        .collect();
    let narrow: Vec<(&str, &str)> = narrow.iter().map(|(name, says)| (name.as_str(), *says)).collect();
    source.pictures(&narrow, 2);
}

fn add_table(source: &mut Source, table: &Table, zone: &TimeZone) {
    let columns: Vec<(&str, Column)> = table
        .columns
        .iter()
        .map(|(head, holds)| {
            let column = match holds {
                Holds::Words | Holds::Moments => Column::Words,
                Holds::Sentence => Column::Wide,
                Holds::Numbers => Column::Number,
            };
            (*head, column)
        })
        .collect();
    let rows: Vec<Vec<String>> =
        table.rows.iter().map(|row| row.iter().map(|cell| cell.says(zone)).collect()).collect();
    source.table(&columns, &rows);
}
