//! The messages of one recorded stream in the order of their arrival, whatever the order of its lines.
//!
//! A recorder writes a message when it arrives, so that nearly every file is in order and can be read as it lies. Whether it is
//! is looked up first, by the arrival times alone. A file that is not (recordings joined the wrong way round, one topic after
//! the other, an event added at the end) is read as a whole and sorted. What happens to a pipe is said by [`Pipe`].

use std::path::Path;
use std::vec;

use crate::Message;
use crate::recording::line;
use crate::recording::{Line, LineFault, Recording, RecordingError};

/// What is sorted lies in memory: this much of it, some fifteen million messages. A day of a thousand machines is less.
const MOST_SORTED_BYTES: usize = 2 * 1024 * 1024 * 1024;

type Read = Result<Message, LineFault>;

/// Messages and faulty lines of a recorded stream: messages in the order of `tst`, those of one moment in the order of their
/// lines, and a faulty line behind the message that stands before it.
#[derive(Debug)]
pub struct InOrder(Lines);

#[derive(Debug)]
enum Lines {
    AsTheyLie(Recording),
    Sorted(vec::IntoIter<Read>),
}

/// What is done with a pipe, which can be read only once and may never end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pipe {
    /// It is read to its end, and sorted.
    IsSorted,
    /// It is passed on as its lines come.
    IsPassedOn,
}

impl InOrder {
    /// Opens a recorded stream: plain, gzip or zstd.
    ///
    /// # Errors
    /// If the file cannot be opened, its first bytes cannot be read, or it is out of order and too large to be sorted.
    pub fn open(path: impl AsRef<Path>, pipe: Pipe) -> Result<InOrder, RecordingError> {
        let path = path.as_ref();
        let goes_as_it_lies = match path.metadata().is_ok_and(|found| found.is_file()) {
            true => lies_in_order(Recording::open(path)?),
            false => pipe == Pipe::IsPassedOn,
        };
        let recording = Recording::open(path)?;
        if goes_as_it_lies {
            return Ok(InOrder(Lines::AsTheyLie(recording)));
        }
        let lines = sorted(recording, MOST_SORTED_BYTES)
            .ok_or_else(|| RecordingError::TooMuchToSort { path: path.to_owned() })?;
        Ok(InOrder(Lines::Sorted(lines.into_iter())))
    }
}

impl Iterator for InOrder {
    type Item = Read;

    fn next(&mut self) -> Option<Read> {
        match &mut self.0 {
            Lines::AsTheyLie(recording) => recording.next(),
            Lines::Sorted(lines) => lines.next(),
        }
    }
}

/// Does no line tell of an earlier arrival than one before it? Lines without a time do not matter.
fn lies_in_order(mut recording: Recording) -> bool {
    let mut newest = None;
    loop {
        match recording.read_line() {
            Ok(Line::TooLong) => {}
            Ok(Line::Read) => {
                let arrived = line::arrival(&recording.buffer);
                if arrived.is_some() && arrived < newest {
                    return false;
                }
                newest = arrived.or(newest);
            }
            // What comes behind a fault of the disk is not read afterwards either.
            Ok(Line::End) | Err(_) => return true,
        }
    }
}

/// All that was read, sorted; `None` if it is more than so many bytes.
fn sorted(recording: Recording, most_bytes: usize) -> Option<Vec<Read>> {
    let (mut lines, mut bytes) = (Vec::new(), 0);
    let mut newest = None;
    for read in recording {
        if let Ok(message) = &read {
            newest = Some(message.arrived);
            bytes += message.topic.len() + message.payload.len();
        }
        bytes += size_of_val(&newest) + size_of_val(&read);
        lines.push((newest, read));
        if most_bytes < bytes {
            return None;
        }
    }
    lines.sort_by_key(|(arrived, _)| *arrived);
    Some(lines.into_iter().map(|(_, read)| read).collect())
}

#[cfg(test)]
mod tests {
    use std::io;

    use model::Timestamp;
    use proptest::prelude::*;

    use super::*;
    use crate::recording::line::line;

    fn numbered(millis: i64, number: usize) -> String {
        line(&Message {
            topic: "works/alder/chocolate".to_owned(),
            payload: number.to_string().into_bytes(),
            arrived: Timestamp::from_millis(millis),
            retained: false,
        })
    }

    fn recording(text: &str) -> Recording {
        Recording::from_reader(io::Cursor::new(text.to_owned())).expect("bytes in memory can be read")
    }

    fn payloads(lines: impl IntoIterator<Item = Read>) -> Vec<String> {
        let told = |line: Read| match line {
            Ok(message) => String::from_utf8(message.payload).unwrap(),
            Err(fault) => fault.to_string().split(':').next().unwrap().to_owned(),
        };
        lines.into_iter().map(told).collect()
    }

    fn opened(text: &str) -> Vec<String> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("stream");
        std::fs::write(&path, text).unwrap();
        payloads(InOrder::open(&path, Pipe::IsSorted).unwrap())
    }

    #[test]
    fn lines_of_a_wrong_order_come_as_they_arrived() {
        let lines = [numbered(60_000, 1), numbered(0, 2), "hello".to_owned(), numbered(60_000, 3)];
        assert_eq!(opened(&lines.join("\n")), ["2", "line 3", "1", "3"]);
    }

    #[test]
    fn a_stream_in_order_is_read_as_it_lies() {
        let text = [numbered(0, 1), numbered(0, 2), "hello".to_owned(), numbered(1, 3)].join("\n");
        assert!(lies_in_order(recording(&text)));
        assert_eq!(opened(&text), ["1", "2", "line 3", "3"]);
    }

    /// The arrival may stand anywhere in its line, and in another zone.
    #[test]
    fn order_is_told_by_the_moment_and_not_by_the_text() {
        let at = |tst: &str| format!(r#"{{"topic":"works/alder/chocolate","tst":"{tst}","payload":31}}"#);
        let autumn = [at("2026-10-25T02:59:59.5Z+0200"), at("2026-10-25T02:00:00.5Z+0100")];
        assert!(lies_in_order(recording(&autumn.join("\n"))));
        let back = [autumn[1].as_str(), autumn[0].as_str()];
        assert!(!lies_in_order(recording(&back.join("\n"))));
    }

    #[test]
    fn what_is_too_much_to_sort_is_not_read_to_its_end() {
        let text = [numbered(1, 1), numbered(0, 2)].join("\n");
        assert!(sorted(recording(&text), 100).is_none());
        assert!(sorted(recording(&text), 1_000).is_some());
    }

    proptest! {
        #[test]
        fn any_order_of_lines_is_the_one_of_their_arrivals(
            millis in proptest::collection::vec(0i64..5, 0..20),
        ) {
            let text: String =
                millis.iter().enumerate().map(|(n, millis)| numbered(*millis, n) + "\n").collect();
            let mut expected: Vec<usize> = (0..millis.len()).collect();
            expected.sort_by_key(|n| (millis[*n], *n));
            let expected: Vec<String> = expected.iter().map(ToString::to_string).collect();
            prop_assert_eq!(lies_in_order(recording(&text)), millis.is_sorted());
            prop_assert_eq!(payloads(sorted(recording(&text), usize::MAX).unwrap()), expected.clone());
            prop_assert_eq!(opened(&text), expected);
        }
    }
}
