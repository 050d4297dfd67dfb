//! The `<svg>` around a drawing: size, the sentence that tells what it shows, and what a script needs to know.
//!
//! Never sets an id, so that any number of charts can stand in one page.

use std::fmt::Write as _;

use crate::ink::escape;

/// The drawing's letters: whatever the reader's system likes best.
const LETTERS: &str = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Noto Sans', 'DejaVu Sans', sans-serif";

/// What goes around a drawing.
pub(crate) struct Frame<'a> {
    pub(crate) class: &'a str,
    pub(crate) width: u32,
    pub(crate) height: u32,
    pub(crate) title: &'a str,
    pub(crate) sentence: &'a str,
    /// `data-` attributes: name without the prefix, and value.
    pub(crate) data: &'a [(&'a str, String)],
}

impl Frame<'_> {
    /// The whole SVG document around `drawing`.
    pub(crate) fn around(&self, drawing: &str) -> String {
        let Frame { class, width, height, title, sentence, data } = self;
        let mut out = String::with_capacity(drawing.len() + 1024);
        let mut put =
            |text: std::fmt::Arguments<'_>| out.write_fmt(text).expect("a String takes all that is written");
        put(format_args!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"hd-chart {class}\" role=\"img\" \
             viewBox=\"0 0 {width} {height}\" width=\"{width}\" height=\"{height}\" font-family=\"{LETTERS}\""
        ));
        for (name, value) in *data {
            put(format_args!(" data-{name}=\"{}\"", escape(value)));
        }
        put(format_args!(">\n<title>{}</title>\n<desc>{}</desc>\n", escape(title), escape(sentence)));
        put(format_args!("{drawing}</svg>\n"));
        out
    }
}
