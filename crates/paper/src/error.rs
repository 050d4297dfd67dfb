//! Why something could not be set.

/// Why something could not be set.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PaperError {
    /// The source has a fault.
    #[error("line {line}: {says}")]
    Source {
        /// Its line, from one.
        line: usize,
        /// What the typesetter says.
        says: String,
    },
    /// A fault that belongs to no line of the source.
    #[error("cannot set the page: {says}")]
    Page {
        /// What the typesetter says.
        says: String,
    },
    /// A file's name cannot stand beside the source.
    #[error("`{name}` is not a plain file name")]
    Name {
        /// The name.
        name: String,
    },
}
