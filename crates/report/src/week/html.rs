//! The review as one HTML file that needs nothing beside it: for a mail, an archive, a printer.

use std::fmt::Write as _;

use jiff::tz::TimeZone;

use super::{Holds, ReviewSheet, Section, Table};

const STYLE: &str = "body{font:16px/1.45 system-ui,sans-serif;color:#2a201a;background:#fcf9f3;max-width:72rem;margin:0 auto;padding:1rem}\
h1{font-size:1.7rem;margin:0}h2{font-size:1.2rem;color:#5e3019;margin:1.8rem 0 .4rem}p{max-width:46rem;margin:.4rem 0}\
.lead{font-size:1.15rem}.soft{color:#6a5d53}.scroll{overflow-x:auto}table{border-collapse:collapse;font-size:.9rem;margin:.4rem 0}\
th{text-align:left;border-bottom:1px solid #cdbfae;vertical-align:bottom;color:#6a5d53}td,th{padding:.22rem .6rem .22rem 0}\
td{vertical-align:top;border-bottom:1px solid #ece3d7}.num{text-align:right;font-variant-numeric:tabular-nums}\
.pictures{display:grid;grid-template-columns:repeat(auto-fit,minmax(20rem,1fr));gap:.6rem}.wide{grid-column:1/-1}svg{max-width:100%;height:auto}\
@media print{body{background:none;font-size:10pt}h2{break-after:avoid}tr,svg{break-inside:avoid}}";

/// The review as a whole HTML document.
pub fn review_html(sheet: &ReviewSheet, zone: &TimeZone) -> String {
    let mut out = String::new();
    let title = format!("{}, {}", sheet.title, sheet.plant);
    put(
        &mut out,
        format_args!(
            "<!doctype html>\n<html lang=\"en\">\n<head><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"><title>{}</title><style>{STYLE}</style></head>\n<body>\n<h1>{}</h1>\n<p class=\"soft\">{}, {}</p>\n<p class=\"lead\">{}</p>\n",
            escape(&title),
            escape(&sheet.title),
            escape(&sheet.plant),
            escape(&sheet.span),
            escape(&sheet.headline)
        ),
    );
    sheet.lead.iter().for_each(|paragraph| put(&mut out, format_args!("<p>{}</p>\n", escape(paragraph))));
    sheet.sections.iter().for_each(|section| add(&mut out, section, zone));
    let signed = sheet.signed.as_deref().unwrap_or("Not signed.");
    put(&mut out, format_args!("<p class=\"soft\">{}</p>\n</body>\n</html>\n", escape(signed)));
    out
}

fn put(out: &mut String, what: std::fmt::Arguments<'_>) {
    out.write_fmt(what).expect("a String takes all that is written");
}

fn add(out: &mut String, section: &Section, zone: &TimeZone) {
    put(out, format_args!("<section id=\"{}\"><h2>{}</h2>\n", section.key, escape(section.title)));
    section.says.iter().for_each(|says| put(out, format_args!("<p class=\"soft\">{}</p>\n", escape(says))));
    if let Some(table) = section.table.as_ref().filter(|table| !table.rows.is_empty()) {
        add_table(out, table, zone);
    }
    if !section.pictures.is_empty() {
        out.push_str("<div class=\"pictures\">\n");
        for picture in &section.pictures {
            let class = if picture.is_wide { " class=\"wide\"" } else { "" };
            put(out, format_args!("<div{class}>{}</div>\n", picture.svg));
        }
        out.push_str("</div>\n");
    }
    out.push_str("</section>\n");
}

fn add_table(out: &mut String, table: &Table, zone: &TimeZone) {
    let class = |holds: Holds| if holds == Holds::Numbers { " class=\"num\"" } else { "" };
    out.push_str("<div class=\"scroll\"><table><thead><tr>");
    for (head, holds) in &table.columns {
        put(out, format_args!("<th scope=\"col\"{}>{}</th>", class(*holds), escape(head)));
    }
    out.push_str("</tr></thead><tbody>\n");
    for row in &table.rows {
        out.push_str("<tr>");
        for (cell, (_, holds)) in row.iter().zip(&table.columns) {
            put(out, format_args!("<td{}>{}</td>", class(*holds), escape(&cell.says(zone))));
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody></table></div>\n");
}

/// Text that cannot break out of an element or attribute.
fn escape(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            c => safe.push(c),
        }
    }
    safe
}
