//! Sets reports as PDF, if the program brought something that can.
//!
//! The typesetter is large and a program may be built without it, so it comes as a function. Pages offer a PDF only
//! where there is one.

use std::fmt;
use std::sync::Arc;

type Set = dyn Fn(&str, &[(&str, Vec<u8>)]) -> Result<Vec<u8>, String> + Send + Sync;

/// Something that sets a report's source as PDF.
#[derive(Clone)]
pub struct Paper(Arc<Set>);

impl Paper {
    /// `set` is given the source and the files that it refers to, and answers with the PDF or with what is wrong.
    pub fn new(
        set: impl Fn(&str, &[(&str, Vec<u8>)]) -> Result<Vec<u8>, String> + Send + Sync + 'static,
    ) -> Paper {
        Paper(Arc::new(set))
    }

    /// The PDF of `source`.
    pub(crate) fn set(&self, source: &str, files: &[(&str, Vec<u8>)]) -> Result<Vec<u8>, String> {
        (self.0)(source, files)
    }
}

impl fmt::Debug for Paper {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Paper")
    }
}
