//! A payload that cannot be read is told with its reason, and is never a reading.

use expect_test::expect;
use plant::parse_plant;
use wire::{Decoder, Message};

use super::{PLANT, messages};
use crate::program::text;

fn decoder() -> Decoder {
    Decoder::new(&parse_plant(PLANT).unwrap())
}

/// One of each kind.
pub(super) const BAD_PAYLOADS: &[(&str, &str)] = &[
    ("works/alder/chocolate", "warm"),
    ("works/alder/chocolate", "31,24"),
    ("works/alder/chocolate", r#"{"value":31.24}"#),
    ("works/alder/vibration", "0.2"),
    ("works/oak/chocolate", "31.24"),
    ("works/alder", "31.24"),
    ("works/alder", r#"[{"n":"chocolate","v":31.24"#),
    ("works/alder", r#"[{"n":"chocolate","u":"Fah","v":88.2}]"#),
    ("works/alder", r#"[{"n":"chocolate","u":"Cel","v":"warm"}]"#),
    ("works/alder/chocolate/raw", "31.24"),
    ("elsewhere/alder", "31.24"),
    ("works/alder/event", r#"{"event":"stir"}"#),
    ("works/alder/event", r#"{"event":"seed","at":"noon"}"#),
    ("works/alder/event", "seed"),
];

#[test]
fn each_bad_payload_is_told() {
    let mut decoder = decoder();
    let told = |message: &Message| {
        let decoded = decoder.decode(message);
        assert!(decoded.arrivals.is_empty(), "{message:?} is not a reading");
        let reasons: Vec<String> = decoded.rejects.into_iter().map(|reject| reject.reason).collect();
        format!("{} {}\n  {}", message.topic, text(&message.payload), reasons.join("\n  "))
    };
    let said: Vec<String> = messages(BAD_PAYLOADS).iter().map(told).collect();
    expect![[r#"
        works/alder/chocolate warm
          `warm` is not a number; send a bare number such as 31.24, or a SenML pack
        works/alder/chocolate 31,24
          `31,24` has a decimal comma; send it with a point
        works/alder/chocolate {"value":31.24}
          a JSON object is neither a bare number nor a SenML pack, which is a list; a [[source]] in the plant file can point to the value in it
        works/alder/vibration 0.2
          `vibration` is not a channel; the channels are chocolate, jacket, room, humidity, setpoint, stirrer and motor
        works/oak/chocolate 31.24
          there is no machine `oak` in the plant file
        works/alder 31.24
          a bare payload does not say which channel it is; send it to works/alder/chocolate or another channel, or send a SenML pack
        works/alder [{"n":"chocolate","v":31.24
          the payload is not a SenML pack (EOF while parsing an object at line 1 column 27)
        works/alder [{"n":"chocolate","u":"Fah","v":88.2}]
          the unit `Fah` does not fit chocolate, which takes Cel or K (Ohm and mV only with a `sensor` in the plant file)
        works/alder [{"n":"chocolate","u":"Cel","v":"warm"}]
          record 1: `v` takes a number, not "warm"
        works/alder/chocolate/raw 31.24
          under the root stand works/<machine>, works/<machine>/<channel> and works/<machine>/event, and no other topics
        elsewhere/alder 31.24
          the topic is neither under the root `works` nor in any [[source]] of the plant file
        works/alder/event {"event":"stir"}
          `stir` is not an event; the events are charge, seed, top-up, temper-test, reference, note and end
        works/alder/event {"event":"seed","at":"noon"}
          `at` is `noon`, which is not a time with a zone such as 2026-03-02T07:05:00Z
        works/alder/event seed
          the event is not JSON (expected value at line 1 column 1)"#]].assert_eq(&said.join("\n"));
}

#[test]
fn a_bad_record_does_not_spoil_its_pack() {
    let pack = r#"[{"bn":"alder/","n":"chocolate","u":"Cel","v":31.24},{"n":"vibration","v":0.2},{"n":"room","u":"Cel","v":21}]"#;
    let decoded = decoder().decode(&messages(&[("works/alder", pack)])[0]);
    assert_eq!(decoded.arrivals.len(), 2);
    let reasons: Vec<String> = decoded.rejects.into_iter().map(|reject| reject.reason).collect();
    expect!["the record `alder/vibration`: `vibration` is not a channel; the channels are chocolate, jacket, room, humidity, setpoint, stirrer and motor"].assert_eq(&reasons.join("\n"));
}
