//! What goes into the decoder and what comes out.

use model::{Arrival, Timestamp};

/// One message as the broker delivered it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    /// The full topic.
    pub topic: String,
    /// The payload, whatever it is.
    pub payload: Vec<u8>,
    /// When it reached us.
    pub arrived: Timestamp,
    /// The broker kept it from earlier.
    pub retained: bool,
}

/// What a message held.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Decoded {
    /// What could be read, in the order of the message.
    pub arrivals: Vec<Arrival>,
    /// What could not.
    pub rejects: Vec<Reject>,
}

/// A message, or a part of one, that could not be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reject {
    /// Where it came from.
    pub topic: String,
    /// When.
    pub arrived: Timestamp,
    /// What is wrong and what to do, as a plain sentence.
    pub reason: String,
    /// How the payload begins, as text: enough to recognise the sender.
    pub excerpt: String,
}

/// The longest excerpt of a payload in a reject. The reject log holds thousands of them.
const EXCERPT_CHARS: usize = 120;
/// The longest topic in a reject. MQTT allows 65,535 bytes.
const TOPIC_CHARS: usize = 256;

impl Reject {
    /// `message` could not be read, for this reason.
    pub(crate) fn new(message: &Message, reason: impl Into<String>) -> Reject {
        // Four bytes are the longest character of UTF-8.
        let start = &message.payload[..message.payload.len().min(4 * EXCERPT_CHARS)];
        Reject {
            topic: message.topic.chars().take(TOPIC_CHARS).collect(),
            arrived: message.arrived,
            reason: reason.into(),
            excerpt: String::from_utf8_lossy(start).chars().take(EXCERPT_CHARS).collect(),
        }
    }
}
