//! The intake against real brokers: Mosquitto, the embedded one, and a scripted one for what no real broker does on demand.
//!
//! One binary, so that it is linked once; a module a subject; each test has a port and a folder of its own.

#![expect(clippy::unwrap_used, reason = "the helpers of a test are test code, too")]

#[path = "it/cuts.rs"]
mod cuts;
#[path = "it/drops.rs"]
mod drops;
#[path = "it/embedded.rs"]
mod embedded;
#[path = "it/flood.rs"]
mod flood;
#[path = "it/journal.rs"]
mod journal_trouble;
#[path = "it/lost_session.rs"]
mod lost_session;
#[path = "it/mosquitto.rs"]
mod mosquitto;
#[path = "it/noticeboard.rs"]
mod noticeboard;
#[path = "it/payloads.rs"]
mod payloads;
#[path = "it/protocol.rs"]
mod protocol;
#[path = "it/replay.rs"]
mod replay;
#[path = "it/rig.rs"]
mod rig;
#[path = "it/scripted.rs"]
mod scripted;
#[path = "it/sparkplug.rs"]
mod sparkplug;
#[path = "it/stops.rs"]
mod stops;
#[path = "it/tls.rs"]
mod tls;
