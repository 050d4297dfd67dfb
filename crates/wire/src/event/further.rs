//! What a report says beyond the fields of the model: where a smear cooled, what was topped up, that a machine was cleaned. Read from the
//! report as it came, for those who show it; what cannot be read there is not there.

use model::{CouvertureId, Event};
use serde_json::Value;

/// Further fields of an event.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Further {
    /// Where a smear cooled: `room` or `refrigerator`.
    pub cooled: Option<String>,
    /// How warm the room was, °C.
    pub room_c: Option<f64>,
    /// How damp it was, %RH.
    pub room_rh: Option<f64>,
    /// Of which couverture seed or a top-up was.
    pub couverture: Option<CouvertureId>,
    /// Was it the site's own product, melted again (`"source": "rework"`)?
    pub is_rework: bool,
    /// Has the machine been cleaned (`"clean": true`)?
    pub is_clean: bool,
    /// Does it bring the cooling curve of a sample?
    pub has_curve: bool,
    /// To which channel the sample's probe reported, where the curve was taken from one: `fir/room`.
    pub curve_channel: Option<String>,
    /// Was a smear judged?
    pub has_smear: bool,
}

/// The further fields of `event`.
pub fn further(event: &Event) -> Further {
    let Ok(Value::Object(fields)) = serde_json::from_str::<Value>(&event.raw) else {
        return Further::default();
    };
    let text = |key: &str| fields.get(key).and_then(Value::as_str);
    let number = |key: &str| fields.get(key).and_then(Value::as_f64);
    Further {
        cooled: text("cooled").map(str::to_owned),
        room_c: number("room_c"),
        room_rh: number("room_rh"),
        couverture: text("couverture").and_then(|text| text.parse().ok()),
        is_rework: text("source") == Some("rework"),
        is_clean: fields.get("clean").and_then(Value::as_bool) == Some(true),
        has_curve: fields.contains_key("curve"),
        curve_channel: text("curve_channel").map(str::to_owned),
        has_smear: fields.contains_key("gloss"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::parse_event;

    #[test]
    fn further_fields_are_read_from_the_report_as_it_came() {
        let rules = plant::TemperTestRules::default().curve;
        let of = |json: &str| {
            let machine = "alder".parse().unwrap();
            further(&parse_event(&machine, json.as_bytes(), model::Timestamp::default(), &rules).unwrap())
        };
        let test = of(
            r#"{"event":"temper-test","gloss":"good","contraction":"good","snap":"good","cooled":"room","room_c":20.5,"room_rh":48}"#,
        );
        assert_eq!(
            (test.cooled.as_deref(), test.room_c, test.room_rh),
            (Some("room"), Some(20.5), Some(48.0))
        );
        let rework = of(r#"{"event":"top-up","lot":"R7","couverture":"milk-38","source":"rework"}"#);
        assert!(rework.is_rework && rework.couverture == Some("milk-38".parse().unwrap()));
        assert!(of(r#"{"event":"note","text":"dry-cleaned","clean":true}"#).is_clean);
        assert!(!of(r#"{"event":"note","text":"not cleaned","clean":"yes"}"#).is_clean);
        assert_eq!(of(r#"{"event":"end"}"#), Further::default());
    }
}
