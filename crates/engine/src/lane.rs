//! The newest value of each channel, for the board.

use model::{Channel, Latest, Timestamp};
use serde::{Deserialize, Serialize};

use crate::sorter::AHEAD;

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Newest {
    latest: [Option<Latest>; Channel::ALL.len()],
}

impl Newest {
    /// Takes a reading, in whatever order they come; says whether it is news: the newest, and not the same once more. One that a clock has dated far ahead gives way to the next that
    /// is not.
    pub(crate) fn note(
        &mut self,
        channel: Channel,
        (at, value): (Timestamp, Option<f64>),
        arrived: Timestamp,
    ) -> bool {
        let slot = &mut self.latest[channel.index()];
        let is_ahead = |at: Timestamp| arrived + AHEAD < at;
        let is_newest = slot.is_none_or(|latest| latest.at <= at || is_ahead(latest.at) && !is_ahead(at));
        let is_news = is_newest && *slot != Some(Latest { at, value });
        if is_newest {
            *slot = Some(Latest { at, value });
        }
        is_news
    }

    /// The time of the newest of a channel.
    pub(crate) fn at(&self, channel: Channel) -> Option<Timestamp> {
        self.latest[channel.index()].map(|latest| latest.at)
    }

    pub(crate) fn latest(&self) -> [Option<Latest>; Channel::ALL.len()] {
        self.latest
    }
}
