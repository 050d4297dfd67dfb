//! A table of readings as a data logger, or a person with a spreadsheet, writes it: CSV (RFC 4180) and its relatives.
//!
//! Delimiters `,` `;` and tab, told apart by the header; a decimal comma; UTF-8 with or without its mark, UTF-16, Latin-1; lines before the
//! header, which is looked for by the names of the columns. A line or a cell that cannot be read is told with its number and put aside, and
//! the rest is read.
//!
//! Never guesses a moment: where clocks go back an hour comes twice, and the caller says which one a time belongs to.

mod moments;
mod text;

use csv::{ReaderBuilder, StringRecord};
use model::{Channel, Timestamp};
use plant::TimeZone;

pub use self::moments::{HourTwice, Moments, TimeLayout};
pub use self::text::decode_text;

/// The header is looked for so far down: loggers write serial numbers and remarks before it.
const HEADER_WITHIN: usize = 60;
/// Names shown of a line that is no header, and characters of each.
const NAMES_SHOWN: usize = 20;
const CHARACTERS_SHOWN: usize = 40;

/// Which column is what.
#[derive(Debug, Clone)]
pub struct LoggerColumns {
    /// Channel and name of its column, which is compared without regard to case and blanks around it.
    pub channels: Vec<(Channel, String)>,
    /// The column of the time, or those of date and time.
    pub time: Vec<String>,
    /// Temperatures are in °F.
    pub fahrenheit: bool,
}

impl LoggerColumns {
    fn names(&self) -> impl Iterator<Item = &str> {
        self.time.iter().chain(self.channels.iter().map(|(_, name)| name)).map(String::as_str)
    }
}

/// How times are written.
#[derive(Debug, Clone)]
pub struct LoggerTimes {
    /// The layout.
    pub layout: TimeLayout,
    /// Where they do not say their offset: the zone of the clock that wrote them.
    pub zone: TimeZone,
    /// Which one is meant where an hour comes twice; `None` if nobody has said.
    pub hour_twice: Option<HourTwice>,
    /// Nothing has been measured after it.
    pub now: Timestamp,
}

/// One line that has been understood.
#[derive(Debug, Clone, PartialEq)]
pub struct LoggerRow {
    /// Its number in the file, from 1.
    pub line: u64,
    /// When.
    pub at: Timestamp,
    /// What, in the channel's unit.
    pub values: Vec<(Channel, f64)>,
}

/// What the file says.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct LoggerTable {
    /// What was understood, in the order of the file.
    pub rows: Vec<LoggerRow>,
    /// What was not: number of the line, and why.
    pub put_aside: Vec<(u64, String)>,
    /// What sets the columns apart.
    pub delimiter: char,
    /// Lines whose time lies in an hour that comes twice, and that nobody has decided about.
    pub undecided: Vec<u64>,
}

/// Reads the whole table.
///
/// # Errors
/// A sentence, if the file as a whole is not what the columns say.
pub fn read_logger_table(
    text: &str,
    columns: &LoggerColumns,
    times: &LoggerTimes,
) -> Result<LoggerTable, String> {
    let (delimiter, header_line, places) = find_header(text, columns)?;
    let mut table = LoggerTable { delimiter: char::from(delimiter), ..LoggerTable::default() };
    let mut moments = Moments::new(times);
    for (line, record) in records(text, delimiter) {
        if line <= header_line {
            continue;
        }
        match record {
            Ok(record) if record.iter().all(|cell| cell.trim().is_empty()) => {
                table.put_aside.push((line, "nothing stands in it".to_owned()));
            }
            Ok(record) => read_row(line, &record, columns, &places, &mut moments, &mut table),
            Err(why) => table.put_aside.push((line, why)),
        }
    }
    Ok(table)
}

/// Where each column stands.
struct Places {
    time: Vec<usize>,
    channels: Vec<(Channel, usize)>,
}

/// Records with the number of the line that each begins in. The library's own numbers are one short behind a carriage return, which it
/// takes for the end before it has seen the line feed.
fn records(text: &str, delimiter: u8) -> impl Iterator<Item = (u64, Result<StringRecord, String>)> {
    let reader = ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(delimiter)
        .from_reader(text.as_bytes());
    let (mut looked_at, mut line) = (0, 1);
    reader.into_records().map(move |record| {
        let position = match &record {
            Ok(record) => record.position(),
            Err(error) => error.position(),
        };
        let from =
            position.map_or(looked_at, |position| usize::try_from(position.byte()).unwrap_or(looked_at));
        let bytes = text.as_bytes();
        let breaks = bytes.iter().skip(from).take_while(|byte| matches!(byte, b'\r' | b'\n')).count();
        let begins = (from + breaks).min(bytes.len());
        line += bytes.get(looked_at..begins).unwrap_or_default().iter().filter(|byte| **byte == b'\n').count()
            as u64;
        looked_at = looked_at.max(begins);
        (line, record.map_err(|error| error.to_string()))
    })
}

fn find_header(text: &str, columns: &LoggerColumns) -> Result<(u8, u64, Places), String> {
    let mut widest: Option<StringRecord> = None;
    for delimiter in *b",;\t" {
        for (line, record) in records(text, delimiter).take(HEADER_WITHIN) {
            let Ok(record) = record else { continue };
            if let Some(places) = places_in(&record, columns) {
                return match twice(&record, columns) {
                    None => Ok((delimiter, line, places)),
                    Some(name) => Err(format!(
                        "line {line} has the column `{name}` twice; give the other one another name in the file"
                    )),
                };
            }
            let cells = |record: &StringRecord| record.iter().filter(|cell| names_something(cell)).count();
            if widest.as_ref().is_none_or(|widest| cells(widest) < cells(&record)) {
                widest = Some(record);
            }
        }
    }
    let Some(widest) = widest else { return Err("the file is empty".to_owned()) };
    let there: Vec<&str> = widest.iter().map(str::trim).collect();
    let missing: Vec<&str> =
        columns.names().filter(|name| !there.iter().any(|cell| same(cell, name))).collect();
    Err(format!(
        "no line among the first {HEADER_WITHIN} has the columns asked for: {} cannot be found; the line that looks most like a header has {}",
        quoted(&missing),
        quoted(&there)
    ))
}

fn names_something(cell: &str) -> bool {
    cell.chars().any(char::is_alphabetic)
}

fn quoted(names: &[&str]) -> String {
    let shown = names.iter().take(NAMES_SHOWN).map(|name| format!("`{}`", excerpt(name)));
    let more = (NAMES_SHOWN < names.len()).then(|| format!("and {} more", names.len() - NAMES_SHOWN));
    shown.chain(more).collect::<Vec<_>>().join(", ")
}

fn same(cell: &str, name: &str) -> bool {
    cell.trim().to_lowercase() == name.trim().to_lowercase()
}

/// A column asked for whose name stands more than once: nobody can say which is meant.
fn twice<'a>(header: &StringRecord, columns: &'a LoggerColumns) -> Option<&'a str> {
    columns.names().find(|name| 1 < header.iter().filter(|cell| same(cell, name)).count())
}

fn places_in(header: &StringRecord, columns: &LoggerColumns) -> Option<Places> {
    let place = |name: &String| header.iter().position(|cell| same(cell, name));
    Some(Places {
        time: columns.time.iter().map(place).collect::<Option<_>>()?,
        channels: columns
            .channels
            .iter()
            .map(|(channel, name)| Some((*channel, place(name)?)))
            .collect::<Option<_>>()?,
    })
}

fn read_row(
    line: u64,
    record: &StringRecord,
    columns: &LoggerColumns,
    places: &Places,
    moments: &mut Moments,
    table: &mut LoggerTable,
) {
    let cell = |place: usize| record.get(place).map_or("", str::trim);
    let time: Vec<&str> = places.time.iter().map(|place| cell(*place)).collect();
    let at = match moments.read(&time.join(" ")) {
        Ok(Some(at)) => at,
        Ok(None) => {
            table.undecided.push(line);
            return;
        }
        Err(why) => {
            table.put_aside.push((line, why));
            return;
        }
    };
    let mut values = Vec::new();
    let mut is_bare = true;
    for ((channel, place), (_, name)) in places.channels.iter().zip(&columns.channels) {
        let text = cell(*place);
        if text.is_empty() {
            continue;
        }
        is_bare = false;
        match value(text, *channel, columns.fahrenheit) {
            Ok(value) => values.push((*channel, value)),
            Err(why) => table.put_aside.push((line, format!("{why} (column `{}`)", excerpt(name)))),
        }
    }
    if is_bare {
        table.put_aside.push((line, "it has a time and no value".to_owned()));
    }
    if !values.is_empty() {
        table.rows.push(LoggerRow { line, at, values });
    }
}

/// A number with a point or a comma, and nothing that sets thousands apart.
fn value(text: &str, channel: Channel, fahrenheit: bool) -> Result<f64, String> {
    let plain = text.trim_end_matches(['C', 'F', '°', '%', ' ', '\u{a0}']);
    let commas = plain.matches(',').count();
    let pointed =
        if commas == 1 && !plain.contains('.') { plain.replace(',', ".") } else { plain.to_owned() };
    let number = pointed.parse::<f64>().ok().filter(|number| number.is_finite());
    let number = number.ok_or_else(|| format!("`{}` is not a number", excerpt(text)))?;
    // Exact by definition of the scale.
    let value = if fahrenheit && channel.is_temperature() { (number - 32.0) / 1.8 } else { number };
    let possible = channel.possible();
    if possible.contains(&value) {
        return Ok(value);
    }
    Err(match channel.is_temperature() {
        true => format!(
            "`{}` is no temperature of a works; those are between {} and {} °C",
            excerpt(text),
            possible.start(),
            possible.end()
        ),
        false => format!("`{}` is no value of the channel {channel}", excerpt(text)),
    })
}

/// Fit for a terminal, whatever the file holds.
fn excerpt(text: &str) -> String {
    text.chars()
        .take(CHARACTERS_SHOWN)
        .map(|sign| if sign.is_control() { char::REPLACEMENT_CHARACTER } else { sign })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn columns(time: &[&str], chocolate: &str) -> LoggerColumns {
        let time = time.iter().map(|name| (*name).to_owned()).collect();
        LoggerColumns { channels: vec![(Channel::Chocolate, chocolate.to_owned())], time, fahrenheit: false }
    }

    fn lisbon() -> LoggerTimes {
        let zone = TimeZone::named("Europe/Lisbon").unwrap();
        LoggerTimes {
            layout: TimeLayout::Iso,
            zone,
            hour_twice: None,
            now: "2026-11-29T12:00:00Z".parse().unwrap(),
        }
    }

    fn told(text: &str, columns: &LoggerColumns) -> String {
        match read_logger_table(text, columns, &lisbon()) {
            Err(why) => why,
            Ok(table) => {
                let rows =
                    table.rows.iter().map(|row| format!("{} {} {:?}", row.line, row.at, row.values[0].1));
                let aside = table.put_aside.iter().map(|(line, why)| format!("{line} aside: {why}"));
                rows.chain(aside).collect::<Vec<_>>().join("\n")
            }
        }
    }

    /// The rules of RFC 4180, section 2, by number, each with a reading in it.
    #[test]
    fn csv_is_read_as_the_rfc_says() {
        let wanted = "2 2026-03-02T05:00:00Z 45.0\n3 2026-03-02T05:00:10Z 44.9";
        for (rule, text) in [
            ("1", "time,note,choc\r\n2026-03-02 05:00:00,a,45.0\r\n2026-03-02 05:00:10,b,44.9\r\n"),
            (
                "2: no break behind the last record",
                "time,note,choc\r\n2026-03-02 05:00:00,a,45.0\r\n2026-03-02 05:00:10,b,44.9",
            ),
            (
                "4: blanks belong to a field",
                "time,note,choc\r\n2026-03-02 05:00:00, a ,45.0\r\n2026-03-02 05:00:10,b,44.9",
            ),
            (
                "5: quotes",
                "\"time\",\"note\",\"choc\"\r\n\"2026-03-02 05:00:00\",\"a\",\"45.0\"\r\n2026-03-02 05:00:10,b,44.9",
            ),
            (
                "6: a comma in quotes",
                "time,note,choc\r\n2026-03-02 05:00:00,\"a,b,c\",45.0\r\n2026-03-02 05:00:10,b,44.9",
            ),
            (
                "7: quotes in quotes",
                "time,note,choc\r\n2026-03-02 05:00:00,\"a \"\"warm\"\" one\",45.0\r\n2026-03-02 05:00:10,b,44.9",
            ),
        ] {
            assert_eq!(told(text, &columns(&["time"], "choc")), wanted, "rule {rule}");
        }
        let broken_line =
            "time,note,choc\r\n2026-03-02 05:00:00,\"a\r\nb\",45.0\r\n2026-03-02 05:00:10,b,44.9";
        assert_eq!(
            told(broken_line, &columns(&["time"], "choc")),
            "2 2026-03-02T05:00:00Z 45.0\n4 2026-03-02T05:00:10Z 44.9",
            "rule 6: a break in quotes"
        );
    }

    #[test]
    fn semicolons_tabs_decimal_commas_and_lines_before_the_header() {
        let columns = columns(&["Date", "Time"], "Temp1 (°C)");
        let text = "Logger 7;serial 123\r\n\r\nNo;Date;Time;Temp1 (°C)\r\n1;2026-03-02;05:00:00;45,25\r\n2;2026-03-02;05:01;31,5 °C\r\n";
        let wanted = "4 2026-03-02T05:00:00Z 45.25\n5 2026-03-02T05:01:00Z 31.5";
        assert_eq!(told(text, &columns), wanted);
        assert_eq!(told(&text.replace(';', "\t"), &columns), wanted);
    }

    #[test]
    fn what_cannot_be_read_is_told_and_the_rest_is_read() {
        let text = "time,choc\n2026-03-02 05:00:00,45.0\nyesterday,44\n2026-03-02 05:00:20,OL\n2026-03-02 05:00:30,\"1.234,5\"\n\
                    2026-03-02 05:00:40,\n2026-03-02 05:00:50,-400\n2026-03-02 05:01:00,44.0\n2026-03-02 05:01:10,1e20\n\
                    2026-03-02 05:01:20\n\n,\n44.1\n1500-03-02 05:01:30,44.0\n2036-03-02 05:01:40,44.0\n";
        let wanted = "2 2026-03-02T05:00:00Z 45.0\n8 2026-03-02T05:01:00Z 44.0\n\
                      3 aside: `yesterday` is not a time such as 2026-03-02 05:00:10\n\
                      4 aside: `OL` is not a number (column `choc`)\n\
                      5 aside: `1.234,5` is not a number (column `choc`)\n\
                      6 aside: it has a time and no value\n\
                      7 aside: `-400` is no temperature of a works; those are between -10 and 120 °C (column `choc`)\n\
                      9 aside: `1e20` is no temperature of a works; those are between -10 and 120 °C (column `choc`)\n\
                      10 aside: it has a time and no value\n\
                      12 aside: nothing stands in it\n\
                      13 aside: `44.1` is not a time such as 2026-03-02 05:00:10\n\
                      14 aside: 1500-03-02T05:38:15Z is before 2001, and no reading of a logger whose clock is right\n\
                      15 aside: 2036-03-02T05:01:40Z lies in the future; see to the logger's clock and to the time zone";
        assert_eq!(told(text, &columns(&["time"], "choc")), wanted);
        assert_eq!(
            told("time,Temp1\n", &columns(&["Zeit"], "temp1")),
            "no line among the first 60 has the columns asked for: `Zeit` cannot be found; the line that looks most like a header has `time`, `Temp1`"
        );
        let no_table = told(&"\u{1b}[2Jk\0x,".repeat(500), &columns(&["time"], "choc"));
        assert!(no_table.len() < 700 && !no_table.contains(char::is_control), "{no_table}");
        assert_eq!(told("", &columns(&["time"], "choc")), "the file is empty");
        assert_eq!(
            told("time,choc,Choc \n2026-03-02 05:00:00,45,44\n", &columns(&["time"], "choc")),
            "line 1 has the column `choc` twice; give the other one another name in the file"
        );
    }

    #[test]
    fn fahrenheit_becomes_celsius() {
        for (fahrenheit, celsius) in [("32", 0.0), ("212", 100.0), ("23", -5.0), ("88.7", 31.5)] {
            let value = value(fahrenheit, Channel::Chocolate, true).unwrap();
            assert!((value - celsius).abs() < 1e-9, "{fahrenheit} °F");
        }
        assert_eq!(value("55", Channel::Humidity, true), Ok(55.0));
    }
}
