//! Why something could not be worked out from history.

/// Why something could not be worked out from history.
#[derive(Debug, thiserror::Error)]
pub enum HistoryError {
    /// The columnar engine refused; most likely memory.
    #[error("cannot summarise earlier batches")]
    Polars(#[from] polars::error::PolarsError),
}
