//! One MQTT message as it reached the broker.

use model::Timestamp;

/// A message on its topic, at the moment of its arrival.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    /// Where it was published.
    pub topic: String,
    /// What it says.
    pub payload: Vec<u8>,
    /// When it arrived.
    pub arrived: Timestamp,
    /// The broker kept it from earlier.
    pub retained: bool,
}
