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
    /// What to ask of senders, for whoever holds the connection to the broker to publish; a recording has nobody to ask.
    pub requests: Vec<Request>,
}

/// Something to publish: at most once, never retained. If it is lost, the decoder asks again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Request {
    /// The full topic.
    pub topic: String,
    /// The payload.
    pub payload: Vec<u8>,
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
    /// How the payload begins, as text or, if it is none, as bytes in hexadecimal: enough to recognise the sender.
    pub excerpt: String,
}

/// The longest excerpt of a payload in a reject. The reject log holds thousands of them.
const EXCERPT_CHARS: usize = 120;
/// As many bytes in hexadecimal, with a space after each.
const EXCERPT_BYTES: usize = EXCERPT_CHARS / 3;
/// The longest topic in a reject. MQTT allows 65,535 bytes.
const TOPIC_CHARS: usize = 256;

impl Reject {
    /// `message` could not be read, for this reason.
    pub(crate) fn new(message: &Message, reason: impl Into<String>) -> Reject {
        Reject {
            topic: message.topic.chars().take(TOPIC_CHARS).collect(),
            arrived: message.arrived,
            reason: reason.into(),
            excerpt: excerpt(&message.payload),
        }
    }
}

fn excerpt(payload: &[u8]) -> String {
    // Four bytes are the longest character of UTF-8; the last one may be cut.
    let start = &payload[..payload.len().min(4 * EXCERPT_CHARS)];
    match std::str::from_utf8(start) {
        Err(error) if error.error_len().is_some() => hexadecimal(start),
        Ok(_) | Err(_) => String::from_utf8_lossy(start).chars().take(EXCERPT_CHARS).collect(),
    }
}

fn hexadecimal(bytes: &[u8]) -> String {
    let shown: Vec<String> = bytes.iter().take(EXCERPT_BYTES).map(|byte| format!("{byte:02x}")).collect();
    shown.join(" ")
}
