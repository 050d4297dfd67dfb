//! The review as a workbook: one sheet a table, with real numbers, real dates, and columns as wide as what stands in them.
//!
//! Dates are the plant's local time, because a spreadsheet knows no zones; the first sheet says which.

use jiff::tz::TimeZone;
use model::Timestamp;
use rust_xlsxwriter::{DocProperties, ExcelDateTime, Format, FormatAlign, Workbook, Worksheet};

use super::{Cell, ReviewSheet, Section, Table};

/// Why a workbook could not be written.
#[derive(Debug, thiserror::Error)]
#[error("cannot write the workbook")]
pub struct XlsxError(#[from] rust_xlsxwriter::XlsxError);

/// Narrower columns cannot be read, wider ones are wrapped.
const WIDTHS: (f64, f64) = (6.0, 60.0);

/// A sheet's name has at most so many letters.
const LONGEST_NAME: usize = 31;

/// The review as a workbook. Always the same bytes for the same review: its date of making is the week's end.
///
/// # Errors
/// When the workbook cannot be put together.
pub fn review_xlsx(sheet: &ReviewSheet, zone: &TimeZone, made: Timestamp) -> Result<Vec<u8>, XlsxError> {
    let mut book = Workbook::new();
    let properties = DocProperties::new()
        .set_title(format!("{}, {}", sheet.plant, sheet.title))
        .set_creation_datetime(&local(made, zone)?);
    book.set_properties(&properties);
    summary(book.add_worksheet(), sheet, zone)?;
    for section in &sheet.sections {
        if let Some(table) = section.table.as_ref().filter(|table| !table.rows.is_empty()) {
            add(book.add_worksheet(), section, table, zone)?;
        }
    }
    Ok(book.save_to_buffer()?)
}

fn summary(page: &mut Worksheet, sheet: &ReviewSheet, zone: &TimeZone) -> Result<(), XlsxError> {
    let (bold, wrapped) = (Format::new().set_bold().set_font_size(14), wrapped());
    page.set_name("Summary")?.set_column_width(0, 110)?;
    page.write_string_with_format(0, 0, format!("{}, {}", sheet.plant, sheet.title), &bold)?;
    let clock = zone.iana_name().unwrap_or("the plant's own");
    let mut lines = vec![sheet.span.clone(), sheet.headline.clone()];
    lines.extend(sheet.lead.iter().cloned());
    lines.push(format!("Times are local ({clock})."));
    lines.push(sheet.signed.clone().unwrap_or_else(|| "Not signed.".to_owned()));
    for section in &sheet.sections {
        lines.extend(section.says.iter().map(|says| format!("{}: {says}", section.title)));
    }
    for (row, line) in (1..).zip(&lines) {
        page.write_string_with_format(row, 0, line, &wrapped)?;
    }
    page.set_paper_size(A4).set_print_fit_to_pages(1, 0);
    Ok(())
}

/// Paper size 9 of the file format (ECMA-376).
const A4: u8 = 9;

fn wrapped() -> Format {
    Format::new().set_text_wrap().set_align(FormatAlign::Top)
}

fn add(page: &mut Worksheet, section: &Section, table: &Table, zone: &TimeZone) -> Result<(), XlsxError> {
    let head = Format::new().set_bold().set_text_wrap().set_align(FormatAlign::Top);
    let wrapped = wrapped();
    let date = Format::new().set_num_format("yyyy-mm-dd hh:mm").set_align(FormatAlign::Top);
    page.set_name(name(section.title))?;
    let mut widths = vec![WIDTHS.0; table.columns.len()];
    for (column, (words, _)) in (0..).zip(&table.columns) {
        page.write_string_with_format(0, column, *words, &head)?;
        // A long head wraps at its words.
        widen(&mut widths, column, words.split(' ').map(str::len).max().unwrap_or(0));
    }
    for (row, cells) in (1..).zip(&table.rows) {
        for (column, cell) in (0..).zip(cells) {
            widen(&mut widths, column, cell.says(zone).chars().count());
            match cell {
                Cell::Text(words) | Cell::Batch(_, words) => {
                    page.write_string_with_format(row, column, words, &wrapped)?;
                }
                Cell::Number(value, decimals) => {
                    let format = Format::new().set_num_format(pattern(*decimals)).set_align(FormatAlign::Top);
                    page.write_number_with_format(row, column, *value, &format)?;
                }
                Cell::Moment(at) => {
                    page.write_datetime_with_format(row, column, &local(*at, zone)?, &date)?;
                }
                Cell::Nothing => {}
            }
        }
    }
    for (column, width) in (0..).zip(widths) {
        page.set_column_width(column, width)?;
    }
    let last = (u32::try_from(table.rows.len()).unwrap_or(u32::MAX), last_column(table));
    page.autofilter(0, 0, last.0, last.1)?;
    page.set_freeze_panes(1, 1)?.set_repeat_rows(0, 0)?;
    page.set_paper_size(A4).set_landscape().set_print_fit_to_pages(1, 0);
    Ok(())
}

fn last_column(table: &Table) -> u16 {
    u16::try_from(table.columns.len().saturating_sub(1)).unwrap_or(u16::MAX)
}

fn widen(widths: &mut [f64], column: u16, letters: usize) {
    if let Some(width) = widths.get_mut(usize::from(column)) {
        *width = width.max((letters as f64 * 1.05 + 2.0).min(WIDTHS.1));
    }
}

/// `0.00`.
fn pattern(decimals: usize) -> String {
    if decimals == 0 { "0".to_owned() } else { format!("0.{}", "0".repeat(decimals)) }
}

/// A sheet's name may hold no `[]:*?/\`.
fn name(title: &str) -> String {
    title
        .chars()
        .filter(|c| !matches!(c, '[' | ']' | ':' | '*' | '?' | '/' | '\\'))
        .take(LONGEST_NAME)
        .collect()
}

/// The plant's own wall clock.
fn local(at: Timestamp, zone: &TimeZone) -> Result<ExcelDateTime, XlsxError> {
    let at = zone.to_datetime(at.to_jiff());
    let (year, month, day) = (at.year(), at.month(), at.day());
    let clock = (at.hour(), at.minute(), at.second());
    let date = ExcelDateTime::from_ymd(
        u16::try_from(year).unwrap_or(1900),
        month.unsigned_abs(),
        day.unsigned_abs(),
    )?;
    Ok(date.and_hms(u16::from(clock.0.unsigned_abs()), clock.1.unsigned_abs(), f64::from(clock.2))?)
}
