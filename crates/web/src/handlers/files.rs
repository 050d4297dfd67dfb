//! Reports as files: the headers that make a browser keep them under a name that people recognise.

use axum::http::{HeaderName, HeaderValue, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;

use crate::archive::blocking;
use crate::problem::Problem;

/// A form as a page offers it.
#[derive(Serialize)]
pub(crate) struct FormLink {
    pub(crate) ending: &'static str,
    pub(crate) word: &'static str,
    pub(crate) href: String,
}

/// Links to `href` in each of these forms; a PDF only where something can set one.
pub(crate) fn form_links(href: &str, forms: &[(&'static str, &'static str)], has_pdf: bool) -> Vec<FormLink> {
    let offered = forms.iter().filter(|(ending, _)| has_pdf || *ending != "pdf");
    offered.map(|(ending, word)| FormLink { ending, word, href: format!("{href}.{ending}") }).collect()
}

/// A file of ours.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    Pdf,
    Xlsx,
    Csv,
    Svg,
    Png,
}

impl Kind {
    fn ending(self) -> &'static str {
        match self {
            Kind::Pdf => "pdf",
            Kind::Xlsx => "xlsx",
            Kind::Csv => "csv",
            Kind::Svg => "svg",
            Kind::Png => "png",
        }
    }

    fn media_type(self) -> &'static str {
        match self {
            Kind::Pdf => "application/pdf",
            Kind::Xlsx => "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
            Kind::Csv => "text/csv; charset=utf-8",
            Kind::Svg => "image/svg+xml",
            Kind::Png => "image/png",
        }
    }

    /// Shown by a browser rather than kept?
    fn is_shown(self) -> bool {
        match self {
            Kind::Pdf | Kind::Svg | Kind::Png => true,
            Kind::Xlsx | Kind::Csv => false,
        }
    }
}

/// `bytes` as a file called `name` and its ending.
pub(crate) fn file(kind: Kind, name: &str, bytes: Vec<u8>) -> Response {
    let how = if kind.is_shown() { "inline" } else { "attachment" };
    let plain: String =
        name.chars().map(|c| if c.is_ascii_alphanumeric() || c == '-' { c } else { '-' }).collect();
    let disposition = format!("{how}; filename=\"{plain}.{}\"", kind.ending());
    let mut response = bytes.into_response();
    let mut say = |name: HeaderName, value: &str| {
        let value = HeaderValue::from_str(value).expect("names are letters, digits and hyphens by now");
        response.headers_mut().insert(name, value);
    };
    say(header::CONTENT_TYPE, kind.media_type());
    say(header::CONTENT_DISPOSITION, &disposition);
    if kind == Kind::Svg {
        // Opened by itself it may show itself and nothing else.
        say(header::CONTENT_SECURITY_POLICY, "default-src 'none'; style-src 'unsafe-inline'");
    }
    response
}

/// Two pixels of the picture to one of the drawing, for screens and paper of today.
const SCALE: f32 = 2.0;

/// A drawing as a picture.
pub(crate) async fn png_of(svg: String) -> Result<Vec<u8>, Problem> {
    blocking(move || charts::png(&svg, SCALE)).await?.map_err(|cause| Problem::internal("no-picture", cause))
}

/// Rows as comma-separated values (RFC 4180).
pub(crate) fn csv(heads: &[&str], rows: impl IntoIterator<Item = Vec<String>>) -> Vec<u8> {
    let mut text = heads.join(",") + "\r\n";
    for row in rows {
        let cells: Vec<String> = row.iter().map(|cell| quoted(cell)).collect();
        text += &cells.join(",");
        text += "\r\n";
    }
    text.into_bytes()
}

/// A number by itself or with its unit behind it: neither is a formula.
fn is_number(cell: &str) -> bool {
    let (number, unit) = cell.split_once(' ').unwrap_or((cell, ""));
    let is_unit = |letter: char| letter.is_alphabetic() || "°%·/".contains(letter);
    number.parse::<f64>().is_ok() && unit.chars().all(is_unit)
}

/// A cell that would be taken for a formula by a spreadsheet is given a quote before it.
fn quoted(cell: &str) -> String {
    let is_number = is_number(cell);
    let cell = if cell.starts_with(['=', '+', '-', '@']) && !is_number {
        format!("'{cell}")
    } else {
        cell.to_owned()
    };
    if cell.contains([',', '"', '\n', '\r']) { format!("\"{}\"", cell.replace('"', "\"\"")) } else { cell }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_with_its_unit_is_no_formula() {
        let said = ["-0.06 °C", "+0.3", "-0.02 °C/h", "-1 2+3", "-1 =A1", "-A1", "-2 °C·min"].map(quoted);
        assert_eq!(said, ["-0.06 °C", "+0.3", "-0.02 °C/h", "'-1 2+3", "'-1 =A1", "'-A1", "-2 °C·min"]);
    }

    #[test]
    fn cells_are_quoted_and_formulas_disarmed() {
        let text = csv(
            &["what", "value"],
            [vec!["a, \"b\"".to_owned(), "-1.5".to_owned()], vec!["=1+1".to_owned(), String::new()]],
        );
        assert_eq!(String::from_utf8(text).unwrap(), "what,value\r\n\"a, \"\"b\"\"\",-1.5\r\n'=1+1,\r\n");
    }
}
