//! Messages from the broker onto disk, and only then acknowledged.
//!
//! The broker is the queue: what we have not acknowledged it delivers again, after a lost connection, a full disk or a crash
//! of ours. So a message is acknowledged when its readings are durable and not before, each connection has a client of its
//! own across which nothing is acknowledged, and whatever cannot be done now is waited for. Zero loss is promised from the
//! broker's delivery on; what a broker loses by itself is told where it can be noticed, as a possible gap.
//!
//! A message may come twice. Readings and events that carry their own time are the same ones again for everybody who reads the
//! journal by machine, channel and time; a bare number delivered twice is read at two moments.
//!
//! ```text
//!            session (one connection)                    committer
//! broker ──▶ poll ──▶ inbox ──────────────▶ gather ▶ decode ▶ journal ──▶ blocks ──▶ engine
//!    ▲                  ▲                                        │
//!    └── client ◀───────│──────────── acknowledge ◀── Durable ───┘
//!                  Submit (HTTP)
//! ```

mod address;
mod config;
mod error;
mod stats;

mod dialect;
mod generation;
mod inbox;
mod session;

mod commit;
mod keeper;

mod backoff;
mod run;

mod desk;
mod embedded;
mod publish;

pub use crate::address::{BrokerAddress, Credentials};
pub use crate::config::{Clock, IntakeConfig};
pub use crate::desk::{Pace, Progress};
pub use crate::dialect::Dialect;
pub use crate::embedded::{EmbeddedBroker, EmbeddedListen, KEPT_BYTES_A_FILTER};
pub use crate::error::IntakeError;
pub use crate::inbox::{Inbox, NotKept, Submit, inbox};
pub use crate::publish::{ReplayConfig, replay};
pub use crate::run::{Wiring, run};
pub use crate::stats::{Counts, IntakeState, IntakeStats, PossibleGap};
pub use journal::Block;
pub use wire::Reject;
