//! What can end the intake for good. A lost connection or a full disk cannot: those are waited out and told in the stats.

use std::time::Duration;

/// Why the intake, or one of its helpers, could not go on.
#[derive(Debug, thiserror::Error)]
pub enum IntakeError {
    /// The broker's address cannot be used.
    #[error("cannot use the broker address `{url}`: {why}")]
    Address {
        /// As it was given.
        url: String,
        /// What is wrong, and what to write instead.
        why: String,
    },
    /// A topic filter that no broker would take.
    #[error("`{filter}` is not a topic filter; `+` and `#` must each fill a whole segment, and `#` the last")]
    Filter {
        /// The filter that was asked for.
        filter: String,
    },
    /// The messages that an earlier run had acknowledged, and that wait for another, cannot be read back.
    #[error("the messages that wait to be read cannot be taken from the journal")]
    Held(#[source] journal::JournalError),
    /// The part that takes the blocks has gone away while blocks were still coming.
    #[error(
        "nothing takes the blocks any more; what was stored is in the journal and is read again at the next start"
    )]
    BlocksNotTaken,
    /// The code that appends to the journal has panicked.
    #[error("appending to the journal ended in a panic")]
    JournalPanicked(#[source] tokio::task::JoinError),
    /// Not everything could be stored and acknowledged before the deadline; the broker still has the rest.
    #[error("stopped by force after {} s while {late}; what was not acknowledged stays with the broker", waited.as_secs())]
    StoppedLate {
        /// Who was late.
        late: &'static str,
        /// How long we waited.
        waited: Duration,
    },
    /// The embedded broker could not start.
    #[error("cannot start the embedded broker on {listen}: {why}")]
    Embedded {
        /// The address it was to listen on.
        listen: std::net::SocketAddr,
        /// What went wrong.
        why: String,
    },
    /// The replay could not reach the broker, or was refused.
    #[error("cannot publish to {broker}: {why}")]
    Publish {
        /// Where to.
        broker: String,
        /// What went wrong.
        why: String,
    },
}
