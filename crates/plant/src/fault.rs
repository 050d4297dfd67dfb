//! What is wrong with a plant file, and where.
//!
//! Faults are collected, never thrown: the reader goes on and the person sees all of them at once.

use std::fmt;
use std::ops::Range;

/// One thing that is wrong with a plant file.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct PlantFault {
    /// The line it stands in, counted from 1.
    pub line: usize,
    /// What is wrong and what to do, as a plain sentence.
    pub says: String,
}

impl fmt::Display for PlantFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {}", self.line, self.says)
    }
}

/// A value and the line it stands in.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct At<T> {
    pub(crate) line: usize,
    pub(crate) value: T,
}

/// The faults of one file, while it is being read.
pub(crate) struct Faults<'t> {
    text: &'t str,
    list: Vec<PlantFault>,
    /// Lines that are not TOML, after which nothing that seems absent is known to be.
    broken_lines: Vec<usize>,
}

impl<'t> Faults<'t> {
    pub(crate) fn of(text: &'t str) -> Faults<'t> {
        Faults { text, list: Vec::new(), broken_lines: Vec::new() }
    }

    /// Something that stands there and is wrong. A line that is not TOML has its fault already.
    pub(crate) fn add(&mut self, line: usize, says: impl Into<String>) {
        if !self.broken_lines.contains(&line) {
            self.list.push(PlantFault { line, says: says.into() });
        }
    }

    /// Something that is not there and should be. After a line that is not TOML nobody knows: the line may have been it.
    pub(crate) fn add_absence(&mut self, line: usize, says: impl Into<String>) {
        if self.broken_lines.is_empty() {
            self.add(line, says);
        }
    }

    /// A line that is not TOML.
    pub(crate) fn add_broken(&mut self, line: usize, says: impl Into<String>) {
        self.add(line, says);
        self.broken_lines.push(line);
    }

    /// The line in which `span` begins, counted from 1.
    pub(crate) fn line_of(&self, span: &Range<usize>) -> usize {
        let before = self.text.as_bytes().get(..span.start).unwrap_or(self.text.as_bytes());
        1 + before.iter().filter(|byte| **byte == b'\n').count()
    }

    /// `value`, unless there is a fault: then all of them, in the order of the file.
    pub(crate) fn unless_any<T>(mut self, value: Option<T>) -> Result<T, Vec<PlantFault>> {
        match value {
            Some(value) if self.list.is_empty() => Ok(value),
            _ => {
                self.list.sort();
                self.list.dedup();
                Err(self.list)
            }
        }
    }
}
