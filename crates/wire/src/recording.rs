//! Recorded streams: one message a line, as the stock MQTT subscriber prints with `-F %J` or `-F %j`.
//!
//! A packed file is told by its first bytes and not by its name. A broken line is a [`LineFault`] and the stream goes
//! on: what was recorded around it is still true. Lines and unpacking are bounded, so that a file made to hurt (or a
//! disk image given by mistake) costs a sentence and no memory.

mod in_order;
mod line;
mod unpack;

use std::fmt;
use std::io::{self, BufRead};
use std::path::{Path, PathBuf};

use crate::Message;
pub use crate::recording::in_order::{InOrder, Pipe};
pub use crate::recording::line::line;

/// The longest payload that the decoder takes is 4 MiB; as escaped text it may be twice that.
const LONGEST_LINE: usize = 9 * 1024 * 1024;
/// Lines begin in a buffer of this size, which most of them never outgrow.
const USUAL_LINE: usize = 1024;

/// A recorded stream cannot be read at all.
#[derive(Debug, thiserror::Error)]
pub enum RecordingError {
    /// There is no such file, or it is not ours to read.
    #[error("cannot open {}", path.display())]
    Open {
        /// The file.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// The first bytes cannot be read.
    #[error("cannot read {}", path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// Its lines would have to be sorted, and they do not fit into memory.
    #[error(
        "{}: its lines are not in the order of `tst`, and there are too many of them to sort; split it",
        path.display()
    )]
    TooMuchToSort {
        /// The file.
        path: PathBuf,
    },
}

/// A line that could not be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LineFault {
    /// Which line, counted from 1.
    pub line: usize,
    /// What is wrong, as a plain sentence.
    pub says: String,
}

impl fmt::Display for LineFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {}", self.line, self.says)
    }
}

/// The messages of a recorded stream, in the order of the file.
pub struct Recording {
    reader: Box<dyn BufRead + Send>,
    buffer: Vec<u8>,
    line: usize,
    is_over: bool,
}

impl fmt::Debug for Recording {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Recording").field("line", &self.line).finish_non_exhaustive()
    }
}

impl Recording {
    /// Opens a recorded stream: plain, gzip or zstd.
    ///
    /// # Errors
    /// If the file cannot be opened, or its first bytes cannot be read.
    pub fn open(path: impl AsRef<Path>) -> Result<Recording, RecordingError> {
        let path = path.as_ref();
        let file = std::fs::File::open(path)
            .map_err(|source| RecordingError::Open { path: path.to_owned(), source })?;
        Recording::from_reader(file).map_err(|source| RecordingError::Read { path: path.to_owned(), source })
    }

    /// Reads a recorded stream from anything that gives bytes: plain, gzip or zstd.
    ///
    /// # Errors
    /// If its first bytes cannot be read.
    pub fn from_reader(bytes: impl io::Read + Send + 'static) -> io::Result<Recording> {
        let reader = unpack::unpacked(bytes)?;
        Ok(Recording { reader, buffer: Vec::with_capacity(USUAL_LINE), line: 0, is_over: false })
    }

    /// Reads one line into the buffer, without its end. What is too long is skipped and not kept.
    fn read_line(&mut self) -> io::Result<Line> {
        self.buffer.clear();
        let mut is_too_long = false;
        let mut is_empty = true;
        loop {
            let available = match self.reader.fill_buf() {
                Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
                available => available?,
            };
            let end = available.iter().position(|byte| *byte == b'\n');
            let part = &available[..end.unwrap_or(available.len())];
            is_too_long |= LONGEST_LINE < self.buffer.len() + part.len();
            is_empty &= available.is_empty();
            if !is_too_long {
                self.buffer.extend_from_slice(part);
            }
            let is_last = available.is_empty();
            let used = part.len() + usize::from(end.is_some());
            self.reader.consume(used);
            match (end.is_some() || is_last, is_too_long) {
                (false, _) => {}
                (true, true) => return Ok(Line::TooLong),
                (true, false) if is_empty => return Ok(Line::End),
                (true, false) => return Ok(Line::Read),
            }
        }
    }

    fn fault(&self, says: impl Into<String>) -> LineFault {
        LineFault { line: self.line, says: says.into() }
    }
}

/// How reading a line ended.
enum Line {
    Read,
    TooLong,
    End,
}

impl Iterator for Recording {
    type Item = Result<Message, LineFault>;

    fn next(&mut self) -> Option<Result<Message, LineFault>> {
        while !self.is_over {
            self.line += 1;
            match self.read_line() {
                Err(error) => {
                    self.is_over = true;
                    return Some(Err(
                        self.fault(format!("the file breaks off here ({error}); what came before was read"))
                    ));
                }
                Ok(Line::End) => self.is_over = true,
                Ok(Line::TooLong) => {
                    return Some(Err(
                        self.fault(format!("the line is longer than {LONGEST_LINE} bytes and was left out"))
                    ));
                }
                Ok(Line::Read) if self.buffer.trim_ascii().is_empty() => {}
                Ok(Line::Read) => return Some(line::parse(&self.buffer).map_err(|says| self.fault(says))),
            }
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use std::io::Write;

    use super::*;

    const GOOD: &str = r#"{"tst":"2026-03-02T05:00:00.250000Z","topic":"works/alder/chocolate","qos":1,"retain":0,"payloadlen":5,"payload":45.02}"#;

    /// Each line as `payload` or as its fault.
    fn read(bytes: &[u8]) -> Vec<String> {
        let recording =
            Recording::from_reader(io::Cursor::new(bytes.to_vec())).expect("bytes in memory can be read");
        recording
            .map(|line| match line {
                Ok(message) => String::from_utf8_lossy(&message.payload).into_owned(),
                Err(fault) => fault.to_string(),
            })
            .collect()
    }

    fn gzip(bytes: &[u8]) -> Vec<u8> {
        let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
        encoder.write_all(bytes).expect("memory takes bytes");
        encoder.finish().expect("memory takes bytes")
    }

    #[test]
    fn plain_gzip_and_zstd_are_told_by_their_first_bytes() {
        let plain = format!("{GOOD}\n{GOOD}\n");
        assert_eq!(read(plain.as_bytes()), ["45.02", "45.02"]);
        assert_eq!(read(&gzip(plain.as_bytes())), ["45.02", "45.02"]);
        assert_eq!(read(&zstd::encode_all(plain.as_bytes(), 3).unwrap()), ["45.02", "45.02"]);
    }

    #[test]
    fn packed_files_that_were_joined_are_read_to_the_end() {
        let line = format!("{GOOD}\n");
        assert_eq!(read(&[gzip(line.as_bytes()), gzip(line.as_bytes())].concat()).len(), 2);
        let packed = zstd::encode_all(line.as_bytes(), 3).unwrap();
        assert_eq!(read(&[packed.clone(), packed].concat()).len(), 2);
    }

    #[test]
    fn a_broken_line_does_not_stop_the_stream() {
        let text = format!("{GOOD}\n\nhello\r\n{GOOD}\r\n{GOOD}");
        let lines = read(text.as_bytes());
        assert_eq!(lines.len(), 4);
        assert!(lines[1].starts_with("line 3: "), "{}", lines[1]);
        assert_eq!(lines[3], "45.02");
    }

    #[test]
    fn a_file_that_breaks_off_gives_what_came_before() {
        let lines: String = (0..5000).map(|n| GOOD.replace("45.02", &format!("{n}.125")) + "\n").collect();
        let packed = gzip(lines.as_bytes());
        let read = read(&packed[..packed.len() / 2]);
        assert_eq!(read[0], "0.125");
        assert!(read.last().unwrap().contains("the file breaks off here"), "{:?}", read.last());
    }

    #[test]
    fn a_line_without_end_is_left_out_and_the_next_one_read() {
        let mut text = vec![b'x'; LONGEST_LINE + 1];
        text.extend_from_slice(format!("\n{GOOD}\n").as_bytes());
        let lines = read(&text);
        assert_eq!(
            lines[0],
            format!("line 1: the line is longer than {LONGEST_LINE} bytes and was left out")
        );
        assert_eq!(lines[1], "45.02");
    }

    #[test]
    fn nothing_is_no_messages() {
        assert!(read(b"").is_empty());
        assert!(read(b"\n\n").is_empty());
    }

    #[test]
    fn a_file_that_is_not_there_is_told() {
        let error = Recording::open("no-such-stream.ndjson").unwrap_err();
        assert_eq!(error.to_string(), "cannot open no-such-stream.ndjson");
        let folder = tempfile::tempdir().unwrap();
        assert!(matches!(Recording::open(folder.path()), Err(RecordingError::Read { .. })));
    }

    #[test]
    fn a_file_is_read_from_disk() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("morning.ndjson.zst");
        std::fs::write(&path, zstd::encode_all(GOOD.as_bytes(), 3).unwrap()).unwrap();
        assert_eq!(Recording::open(&path).unwrap().count(), 1);
    }
}
