//! Typst source in, PDF out: offline, with embedded fonts, always the same bytes for the same source.
//!
//! A crate of its own because the typesetter is a third of all compile time, and most of what the program does needs
//! none of it. It knows nothing of chocolate: `report` writes the source, `charts` the pictures, and this sets them.
//!
//! Never opens a file, a socket or a clock: a source that asks for a package or the date of today is refused.

mod error;
mod world;

pub use crate::error::PaperError;

use typst_pdf::PdfOptions;

use crate::world::{Sheet, fault_of};

/// Sets `source` as PDF. `files` are what it may refer to, by name: pictures, mostly.
///
/// # Errors
/// With the line of `source` and what is wrong there.
pub fn pdf(source: &str, files: &[(&str, Vec<u8>)]) -> Result<Vec<u8>, PaperError> {
    let sheet = Sheet::new(source, files)?;
    let set = typst::compile(&sheet)
        .output
        .and_then(|document| typst_pdf::pdf(&document, &PdfOptions::default()))
        .map_err(|faults| fault_of(&sheet, faults.first()));
    // The typesetter remembers what it has set; one report has little to do with the next.
    typst::comemo::evict(KEPT_ROUNDS);
    set
}

/// What has not been used for so many sheets is forgotten.
const KEPT_ROUNDS: usize = 2;

#[cfg(test)]
mod tests {
    use super::*;

    const SQUARE: &str = r#"<svg xmlns="http://www.w3.org/2000/svg" width="40" height="40"><rect width="40" height="40"/><text x="2" y="12">31.5 °C</text></svg>"#;

    #[test]
    fn text_and_picture_become_a_pdf_and_always_the_same_one() {
        let source = "= Week 48\n#image(\"curve.svg\", width: 50%)";
        let files = [("curve.svg", SQUARE.as_bytes().to_vec())];
        let first = pdf(source, &files).unwrap();
        assert!(first.starts_with(b"%PDF-1."));
        assert_eq!(first, pdf(source, &files).unwrap());
    }

    #[test]
    fn a_fault_names_its_line() {
        let error = pdf("= Week 48\n\n#image(\"nowhere.svg\")", &[]).unwrap_err().to_string();
        assert!(error.starts_with("line 3: "), "{error}");
        let error = pdf("#let a = (", &[]).unwrap_err().to_string();
        assert!(error.starts_with("line 1: "), "{error}");
    }

    #[test]
    fn nothing_is_fetched_and_no_clock_is_read() {
        assert!(pdf("#import \"@preview/example:0.1.0\": add", &[]).is_err());
        assert!(pdf("#datetime.today().display()", &[]).is_err());
    }

    #[test]
    fn a_name_that_is_no_name_is_refused() {
        assert!(matches!(pdf("", &[("../a.svg", Vec::new())]), Err(PaperError::Name { .. })));
    }
}
