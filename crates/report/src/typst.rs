//! Writes the source of a printed report: headings, paragraphs, tables and pictures, in one look.
//!
//! All words go in as string literals, so that nothing a person typed is ever read as markup. Pictures are referred to
//! by name; whoever sets the page hands them over beside the source.
//!
//! Never sets a page itself, and knows no typesetter: the source is text.

use std::fmt::Write as _;

/// The look of every sheet: paper and cocoa, A4, the page number at the foot.
const LOOK: &str = r##"#set text(font: "Libertinus Serif", size: 9.5pt, fill: rgb("2a201a"), lang: "en", hyphenate: false)
#set par(leading: 0.58em, spacing: 0.8em)
#let cocoa = rgb("5e3019")
#let quiet = rgb("6a5d53")
#let faint = rgb("cdbfae")
#show heading: it => block(above: 1.15em, below: 0.55em, sticky: true, text(fill: cocoa, weight: "bold", size: if it.level == 1 { 17pt } else if it.level == 2 { 12pt } else { 10.5pt }, it.body))
#set table(stroke: none, inset: (x: 4pt, y: 2.6pt))
#show table: set text(size: 8.2pt)
#show table.cell.where(y: 0): set text(weight: "bold", fill: quiet)
#set list(marker: text(fill: cocoa, sym.bullet), spacing: 0.5em)
"##;

/// A column of a table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Column {
    /// Words, as wide as they need.
    Words,
    /// Words that take the room that is left.
    Wide,
    /// Numbers, set to the right.
    Number,
}

/// From so many columns on nothing is left over for a wide one.
const MANY_COLUMNS: usize = 7;

/// Height of a strip of pictures.
const LOW: &str = "34mm";

/// The source of a report on its way.
pub(crate) struct Source(String);

impl Source {
    /// An empty report. `foot` stands at the bottom of each page, before the page number.
    pub(crate) fn new(title: &str, foot: &str) -> Source {
        let mut text = String::new();
        put(&mut text, format_args!("#set document(title: {}, author: ())\n", literal(title)));
        put(
            &mut text,
            format_args!(
                "#set page(paper: \"a4\", margin: (x: 17mm, top: 15mm, bottom: 17mm), footer: context text(size: 8pt, fill: rgb(\"6a5d53\"), grid(columns: (1fr, auto), {}, [page #counter(page).display() of #counter(page).final().first()])))\n",
                literal(foot)
            ),
        );
        text.push_str(LOOK);
        Source(text)
    }

    pub(crate) fn heading(&mut self, level: usize, words: &str) {
        put(&mut self.0, format_args!("#heading(level: {level}, {})\n", literal(words)));
    }

    pub(crate) fn paragraph(&mut self, words: &str) {
        put(&mut self.0, format_args!("#par({})\n\n", literal(words)));
    }

    /// A sentence that is to be read first.
    pub(crate) fn lead(&mut self, words: &str) {
        put(&mut self.0, format_args!("#par(text(size: 11.5pt, {}))\n\n", literal(words)));
    }

    /// Small and quiet.
    pub(crate) fn note(&mut self, words: &str) {
        put(&mut self.0, format_args!("#par(text(size: 8.5pt, fill: quiet, {}))\n\n", literal(words)));
    }

    /// A word in a frame, and what stands beside it.
    pub(crate) fn marked(&mut self, word: &str, beside: &str) {
        put(
            &mut self.0,
            format_args!(
                "#par[#box(stroke: 0.8pt + cocoa, inset: (x: 4pt, y: 2pt), baseline: 2pt, text(weight: \"bold\", {})) #h(4pt) #{}]\n\n",
                literal(word),
                literal(beside)
            ),
        );
    }

    pub(crate) fn list<'w>(&mut self, items: impl IntoIterator<Item = &'w str>) {
        let items: Vec<String> = items.into_iter().map(literal).collect();
        if !items.is_empty() {
            put(&mut self.0, format_args!("#list({})\n", items.join(", ")));
        }
    }

    pub(crate) fn table(&mut self, columns: &[(&str, Column)], rows: &[Vec<String>]) {
        if rows.is_empty() {
            return;
        }
        // Where many columns share the width, the wide one has to take its part of it like the others.
        let rest = if columns.len() < MANY_COLUMNS { "1fr" } else { "auto" };
        let width = |(_, column): &(&str, Column)| if *column == Column::Wide { rest } else { "auto" };
        let widths: Vec<&str> = columns.iter().map(width).collect();
        let sides: Vec<&str> = columns
            .iter()
            .map(|(_, column)| if *column == Column::Number { "right" } else { "left" })
            .collect();
        put(
            &mut self.0,
            format_args!(
                "#table(columns: ({},), align: ({},),\n  table.header(",
                widths.join(", "),
                sides.join(", ")
            ),
        );
        let heads: Vec<String> = columns.iter().map(|(head, _)| literal(head)).collect();
        put(&mut self.0, format_args!("{}),\n  table.hline(stroke: 0.6pt + faint),\n", heads.join(", ")));
        for row in rows {
            let cells: Vec<String> = row.iter().map(|cell| literal(cell)).collect();
            put(&mut self.0, format_args!("  {},\n", cells.join(", ")));
        }
        self.0.push_str(")\n");
    }

    /// A picture over the whole width, with the sentence that it carries.
    pub(crate) fn picture(&mut self, name: &str, says: &str) {
        self.pictures(&[(name, says)], 1);
    }

    /// Several pictures in columns.
    pub(crate) fn pictures(&mut self, pictures: &[(&str, &str)], columns: usize) {
        let images: Vec<String> = pictures
            .iter()
            .map(|(name, says)| format!("image({}, width: 100%, alt: {})", literal(name), literal(says)))
            .collect();
        if !images.is_empty() {
            put(
                &mut self.0,
                format_args!(
                    "#grid(columns: (1fr,) * {columns}, gutter: 6pt,\n  {},\n)\n",
                    images.join(",\n  ")
                ),
            );
        }
    }

    /// A few pictures beside each other, none higher than a strip, whatever its shape.
    pub(crate) fn low_pictures(&mut self, pictures: &[(&str, &str)]) {
        let images: Vec<String> = pictures
            .iter()
            .map(|(name, says)| {
                format!(
                    "image({}, width: 100%, height: {LOW}, fit: \"contain\", alt: {})",
                    literal(name),
                    literal(says)
                )
            })
            .collect();
        if !images.is_empty() {
            put(
                &mut self.0,
                format_args!(
                    "#block(breakable: false, grid(columns: (1fr,) * {}, gutter: 6pt,\n  {},\n))\n",
                    images.len().max(2),
                    images.join(",\n  ")
                ),
            );
        }
    }

    pub(crate) fn finish(self) -> String {
        self.0
    }
}

fn put(text: &mut String, what: std::fmt::Arguments<'_>) {
    text.write_fmt(what).expect("a String takes all that is written");
}

/// Words as a string literal of the typesetter's language: a backslash, a quote and line ends are the only characters
/// with a meaning there.
pub(crate) fn literal(words: &str) -> String {
    let mut literal = String::with_capacity(words.len() + 2);
    literal.push('"');
    for c in words.chars() {
        match c {
            '\\' => literal.push_str("\\\\"),
            '"' => literal.push_str("\\\""),
            '\n' => literal.push_str("\\n"),
            '\t' => literal.push(' '),
            c if c.is_control() => {}
            c => literal.push(c),
        }
    }
    literal.push('"');
    literal
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_word_is_read_as_markup() {
        assert_eq!(literal("#let x = \"a\\b\"\n*_$@<>[]`~"), r##""#let x = \"a\\b\"\n*_$@<>[]`~""##);
        assert_eq!(literal("a\u{0}b\u{7}"), "\"ab\"");
    }

    #[test]
    fn a_table_without_rows_is_left_out() {
        let mut source = Source::new("Week", "");
        let before = source.0.len();
        source.table(&[("Machine", Column::Words)], &[]);
        source.list([]);
        source.pictures(&[], 2);
        assert_eq!(source.0.len(), before);
    }
}
