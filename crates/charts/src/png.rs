//! A drawing as a picture of pixels, for those who paste it into a letter or a spreadsheet.
//!
//! The same SVG that a page shows, set in letters that come with the program, so that a picture looks alike whatever
//! is installed where it is made.
//!
//! Never touches a font, a file or a picture outside: the drawing is all there is.

use std::sync::{Arc, LazyLock};

use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::fontdb::Database;
use resvg::usvg::{Options, Tree};

/// Wider or higher pictures than this are no drawings of ours.
const MOST_PIXELS: f32 = 8_192.0;

static LETTERS: LazyLock<Arc<Database>> = LazyLock::new(|| {
    let mut letters = Database::new();
    for face in [
        include_bytes!("../assets/Roboto-Regular.ttf").as_slice(),
        include_bytes!("../assets/Roboto-Bold.ttf").as_slice(),
    ] {
        letters.load_font_data(face.to_vec());
    }
    letters.set_sans_serif_family("Roboto");
    Arc::new(letters)
});

/// Why a drawing could not be made a picture.
#[derive(Debug, thiserror::Error)]
pub enum PngError {
    /// It is no drawing.
    #[error("the drawing cannot be read")]
    Drawing(#[from] resvg::usvg::Error),
    /// It is larger than any of ours, or empty.
    #[error("a picture of {width} by {height} pixels is too large or too small to be made")]
    Size {
        /// Pixels across.
        width: f32,
        /// Pixels down.
        height: f32,
    },
    /// The picture cannot be written.
    #[error("the picture cannot be written: {0}")]
    Picture(String),
}

/// `svg` as PNG, `scale` pixels of the picture to one of the drawing.
///
/// # Errors
/// If `svg` is no drawing, or larger than can be made.
pub fn png(svg: &str, scale: f32) -> Result<Vec<u8>, PngError> {
    let options = Options { fontdb: LETTERS.clone(), font_family: "Roboto".to_owned(), ..Options::default() };
    let tree = Tree::from_str(svg, &options)?;
    let (width, height) = (tree.size().width() * scale, tree.size().height() * scale);
    let fits = (1.0..=MOST_PIXELS).contains(&width) && (1.0..=MOST_PIXELS).contains(&height);
    let paper = fits.then(|| Pixmap::new(width.ceil() as u32, height.ceil() as u32)).flatten();
    let mut paper = paper.ok_or(PngError::Size { width, height })?;
    resvg::render(&tree, Transform::from_scale(scale, scale), &mut paper.as_mut());
    paper.encode_png().map_err(|error| PngError::Picture(error.to_string()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Sparkline;
    use model::Timestamp;

    #[test]
    fn a_drawing_becomes_a_picture_of_its_size_with_letters_in_it() {
        let svg = r##"<svg xmlns="http://www.w3.org/2000/svg" width="80" height="30"><rect width="80" height="30"
            fill="#ffffff"/><text x="4" y="20" font-family="system-ui, sans-serif" font-size="16">Ag</text></svg>"##;
        let picture = Pixmap::decode_png(&png(svg, 2.0).unwrap()).unwrap();
        assert_eq!((picture.width(), picture.height()), (160, 60));
        assert!(picture.pixels().iter().any(|pixel| pixel.red() < 100), "no letter was set");
    }

    #[test]
    fn what_is_no_drawing_or_too_large_is_said() {
        assert!(png("no drawing", 1.0).is_err());
        let wide = r#"<svg xmlns="http://www.w3.org/2000/svg" width="9000" height="10"/>"#;
        let said = png(wide, 1.0).unwrap_err().to_string();
        assert_eq!(said, "a picture of 9000 by 10 pixels is too large or too small to be made");
    }

    #[test]
    fn our_own_drawings_are_read() {
        let at = |minute: i64| Timestamp::from_millis(minute * 60_000);
        let readings: Vec<_> =
            (0..60).map(|minute| (at(minute), Some(31.0 + minute as f64 / 60.0))).collect();
        let svg =
            Sparkline { title: "Alder", from: at(0), to: at(60), readings: &readings, band: None }.svg();
        assert_eq!(&png(&svg, 1.0).unwrap()[1..4], b"PNG");
    }
}
