//! The newest value of each channel, for the board.

use model::{Channel, Latest, Timestamp};
use serde::{Deserialize, Serialize};

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Newest {
    latest: [Option<Latest>; Channel::ALL.len()],
}

impl Newest {
    /// Takes a reading, in whatever order they come; says whether it is the newest.
    pub(crate) fn note(&mut self, channel: Channel, at: Timestamp, value: Option<f64>) -> bool {
        let slot = &mut self.latest[channel.index()];
        let is_newest = slot.is_none_or(|latest| latest.at <= at);
        if is_newest {
            *slot = Some(Latest { at, value });
        }
        is_newest
    }

    /// The time of the newest of a channel.
    pub(crate) fn at(&self, channel: Channel) -> Option<Timestamp> {
        self.latest[channel.index()].map(|latest| latest.at)
    }

    pub(crate) fn latest(&self) -> [Option<Latest>; Channel::ALL.len()] {
        self.latest
    }
}
