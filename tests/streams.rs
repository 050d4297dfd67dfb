//! Sample streams as arrivals and as messages, for tests that play them in their own way.

use std::sync::Arc;

use model::{Arrival, Content};
use plant::{Plant, parse_plant};
use wire::recording::Recording;
use wire::{Decoder, Message};

use crate::program::root;

/// A sample stream with its plant.
pub(crate) struct Sample {
    pub(crate) plant: Arc<Plant>,
    pub(crate) plant_text: String,
    pub(crate) arrivals: Vec<Arrival>,
}

impl Sample {
    /// Reads `sample-streams/<name>`.
    pub(crate) fn read(name: &str) -> Sample {
        let folder = root().join("sample-streams");
        let plant_text = std::fs::read_to_string(folder.join(format!("{name}.plant.toml"))).unwrap();
        let plant = Arc::new(parse_plant(&plant_text).unwrap());
        let mut decoder = Decoder::new(&plant);
        let recording = Recording::open(folder.join(format!("{name}.ndjson.zst"))).unwrap();
        let arrivals = recording.flat_map(|message| decoder.decode(&message.unwrap()).arrivals).collect();
        Sample { plant, plant_text, arrivals }
    }

    /// The same readings and events as messages that carry their own times, so that a replay at any speed means the same.
    pub(crate) fn timed_messages(&self) -> Vec<Message> {
        self.arrivals.iter().map(|arrival| timed(arrival, &self.plant.mqtt.root)).collect()
    }
}

fn timed(arrival: &Arrival, root: &str) -> Message {
    let machine = arrival.machine();
    let (topic, payload) = match &arrival.content {
        Content::Reading(reading) => {
            let seconds = reading.at.as_millis() as f64 / 1000.0;
            let value = reading.value.map(|value| format!(",\"v\":{value}")).unwrap_or_default();
            let pack = format!("[{{\"n\":\"{}\",\"t\":{seconds:.3}{value}}}]", reading.channel);
            (format!("{root}/{machine}"), pack)
        }
        Content::Event(event) => {
            let mut json: serde_json::Map<String, serde_json::Value> =
                serde_json::from_str(&event.raw).unwrap();
            json.insert("at".to_owned(), event.at.to_string().into());
            (format!("{root}/{machine}/event"), serde_json::Value::from(json).to_string())
        }
    };
    Message { topic, payload: payload.into_bytes(), arrived: arrival.arrived, retained: false }
}
