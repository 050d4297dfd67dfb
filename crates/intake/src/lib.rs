//! Messages from the broker onto disk, and only then acknowledged.
//!
//! The broker is the queue: what we have not acknowledged it delivers again, after a lost connection, a full disk or a crash
//! of ours. So a message is acknowledged when its readings are durable and not before, each connection has a client of its
//! own across which nothing is acknowledged, and whatever cannot be done now is waited for. Zero loss is promised from the
//! broker's delivery on; what a broker loses by itself is told where it can be noticed, as a possible gap.
//!
//! One kind of message is acknowledged while it waits: Sparkplug data whose birth has not come (`wire::Decoder`). Without the birth they
//! cannot be read, and what cannot be read is rejected and acknowledged (contract, section 2); they wait in memory in case it comes, bounded, and a
//! crash in those seconds loses them as a reject would. Holding their acknowledgements back would hold up every message behind them.
//!
//! A message may come twice: stored, and then the connection or the process ended before its acknowledgement reached the broker.
//! Readings and events that carry their own time are the same ones again for everybody who reads the journal by machine,
//! channel and time. A bare number is not: its time is its arrival, so it is read at two moments, and [`Counts::maybe_twice`]
//! says how often that may have been. It is not guessed away. The broker's marks of a second delivery are the DUP flag and the packet
//! id, and between two values that are alike (a kettle at rest sends nothing else) only the packet id could tell the one that
//! comes again from the next one. A broker may use an id anew as soon as it has our acknowledgement, which we cannot know to have
//! reached it, or start counting anew with a session that it made while we were being killed. A wrong guess would throw away a
//! reading; no guess leaves one value standing twice. Whoever needs each reading exactly once sends its time with it.
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
mod flood;
mod hush;
mod identity;
mod rejects;
mod stats;
mod timings;

mod dialect;
mod generation;
mod inbox;
mod outbox;
mod session;
mod to_keep;

mod commit;
mod keeper;
mod moments;

mod backoff;
mod drops;
mod examine;
mod run;

mod desk;
mod embedded;
mod noticeboard;
mod publish;

pub use crate::address::BrokerAddress;
pub use crate::config::{Clock, IntakeConfig};
pub use crate::desk::{Pace, Progress};
pub use crate::dialect::Dialect;
pub use crate::embedded::{EmbeddedBroker, EmbeddedListen, KEPT_BYTES_A_FILTER};
pub use crate::error::IntakeError;
pub use crate::examine::{Answer, examine};
pub use crate::flood::Flood;
pub use crate::identity::{
    CertificateDates, Credentials, IdentityFault, Tls, certificate_dates, read_secret,
};
pub use crate::inbox::{Inbox, NotKept, Submit, inbox};
pub use crate::noticeboard::{NoticeboardConfig, Notices, keep_posted};
pub use crate::publish::{ReplayConfig, replay};
pub use crate::run::{Wiring, run};
pub use crate::stats::{BrokerDrops, Counts, IntakeState, IntakeStats, PossibleGap};
pub use crate::timings::Spread;
pub use journal::Block;
pub use wire::Reject;
