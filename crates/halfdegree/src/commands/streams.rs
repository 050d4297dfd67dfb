//! Several recorded streams as one history: merged by arrival, each stream's own order kept.

use std::iter::Peekable;
use std::path::{Path, PathBuf};

use anyhow::Context;
use wire::Message;
use wire::recording::Recording;

/// Messages of several recordings in the order of their arrival. A line that cannot be read is a sentence with file and line.
pub(crate) struct Streams {
    streams: Vec<(PathBuf, Peekable<Recording>)>,
}

impl Streams {
    /// Opens every stream before anything is read.
    pub(crate) fn open(paths: &[PathBuf]) -> anyhow::Result<Streams> {
        let open = |path: &PathBuf| {
            let recording =
                Recording::open(path).with_context(|| format!("cannot read {}", path.display()))?;
            Ok((path.clone(), recording.peekable()))
        };
        Ok(Streams { streams: paths.iter().map(open).collect::<anyhow::Result<_>>()? })
    }
}

impl Iterator for Streams {
    type Item = Result<Message, String>;

    fn next(&mut self) -> Option<Self::Item> {
        let next_arrival = |stream: &mut Peekable<Recording>| match stream.peek() {
            Some(Ok(message)) => Some(Some(message.arrived)),
            // A faulty line has no time; it is told where it stands.
            Some(Err(_)) => Some(None),
            None => None,
        };
        let first = self
            .streams
            .iter_mut()
            .enumerate()
            .filter_map(|(place, (_, stream))| Some((next_arrival(stream)?, place)))
            .min()?;
        let (path, stream) = &mut self.streams[first.1];
        Some(stream.next()?.map_err(|fault| located(path, &fault)))
    }
}

fn located(path: &Path, fault: &wire::recording::LineFault) -> String {
    format!("{}: {fault}", path.display())
}
