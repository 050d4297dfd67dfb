//! Helpers for tests, and for nothing else: a real broker, and waiting for conditions.
//!
//! Each test has a broker of its own, on a port and in a folder of its own, so that tests run side by side.

mod authority;
mod broker;
mod proxy;
mod until;

pub use crate::authority::{Authority, Signed};
pub use crate::broker::Mosquitto;
pub use crate::proxy::Proxy;
pub use crate::until::{eventually, wait_until, wait_while_growing};
