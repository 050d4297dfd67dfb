//! Devices that the plant does not know. A broker shared by a whole factory carries hundreds of them, so each is told once,
//! and again with each of its births, and not with every message.

use std::collections::HashSet;

use crate::sparkplug::topic::Kind;

/// More devices than any broker of one site has; beyond them, only births are told.
const MOST_REMEMBERED: usize = 10_000;

#[derive(Debug, Default)]
pub(crate) struct Strangers(HashSet<String>);

impl Strangers {
    /// Should this message of an unknown device be told?
    pub(crate) fn is_to_be_told(&mut self, node: &str, device: &str, kind: Kind) -> bool {
        let has_room = self.0.len() < MOST_REMEMBERED;
        let is_new = has_room && self.0.insert(format!("{node}/{device}"));
        match kind {
            Kind::Birth => true,
            Kind::Data => is_new,
            Kind::Death => false,
        }
    }
}
