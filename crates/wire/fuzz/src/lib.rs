//! What every fuzz target holds its decoder to: it never panics, gives finite readings in bounded number, and a reason
//! for whatever it refuses.
//!
//! Targets go through the crate's public door alone, so that what they find can happen in a plant.

use std::sync::OnceLock;

use model::{Content, Timestamp};
use plant::Plant;
use wire::{Decoded, Decoder, Message};

/// 2026-03-02T05:00:00Z.
pub const ARRIVED_MILLIS: i64 = 1_772_427_600_000;

const PLANT: &str = r#"
[plant]
name = "Tern Street works"
time_zone = "Europe/Lisbon"
[[couverture]]
id = "dark-64"
family = "dark"
[[machine]]
id = "alder"
style = "kettle"
couverture = "dark-64"
[machine.channel.chocolate]
offset = -0.2
[[machine]]
id = "birch"
style = "kettle"
couverture = "dark-64"
[machine.channel.chocolate]
sensor = "pt100"
[machine.channel.jacket]
sensor = "type-k"
cold_junction = "room"
[[source]]
filter = "shed/rfc3339"
machine = "alder"
channel = "chocolate"
value = "/v"
time = "/t"
time_format = "rfc3339"
[[source]]
filter = "shed/unix-s"
machine = "alder"
channel = "stirrer"
value = "/a~1b/0"
time = "/t"
time_format = "unix-s"
[[source]]
filter = "shed/unix-ms"
machine = "birch"
channel = "jacket"
value = ""
time = ""
time_format = "unix-ms"
"#;

/// A decoder for a small plant.
pub fn decoder() -> Decoder {
    // Reading the plant file takes a hundred times as long as a message.
    static READ: OnceLock<Plant> = OnceLock::new();
    let plant =
        READ.get_or_init(|| plant::parse_plant(PLANT).expect("the plant of the targets is in order"));
    Decoder::new(plant)
}

/// A message that arrived `seconds` after the first.
pub fn message(topic: &str, payload: &[u8], seconds: i64, retained: bool) -> Message {
    let arrived = Timestamp::from_millis(ARRIVED_MILLIS + 1000 * seconds);
    Message { topic: topic.to_owned(), payload: payload.to_owned(), arrived, retained }
}

/// Decodes one message by itself, kept and not.
pub fn decode_alone(topic: &str, payload: &[u8]) {
    for retained in [false, true] {
        let decoded = decoder().decode(&message(topic, payload, 0, retained));
        // Two bytes are the least that a value takes, and an empty payload is one.
        hold(&decoded, payload.len() / 2 + 1);
    }
}

/// The law.
pub fn hold(decoded: &Decoded, most_arrivals: usize) {
    assert!(decoded.arrivals.len() <= most_arrivals, "{} readings", decoded.arrivals.len());
    for arrival in &decoded.arrivals {
        if let Content::Reading(reading) = &arrival.content {
            assert!(reading.value.is_none_or(f64::is_finite), "{reading:?}");
        }
    }
    assert!(decoded.rejects.iter().all(|reject| !reject.reason.is_empty()));
    assert!(decoded.requests.len() <= 1);
}
