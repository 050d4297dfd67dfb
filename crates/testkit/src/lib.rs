//! Helpers for tests, and for nothing else: a real broker, and waiting for conditions.
//!
//! Each test has a broker of its own, on a port and in a folder of its own, so that tests run side by side.

mod broker;
mod until;

pub use crate::broker::Mosquitto;
pub use crate::until::{eventually, wait_until};
