//! An event as other programs see it: in the words in which it came, completed by what we know.

use model::{Event, EventKind};
use serde::Serialize;
use serde_json::{Map, Value};

/// An event. Fields that we do not know stand as they came.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct EventDto {
    /// Which machine.
    pub machine: String,
    /// The contract's word.
    pub event: &'static str,
    /// When it happened.
    pub at: String,
    /// Who reported it.
    pub by: Option<String>,
    /// Everything else.
    #[serde(flatten)]
    pub fields: Map<String, Value>,
}

/// Keys that have their own place.
const OWN_KEYS: [&str; 4] = ["machine", "event", "at", "by"];

/// Was a sample's cooling curve all that the test rests on, without a smear?
pub(crate) fn is_by_curve(event: &Event) -> bool {
    let raw = serde_json::from_str::<Value>(&event.raw).unwrap_or_default();
    raw.get("curve").is_some() && raw.get("gloss").is_none()
}

impl From<&Event> for EventDto {
    fn from(event: &Event) -> EventDto {
        let mut fields = fields_of(&event.kind);
        // What was written down again in the model (an `at` that was missing, say) wins over the raw text.
        if let Ok(Value::Object(raw)) = serde_json::from_str(&event.raw) {
            for (key, value) in raw {
                fields.entry(key).or_insert(value);
            }
        }
        // A curve has one grade, which stands for three only inside.
        if is_by_curve(event) {
            ["gloss", "contraction", "snap"].iter().for_each(|key| {
                fields.shift_remove(*key);
            });
        }
        OWN_KEYS.iter().for_each(|key| {
            fields.shift_remove(*key);
        });
        EventDto {
            machine: event.machine.to_string(),
            event: event.kind.as_str(),
            at: event.at.to_string(),
            by: event.by.clone(),
            fields,
        }
    }
}

fn fields_of(kind: &EventKind) -> Map<String, Value> {
    let pairs: Vec<(&str, Value)> = match kind {
        EventKind::Charge { couverture, lot, mass_kg, method } => vec![
            ("couverture", couverture.as_ref().map(ToString::to_string).into()),
            ("lot", lot.clone().into()),
            ("mass_kg", (*mass_kg).into()),
            ("method", method.map(|method| method.as_str()).into()),
        ],
        EventKind::Seed { mass_kg, temperature, lot } | EventKind::TopUp { mass_kg, temperature, lot } => {
            vec![
                ("mass_kg", (*mass_kg).into()),
                ("temperature", (*temperature).into()),
                ("lot", lot.clone().into()),
            ]
        }
        EventKind::TemperTest(test) => vec![
            ("gloss", test.gloss.as_str().into()),
            ("contraction", test.contraction.as_str().into()),
            ("snap", test.snap.as_str().into()),
            ("minutes", test.minutes.into()),
        ],
        EventKind::Reference { temperature } => vec![("temperature", (*temperature).into())],
        EventKind::Note { text } => vec![("text", text.clone().into())],
        EventKind::End => Vec::new(),
    };
    pairs
        .into_iter()
        .filter(|(_, value)| !value.is_null())
        .map(|(key, value)| (key.to_owned(), value))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn unknown_fields_stay_and_known_ones_are_completed() {
        let event = Event {
            machine: "alder".parse().unwrap(),
            at: "2026-03-02T07:05:00Z".parse().unwrap(),
            by: Some("line 2".to_owned()),
            kind: EventKind::Seed { mass_kg: Some(1.5), temperature: Some(20.0), lot: None },
            raw: r#"{"event":"seed","by":"line 2","mass_kg":1.5,"temperature":20,"bucket":"blue"}"#
                .to_owned(),
        };
        let json = serde_json::to_string(&EventDto::from(&event)).unwrap();
        expect_test::expect![[r#"{"machine":"alder","event":"seed","at":"2026-03-02T07:05:00Z","by":"line 2","mass_kg":1.5,"temperature":20.0,"bucket":"blue"}"#]].assert_eq(&json);
    }
}
