//! Something comes of a machine: what that says of its sender, and its place among what waits for its turn.

use model::{Arrival, Channel, Content, FindingKind, Reading, Span, Timestamp};

use super::{MachineWatch, Setting};
use crate::sorter::{Pushed, is_of_no_clock};

/// A measured value that came after its turn is taken for that of a moment not longer ago than this ...
const SOON_AFTER: Span = Span::from_secs(60);
/// ... and one that holds until another is told, for that of now, not longer: what was kept during a night is not what is asked for in the morning.
const HOLDS: Span = Span::from_mins(10);

/// Does a value that is older than what has had its turn still say what is, the newest of its channel as it is?
fn still_says(channel: Channel, older_by: Span) -> bool {
    match channel {
        Channel::Setpoint | Channel::Stirrer => older_by <= HOLDS,
        Channel::Jacket | Channel::Room | Channel::Humidity | Channel::Motor => older_by <= SOON_AFTER,
        Channel::Chocolate => false,
    }
}

impl MachineWatch {
    /// Takes an arrival of this machine; the clock has been moved to it before.
    pub(crate) fn apply(&mut self, setting: &Setting<'_>, arrival: &Arrival) {
        match &arrival.content {
            Content::Reading(Reading { channel, at, value, .. }) => {
                if !arrival.retained {
                    self.heard(*channel, *at, arrival.arrived);
                }
                self.queue(setting, (*at, *channel, *value), arrival.arrived);
            }
            Content::Event(event) => {
                self.told(event);
                self.sorter.push_event(event.clone());
            }
        }
        self.take_due(setting);
    }

    /// Takes a reading that came at the moment at which it was measured.
    pub(crate) fn apply_at_once(
        &mut self,
        setting: &Setting<'_>,
        (at, channel, value): (Timestamp, Channel, Option<f64>),
    ) {
        self.heard(channel, at, at);
        self.queue(setting, (at, channel, value), at);
        self.take_due(setting);
    }

    /// The sender is alive: what does that say of its clock, and of its silence?
    fn heard(&mut self, channel: Channel, at: Timestamp, arrived: Timestamp) {
        self.clock_off.arrived(channel, at, arrived);
        if channel == Channel::Chocolate {
            let is_newer = self.newest.at(channel).is_none_or(|newest| newest < at);
            let verdict = self.silent.arrived(arrived, arrived - at, is_newer);
            self.enter(FindingKind::Silent, verdict);
        }
    }

    fn queue(
        &mut self,
        setting: &Setting<'_>,
        (at, channel, value): (Timestamp, Channel, Option<f64>),
        arrived: Timestamp,
    ) {
        let is_news = self.newest.note(channel, (at, value), arrived);
        match self.sorter.push_reading(channel, at, value, arrived) {
            Pushed::Waits | Pushed::Replaced => return,
            Pushed::Late if is_of_no_clock(at - arrived) => return,
            Pushed::Late => self.late.work_out_from(at),
        }
        if is_news && still_says(channel, self.sorter.late_by(at)) {
            self.sorter.push_after_all(channel, value);
        }
        if channel == Channel::Chocolate && self.sorter.is_set_back(at, arrived) {
            self.turn_back(setting, at);
            self.sorter.set_back(at, arrived);
            self.sorter.push_reading(channel, at, value, arrived);
        }
    }
}
