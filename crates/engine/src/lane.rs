//! The newest value of each channel, for the board.

use model::{Channel, Latest, Timestamp};
use serde::{Deserialize, Serialize};

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Newest {
    latest: [Option<Latest>; Channel::ALL.len()],
}

impl Newest {
    /// Takes a reading, in whatever order they come.
    pub(crate) fn note(&mut self, channel: Channel, at: Timestamp, value: Option<f64>) {
        let slot = &mut self.latest[channel.index()];
        if slot.is_none_or(|latest| latest.at <= at) {
            *slot = Some(Latest { at, value });
        }
    }

    pub(crate) fn latest(&self) -> [Option<Latest>; Channel::ALL.len()] {
        self.latest
    }
}
