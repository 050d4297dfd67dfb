//! What goes into the decoder and what comes out.

use model::{Arrival, Timestamp};
use serde_json::Value;

use crate::parse_rfc3339;
use crate::senml::RELATIVE_BELOW;

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

impl Message {
    /// Does its payload name a moment: a time in text, or a number that can only be one? SenML counts from the arrival below
    /// 2^28 (RFC 8428, 4.5.3), which is the year 1978 in seconds, and nothing that is measured here is as large.
    pub fn names_a_moment(&self) -> bool {
        serde_json::from_slice(&self.payload).is_ok_and(|payload| holds_a_moment(&payload))
    }

    /// Is it what the service itself tells displays, at `<root>/<machine>/standing`?
    pub fn is_standing(&self) -> bool {
        let levels: Vec<&str> = self.topic.split('/').collect();
        3 <= levels.len() && levels.last() == Some(&"standing")
    }
}

fn holds_a_moment(value: &Value) -> bool {
    match value {
        Value::String(text) => parse_rfc3339(text).is_some(),
        Value::Number(number) => number.as_f64().is_some_and(|number| RELATIVE_BELOW <= number),
        Value::Array(values) => values.iter().any(holds_a_moment),
        Value::Object(fields) => fields.values().any(holds_a_moment),
        Value::Null | Value::Bool(_) => false,
    }
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
    /// Messages that cannot be read yet, this one perhaps. Whoever acknowledges them keeps them, and gives them back to
    /// [`Decoder::restore`](crate::Decoder::restore) after a restart.
    pub held: Vec<HeldMessage>,
    /// The numbers of held messages that are over and done with: read among the `arrivals`, or among the `rejects`.
    pub let_go: Vec<u64>,
}

/// A message that waits for another.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HeldMessage {
    /// Later ones have larger numbers.
    pub number: u64,
    /// What waits. It was not retained.
    pub message: Message,
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

#[cfg(test)]
mod tests {
    use super::*;

    fn message(topic: &str, payload: &str) -> Message {
        let arrived = "2026-03-02T05:00:00Z".parse().unwrap();
        Message { topic: topic.to_owned(), payload: payload.as_bytes().to_owned(), arrived, retained: true }
    }

    #[test]
    fn a_moment_is_told_from_values_and_from_times_before_the_arrival() {
        for payload in [
            r#"{"event":"end","at":"2026-03-02T05:00:00Z"}"#,
            r#"[{"bn":"alder/","bt":1772427600,"n":"chocolate","v":31}]"#,
            r#"{"data":{"value":31,"ms":1772427600000}}"#,
            r#"[{"n":"chocolate","v":31},{"n":"room","t":1.7724276e9,"v":21}]"#,
        ] {
            assert!(message("works/alder", payload).names_a_moment(), "{payload}");
        }
        for payload in
            ["31.5", "", "nan", r#"{"event":"end"}"#, r#"[{"n":"chocolate","t":-5,"v":31}]"#, "\u{1}"]
        {
            assert!(!message("works/alder", payload).names_a_moment(), "{payload}");
        }
    }

    #[test]
    fn standings_are_told_by_their_topic() {
        for topic in ["works/alder/standing", "tern/street/alder/standing"] {
            assert!(message(topic, "{}").is_standing(), "{topic}");
        }
        for topic in ["works/standing", "works/alder/chocolate", "works/standing/chocolate", "standing"] {
            assert!(!message(topic, "{}").is_standing(), "{topic}");
        }
    }
}
