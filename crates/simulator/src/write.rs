//! Writes a works to disk: recorded streams, compressed, with the truth beside them.
//!
//! A line is what `mosquitto_sub -F %J` prints, so that everything that reads recordings reads these.

use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use model::{Span, Timestamp};
use wire::Message;
use wire::recording::line;

use crate::truth::Truth;
use crate::works::Works;

/// Compression that costs little time and leaves about three bytes a message; samples in the repository use the highest.
const QUICK: i32 = 6;
/// Highest level of zstd that needs no extra memory to read.
pub(crate) const SMALLEST: i32 = 19;

/// A works could not be written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// A file or folder.
    #[error("cannot write {}", path.display())]
    File {
        /// Which.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// Streams and truth of another day; mixed with new ones they would mean nothing.
    #[error("{} is there already; name another folder, or move it away", path.display())]
    Exists {
        /// The file.
        path: PathBuf,
    },
}

/// The truth's file.
const TRUTH: &str = "truth.json";

/// What was written.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Written {
    /// Streams, oldest first.
    pub streams: Vec<PathBuf>,
    /// The truth about them.
    pub truth: PathBuf,
    /// Messages in all of them.
    pub messages: u64,
}

/// Plays `days` more days and writes them to `folder`: a stream a day and `truth.json`. Tells `progress` after each hour.
///
/// # Errors
/// If there is such a file already, or one cannot be written.
pub fn write_days(
    works: &mut Works,
    folder: &Path,
    days: u32,
    mut progress: impl FnMut(Timestamp),
) -> Result<Written, WriteError> {
    let stream_of = |day: u32| folder.join(format!("day-{day:02}.ndjson.zst"));
    let files = (1..=days).map(stream_of).chain([folder.join(TRUTH)]);
    if let Some(path) = files.into_iter().find(|path| path.exists()) {
        return Err(WriteError::Exists { path });
    }
    fs::create_dir_all(folder).map_err(failed(folder))?;
    let mut written = Written::default();
    for day in 1..=days {
        let path = stream_of(day);
        let mut stream = Stream::create(&path, QUICK)?;
        for _ in 0..24 {
            stream.write(&works.advance_to(works.now() + Span::from_hours(1)))?;
            progress(works.now());
        }
        written.messages += stream.finish()?;
        written.streams.push(path);
    }
    written.truth = folder.join(TRUTH);
    write_truth(&works.truth(), &written.truth)?;
    Ok(written)
}

/// Writes the truth as indented JSON.
pub(crate) fn write_truth(truth: &Truth, path: &Path) -> Result<(), WriteError> {
    fs::write(path, format!("{:#}\n", truth.to_json())).map_err(failed(path))
}

pub(crate) fn failed(path: &Path) -> impl Fn(io::Error) -> WriteError + '_ {
    |source| WriteError::File { path: path.to_owned(), source }
}

/// A compressed stream that is being written.
pub(crate) struct Stream {
    path: PathBuf,
    out: zstd::Encoder<'static, BufWriter<File>>,
    messages: u64,
}

impl Stream {
    pub(crate) fn create(path: &Path, level: i32) -> Result<Stream, WriteError> {
        let file = File::create(path).map_err(failed(path))?;
        let out = zstd::Encoder::new(BufWriter::new(file), level).map_err(failed(path))?;
        Ok(Stream { path: path.to_owned(), out, messages: 0 })
    }

    pub(crate) fn write(&mut self, messages: &[Message]) -> Result<(), WriteError> {
        for message in messages {
            writeln!(self.out, "{}", line(message)).map_err(failed(&self.path))?;
        }
        self.messages += messages.len() as u64;
        Ok(())
    }

    /// Ends the stream; how many messages it holds.
    pub(crate) fn finish(self) -> Result<u64, WriteError> {
        let file = self.out.finish().map_err(failed(&self.path))?;
        file.into_inner().map_err(|error| failed(&self.path)(error.into_error()))?;
        Ok(self.messages)
    }
}
