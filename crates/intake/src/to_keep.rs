//! What goes onto disk together: arrivals, and which messages wait for another from now on or no longer.

use journal::{Held, HeldChange};
use model::Arrival;
use wire::{HeldMessage, Message};

/// What goes onto disk together.
#[derive(Default)]
pub(crate) struct ToKeep {
    pub(crate) arrivals: Vec<Arrival>,
    pub(crate) held: HeldChange,
}

impl ToKeep {
    pub(crate) fn is_empty(&self) -> bool {
        self.arrivals.is_empty() && self.held.is_empty()
    }

    /// Writes down what the decoder holds and lets go.
    pub(crate) fn note_held(&mut self, held: Vec<HeldMessage>, let_go: Vec<u64>) {
        self.held.begins.extend(held.into_iter().map(|HeldMessage { number, message }| {
            let Message { topic, payload, arrived, retained: _ } = message;
            Held { number, arrived, topic, payload }
        }));
        self.held.ends.extend(let_go);
    }
}

/// What the journal kept, as the decoder knows it.
pub(crate) fn messages(held: Vec<Held>) -> Vec<HeldMessage> {
    let message = |Held { number, arrived, topic, payload }| HeldMessage {
        number,
        message: Message { topic, payload, arrived, retained: false },
    };
    held.into_iter().map(message).collect()
}
