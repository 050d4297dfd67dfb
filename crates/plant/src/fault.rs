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
}

impl<'t> Faults<'t> {
    pub(crate) fn of(text: &'t str) -> Faults<'t> {
        Faults { text, list: Vec::new() }
    }

    pub(crate) fn add(&mut self, line: usize, says: impl Into<String>) {
        self.list.push(PlantFault { line, says: says.into() });
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
