//! The replay's desk: what is on its way to the broker, how far the replay is, and when the next message is due.
//!
//! Brokers acknowledge QoS 1 messages in the order in which they came (MQTT 5.0 section 4.6), so the desk is a queue.

use std::collections::VecDeque;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use model::Timestamp;
use tokio::sync::Notify;
use tokio::time::Instant;
use tracing::warn;
use wire::Message;

/// Messages that lie on the desk at a time: enough to keep the line busy, few enough to repeat after a break.
const ON_THE_WAY: usize = 1_000;

/// How fast a replay goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pace(Option<f64>);

impl Pace {
    /// As it was recorded.
    pub const REAL_TIME: Pace = Pace(Some(1.0));
    /// As fast as the broker takes it.
    pub const UNPACED: Pace = Pace(None);

    /// This many times as fast as it was recorded; `None` unless that is a number above zero.
    pub fn times(factor: f64) -> Option<Pace> {
        (0.0 < factor && factor.is_finite()).then_some(Pace(Some(factor)))
    }
}

/// How far a replay has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Progress {
    /// Messages that the broker has acknowledged.
    pub published: u64,
    /// Those among them that it said it does not want (only MQTT 5.0 can say so).
    pub refused: u64,
    /// The recorded moment of the newest of them.
    pub at: Option<Timestamp>,
}

/// Shared by the feeder and the poll of one replay.
#[derive(Debug, Default)]
pub(crate) struct Desk {
    state: Mutex<State>,
    changed: Notify,
}

#[derive(Debug, Default)]
struct State {
    on_the_way: VecDeque<Message>,
    progress: Progress,
    has_connected: bool,
}

impl Desk {
    /// A poisoned lock only means that the other side panicked; it is never held over an await.
    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub(crate) fn progress(&self) -> Progress {
        self.state().progress
    }

    pub(crate) fn has_connected(&self) -> bool {
        self.state().has_connected
    }

    pub(crate) fn note_connected(&self) {
        self.state().has_connected = true;
    }

    /// Copies of what has not been acknowledged, oldest first.
    pub(crate) fn on_the_way(&self) -> Vec<Message> {
        self.state().on_the_way.iter().cloned().collect()
    }

    pub(crate) fn lay_down(&self, message: Message) {
        self.state().on_the_way.push_back(message);
    }

    /// The oldest message has been acknowledged; `refused` says why the broker does not want it.
    pub(crate) fn acknowledged(&self, refused: Option<&str>) -> Progress {
        let mut state = self.state();
        if let Some(message) = state.on_the_way.pop_front() {
            state.progress.published += 1;
            state.progress.at = Some(message.arrived);
            if let Some(why) = refused {
                state.progress.refused += 1;
                warn!(topic = message.topic, why, "the broker does not want this message");
            }
        }
        let progress = state.progress;
        drop(state);
        self.changed.notify_one();
        progress
    }

    pub(crate) async fn has_room(&self) {
        self.wait_for(|state| state.on_the_way.len() < ON_THE_WAY).await;
    }

    pub(crate) async fn is_cleared(&self) {
        self.wait_for(|state| state.on_the_way.is_empty()).await;
    }

    /// One waiter at a time: the feeder.
    async fn wait_for(&self, holds: impl Fn(&State) -> bool) {
        while !holds(&self.state()) {
            self.changed.notified().await;
        }
    }
}

/// When each message is due, counted from the first one.
#[derive(Debug)]
pub(crate) struct Schedule {
    pace: Pace,
    first: Option<(Timestamp, Instant)>,
}

impl Schedule {
    pub(crate) fn new(pace: Pace) -> Schedule {
        Schedule { pace, first: None }
    }

    /// `None`: at once.
    pub(crate) fn due(&mut self, recorded: Timestamp) -> Option<Instant> {
        let factor = self.pace.0?;
        let (first, start) = *self.first.get_or_insert_with(|| (recorded, Instant::now()));
        let after_secs = recorded.since(first).as_secs_f64() / factor;
        // Recorded before the first one, or further away than anything can wait for: no wait at all, or for ever.
        let after =
            if after_secs <= 0.0 { Duration::ZERO } else { Duration::try_from_secs_f64(after_secs).ok()? };
        start.checked_add(after)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> Timestamp {
        Timestamp::from_millis(1_772_427_600_000 + 1000 * seconds)
    }

    #[test]
    fn messages_are_due_in_their_own_time_divided_by_the_factor() {
        let mut schedule = Schedule::new(Pace::times(10.0).unwrap());
        let start = schedule.due(at(0)).unwrap();
        assert_eq!(schedule.due(at(30)).unwrap() - start, Duration::from_secs(3));
        assert_eq!(schedule.due(at(-5)).unwrap(), start, "late in the recording: at once");
        assert_eq!(Schedule::new(Pace::UNPACED).due(at(0)), None);
    }

    #[test]
    fn a_pace_is_a_number_above_zero() {
        assert_eq!(Pace::times(1.0), Some(Pace::REAL_TIME));
        assert!([0.0, -1.0, f64::NAN, f64::INFINITY].into_iter().all(|factor| Pace::times(factor).is_none()));
    }

    #[test]
    fn acknowledgements_clear_the_desk_in_order() {
        let desk = Desk::default();
        for second in 0..3 {
            let (topic, payload) = ("works/alder/chocolate".to_owned(), b"31.2".to_vec());
            desk.lay_down(Message { topic, payload, arrived: at(second), retained: false });
        }
        desk.acknowledged(None);
        desk.acknowledged(Some("NotAuthorized"));
        assert_eq!(desk.progress(), Progress { published: 2, refused: 1, at: Some(at(1)) });
        assert_eq!(desk.on_the_way().len(), 1);
    }
}
