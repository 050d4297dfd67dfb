//! Several recorded streams as one history, in the order of arrival within each and between them.

use std::collections::HashMap;
use std::iter::Peekable;
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use wire::recording::{InOrder, Pipe};
use wire::{Message, Reject};

use crate::say::note;

/// Lines told one by one, and reasons told with how often each came; a person sees what is wrong by then.
const SHOWN: usize = 5;
/// Reasons that are counted apart. Some hold what was sent, so that there may be as many as messages.
const REASONS: usize = 1_000;

/// Messages of several recordings in the order of their arrival. A line that cannot be read is a sentence with file and line.
pub(crate) struct Streams {
    streams: Vec<(PathBuf, Peekable<InOrder>)>,
}

impl Streams {
    /// Opens every stream before anything is read.
    pub(crate) fn open(paths: &[PathBuf], pipe: Pipe) -> anyhow::Result<Streams> {
        let open = |path: &PathBuf| {
            let messages =
                InOrder::open(path, pipe).with_context(|| format!("cannot read {}", path.display()))?;
            Ok((path.clone(), messages.peekable()))
        };
        Ok(Streams { streams: paths.iter().map(open).collect::<anyhow::Result<_>>()? })
    }
}

impl Iterator for Streams {
    type Item = Result<Message, String>;

    fn next(&mut self) -> Option<Self::Item> {
        let next_arrival = |stream: &mut Peekable<InOrder>| match stream.peek() {
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

/// What could not be read: lines, told one by one as long as there are few, and messages, told by reason.
#[derive(Debug, Default)]
pub(crate) struct Unread {
    lines: u64,
    messages: u64,
    by_reason: HashMap<String, u64>,
}

impl Unread {
    /// A line that is no message.
    pub(crate) fn line(&mut self, fault: &str) {
        self.lines += 1;
        if self.lines <= SHOWN as u64 {
            note!("halfdegree: {fault}");
        }
    }

    /// Messages, or parts of them, that the plant file makes nothing of.
    pub(crate) fn rejects(&mut self, rejects: Vec<Reject>) {
        self.messages += rejects.len() as u64;
        for Reject { reason, .. } in rejects {
            if let Some(count) = self.by_reason.get_mut(&reason) {
                *count += 1;
            } else if self.by_reason.len() < REASONS {
                self.by_reason.insert(reason, 1);
            }
        }
    }

    /// All of it.
    pub(crate) fn count(&self) -> u64 {
        self.lines + self.messages
    }

    /// The lines that were left out.
    pub(crate) fn lines(&self) -> u64 {
        self.lines
    }

    /// Says how much more there was than has been said, and why messages were not taken.
    pub(crate) fn tell(&self) {
        if (SHOWN as u64) < self.lines {
            note!("halfdegree: lines that could not be read besides these: {}", self.lines - SHOWN as u64);
        }
        let mut reasons: Vec<(&String, &u64)> = self.by_reason.iter().collect();
        reasons.sort_by_key(|(reason, count)| (std::cmp::Reverse(**count), *reason));
        let mut told = 0;
        for (reason, count) in reasons.into_iter().take(SHOWN) {
            told += count;
            note!("halfdegree: {count} not taken: {reason}");
        }
        if told < self.messages {
            note!("halfdegree: {} not taken for other reasons", self.messages - told);
        }
    }

    /// Nothing at all was read, and that is no answer.
    pub(crate) fn refuse(&self, messages: u64) -> anyhow::Result<()> {
        if messages == 0 && 0 < self.lines {
            bail!(
                "this is no recorded stream: none of its lines could be read. A stream is what `mosquitto_sub -t 'works/#' -F %J` prints, a message a line"
            );
        }
        Ok(())
    }
}
