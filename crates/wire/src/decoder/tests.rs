//! Messages in, readings, events and rejects out, as text.

use expect_test::{Expect, expect};
use model::{Arrival, Content, Reading};
use plant::parse_plant;
use proptest::prelude::*;

use super::*;

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
filter = "hall/{machine}/{channel}/value"
[[source]]
filter = "shed/meter-1"
machine = "alder"
channel = "jacket"
value = "/temp/value"
time = "/at"
time_format = "unix-s"
[[source]]
filter = "shed/meter-1"
machine = "alder"
channel = "humidity"
value = "/rh"
"#;

pub(super) fn decoder() -> Decoder {
    Decoder::new(&parse_plant(PLANT).expect("a good plant file"))
}

pub(super) fn message(topic: &str, payload: &[u8], retained: bool) -> Message {
    let arrived = "2026-03-02T05:00:00Z".parse().expect("a time");
    Message { topic: topic.to_owned(), payload: payload.to_owned(), arrived, retained }
}

fn show(arrival: &Arrival) -> String {
    match &arrival.content {
        Content::Reading(Reading { machine, channel, at, value }) => {
            let value = value.map_or("missing".into(), |value| format!("{value:.2}"));
            format!("{machine} {channel} {at} {value}")
        }
        Content::Event(event) => format!("{} event {} {}", event.machine, event.at, event.kind.as_str()),
    }
}

fn decoded(decoder: &mut Decoder, message: &Message) -> String {
    let Decoded { arrivals, rejects, .. } = decoder.decode(message);
    let rejects = rejects.iter().map(|reject| format!("rejected: {}", reject.reason));
    arrivals.iter().map(show).chain(rejects).collect::<Vec<_>>().join("\n")
}

#[expect(clippy::needless_pass_by_value, reason = "an expectation reads best as the last argument")]
fn check(topic: &str, payload: &str, expected: Expect) {
    expected.assert_eq(&decoded(&mut decoder(), &message(topic, payload.as_bytes(), false)));
}

#[expect(clippy::needless_pass_by_value, reason = "an expectation reads best as the last argument")]
fn check_retained(topic: &str, payload: &str, expected: Expect) {
    expected.assert_eq(&decoded(&mut decoder(), &message(topic, payload.as_bytes(), true)));
}

#[test]
fn bare_numbers_are_readings_at_their_arrival() {
    check("works/alder/chocolate", "31.24", expect!["alder chocolate 2026-03-02T05:00:00Z 31.04"]);
    check("works/alder/stirrer", "1", expect!["alder stirrer 2026-03-02T05:00:00Z 1.00"]);
}

#[test]
fn what_the_contract_calls_missing_is_a_reading_without_value() {
    for payload in ["nan", "inf", "null", ""] {
        let said = decoded(&mut decoder(), &message("works/alder/room", payload.as_bytes(), false));
        assert_eq!(said, "alder room 2026-03-02T05:00:00Z missing", "{payload}");
    }
    check(
        "works/alder",
        r#"[{"n":"room"},{"bn":"a/","bv":20,"n":"jacket"}]"#,
        expect![[r#"
        alder room 2026-03-02T05:00:00Z missing
        alder jacket 2026-03-02T05:00:00Z missing"#]],
    );
}

#[test]
fn a_pack_names_its_channels_behind_the_last_slash() {
    check(
        "works/alder",
        r#"[{"bn":"urn:dev:ow:10e2073a0108006/","bt":1772427590,"bu":"Cel","n":"chocolate","v":31.5},{"n":"hall/room","t":5,"v":21},{"n":"stirrer","u":"/","vb":true},{"n":"vibration","v":1}]"#,
        expect![[r#"
            alder chocolate 2026-03-02T04:59:50Z 31.30
            alder room 2026-03-02T04:59:55Z 21.00
            alder stirrer 2026-03-02T04:59:50Z 1.00
            rejected: the record `urn:dev:ow:10e2073a0108006/vibration`: `vibration` is not a channel; the channels are chocolate, jacket, room, humidity, setpoint, stirrer and motor"#]],
    );
}

#[test]
fn a_pack_on_a_channels_topic_is_of_that_channel() {
    check(
        "works/alder/chocolate",
        r#"[{"n":"probe-7","u":"K","v":304.35},{"n":"probe-7","t":-10,"u":"Cel","v":31}]"#,
        expect![[r#"
            alder chocolate 2026-03-02T05:00:00Z 31.00
            alder chocolate 2026-03-02T04:59:50Z 30.80"#]],
    );
    check(
        "works/alder/chocolate",
        r#"[{"n":"alder/room","v":21}]"#,
        expect!["rejected: the record `alder/room` came on the topic of chocolate"],
    );
}

#[test]
fn a_retained_message_is_a_reading_only_with_a_time_of_its_own() {
    check_retained("works/alder/chocolate", "31.24", expect![""]);
    check_retained("works/alder/chocolate", "", expect![""]);
    check_retained(
        "works/alder",
        r#"[{"n":"chocolate","t":-5,"v":31},{"n":"room","t":1772427590,"v":21}]"#,
        expect!["alder room 2026-03-02T04:59:50Z 21.00"],
    );
    check_retained("works/alder/event", r#"{"event":"end"}"#, expect![""]);
    check_retained(
        "works/alder/event",
        r#"{"event":"end","at":"2026-03-02T04:00:00Z"}"#,
        expect!["alder event 2026-03-02T04:00:00Z end"],
    );
}

#[test]
fn raw_sensors_become_degrees() {
    let mut decoder = decoder();
    let mut say = |topic: &str, payload: &str, expected: Expect| {
        expected.assert_eq(&decoded(&mut decoder, &message(topic, payload.as_bytes(), false)));
    };
    // IEC 60751: 111.67 Ω at 30 °C. NIST Monograph 175, type K: 0.405 mV more at 30 °C than at 20 °C.
    say("works/birch/chocolate", "111.673", expect!["birch chocolate 2026-03-02T05:00:00Z 30.00"]);
    say(
        "works/birch/chocolate",
        r#"[{"n":"chocolate","u":"Cel","v":30.5}]"#,
        expect!["birch chocolate 2026-03-02T05:00:00Z 30.50"],
    );
    say("works/birch/jacket", "0.405", expect![""]);
    say(
        "works/birch/room",
        "20",
        expect![[r#"
            birch room 2026-03-02T05:00:00Z 20.00
            birch jacket 2026-03-02T05:00:00Z 30.00"#]],
    );
    say("works/birch/jacket", "0.405", expect!["birch jacket 2026-03-02T05:00:00Z 30.00"]);
    say("works/birch/chocolate", "99999", expect!["birch chocolate 2026-03-02T05:00:00Z missing"]);
}

#[test]
fn events_are_events() {
    check(
        "works/alder/event",
        r#"{"event":"seed","mass_kg":1.5,"at":"2026-03-02T04:59:00Z"}"#,
        expect!["alder event 2026-03-02T04:59:00Z seed"],
    );
    check(
        "works/alder/event",
        r#"{"event":"note","text":"lid open"}"#,
        expect!["alder event 2026-03-02T05:00:00Z note"],
    );
    check(
        "works/alder/event",
        r#"{"event":"stir"}"#,
        expect![
            "rejected: `stir` is not an event; the events are charge, seed, top-up, temper-test, reference, note and end"
        ],
    );
}

#[test]
fn foreign_topics_are_read_by_their_sources() {
    check("hall/alder/room/value", "21.5", expect!["alder room 2026-03-02T05:00:00Z 21.50"]);
    check("hall/oak/room/value", "21.5", expect!["rejected: there is no machine `oak` in the plant file"]);
    check(
        "hall/alder/lid/value",
        "1",
        expect![
            "rejected: `lid` is not a channel; the channels are chocolate, jacket, room, humidity, setpoint, stirrer and motor"
        ],
    );
    check(
        "shed/meter-1",
        r#"{"temp":{"value":45.5},"rh":51,"at":1772427590}"#,
        expect![[r#"
        alder jacket 2026-03-02T04:59:50Z 45.50
        alder humidity 2026-03-02T05:00:00Z 51.00"#]],
    );
    check(
        "shed/meter-1",
        r#"{"temp":{"value":45.5},"at":1772427590}"#,
        expect![[r#"
        alder jacket 2026-03-02T04:59:50Z 45.50
        rejected: there is nothing at `/rh` in the payload"#]],
    );
    check_retained(
        "shed/meter-1",
        r#"{"temp":{"value":45.5},"rh":51,"at":1772427590}"#,
        expect!["alder jacket 2026-03-02T04:59:50Z 45.50"],
    );
}

#[test]
fn what_cannot_be_read_is_rejected_with_a_reason() {
    check(
        "works/alder/chocolate",
        "warm",
        expect!["rejected: `warm` is not a number; send a bare number such as 31.24, or a SenML pack"],
    );
    check(
        "works/alder/chocolate",
        r#"{"value":31}"#,
        expect![
            "rejected: a JSON object is neither a bare number nor a SenML pack, which is a list; a [[source]] in the plant file can point to the value in it"
        ],
    );
    check(
        "works/alder",
        "31.2",
        expect![
            "rejected: a bare payload does not say which channel it is; send it to works/alder/chocolate or another channel, or send a SenML pack"
        ],
    );
    check(
        "works/alder",
        "warm",
        expect![[
            r#"rejected: the payload is not a SenML pack; a pack is a list of records, such as [{"n":"chocolate","u":"Cel","v":31.2}]"#
        ]],
    );
    check("works/oak/chocolate", "31.2", expect!["rejected: there is no machine `oak` in the plant file"]);
    check(
        "works/alder/vibration",
        "31.2",
        expect![
            "rejected: `vibration` is not a channel; the channels are chocolate, jacket, room, humidity, setpoint, stirrer and motor"
        ],
    );
    check(
        "works/alder/chocolate/raw",
        "31.2",
        expect![
            "rejected: under the root stand works/<machine>, works/<machine>/<channel> and works/<machine>/event, and no other topics"
        ],
    );
    check(
        "elsewhere/alder",
        "31.2",
        expect![
            "rejected: the topic is neither under the root `works` nor in any [[source]] of the plant file"
        ],
    );
    check(
        "works/alder/chocolate",
        r#"[{"n":"x","t":1e300,"v":31}]"#,
        expect!["rejected: the time `t` is outside the years 1 to 9999"],
    );
}

#[test]
fn what_we_publish_ourselves_says_nothing() {
    check("works/alder/standing", r#"{"phase":"working"}"#, expect![""]);
}

#[test]
fn packs_in_cbor_are_read_on_the_same_topics() {
    // [{-2: "alder/", -4: "Cel", 0: "chocolate", 2: 31.25}, {0: "room", 2: 21}]
    let pack = b"\x82\xa4\x21\x66alder/\x23\x63Cel\x00\x69chocolate\x02\xfb\x40\x3f\x40\0\0\0\0\0\xa2\x00\x64room\x02\x15";
    let said = |topic: &str| decoded(&mut decoder(), &message(topic, pack, false));
    expect![[r#"
        alder chocolate 2026-03-02T05:00:00Z 31.05
        alder room 2026-03-02T05:00:00Z 21.00"#]]
    .assert_eq(&said("works/alder"));
    expect![[r#"
        alder chocolate 2026-03-02T05:00:00Z 31.05
        rejected: the record `alder/room` came on the topic of chocolate"#]]
    .assert_eq(&said("works/alder/chocolate"));
    expect![[r#"
        alder room 2026-03-02T05:00:00Z 21.00
        rejected: the record `alder/chocolate` came on the topic of room"#]]
    .assert_eq(&said("hall/alder/room/value"));
}

#[test]
fn endless_payloads_and_endless_faults_are_told_once() {
    let rejects = |payload: &[u8]| decoder().decode(&message("works/alder", payload, false)).rejects;
    assert!(rejects(&vec![b' '; LARGEST_PAYLOAD + 1])[0].reason.contains("larger than 4194304 bytes"));
    let bad = format!("[{}{{\"n\":\"x\"}}]", "{\"n\":\"x\"},".repeat(499));
    let told = rejects(bad.as_bytes());
    assert_eq!(told.len(), 101);
    assert!(told[100].reason.starts_with("more than 100 parts of this message"));
}

#[test]
fn a_reject_shows_how_the_payload_begins() {
    let reject = decoder()
        .decode(&message("works/alder/chocolate", "warm é".repeat(99).as_bytes(), false))
        .rejects
        .remove(0);
    assert!(reject.excerpt.starts_with("warm éwarm"));
    assert_eq!(reject.excerpt.chars().count(), 120);
    let reject =
        decoder().decode(&message("works/alder/chocolate", &[0xff, 0x00, 0x20], false)).rejects.remove(0);
    assert_eq!(reject.excerpt, "ff 00 20");
}

#[test]
fn subscriptions_hold_each_filter_once() {
    let expected =
        ["hall/+/+/value", "shed/meter-1", "spBv1.0/+/+/+", "spBv1.0/+/+/+/+", "works/+", "works/+/+"];
    assert_eq!(decoder().subscriptions(), expected);
}

proptest! {
    #[test]
    fn any_payload_gives_finite_readings_or_reasons(
        topic in prop_oneof![
            Just("works/alder".to_owned()), Just("works/birch/chocolate".to_owned()), Just("works/alder/event".to_owned()),
            Just("shed/meter-1".to_owned()), "[a-z/+#$]{0,12}", "spBv1.0/[a-b]/[ND](BIRTH|DATA|DEATH)/e(/alder)?",
        ],
        payload in prop_oneof![
            any::<Vec<u8>>(),
            r#"\[(\{("n"|"bn"|"v"|"t"|"u"|"bt"|"vb"):("chocolate"|"Cel"|1|-2e9|1e400|true|null|NaN)(,"v":31)?\},?){0,4}\]"#.prop_map(String::into_bytes),
            "[0-9.eE+-]{0,8}".prop_map(String::into_bytes),
        ],
        retained: bool,
    ) {
        let message = message(&topic, &payload, retained);
        let Decoded { arrivals, rejects, requests, held, let_go } = decoder().decode(&message);
        for arrival in &arrivals {
            prop_assert_eq!(arrival.arrived, message.arrived);
            if let Content::Reading(reading) = &arrival.content {
                prop_assert!(reading.value.is_none_or(f64::is_finite));
            }
        }
        // A value takes a byte at least, but for the two sources of one topic; and no fault is told a thousand times.
        prop_assert!(arrivals.len() <= payload.len() + 2 && rejects.len() <= 102);
        prop_assert!(rejects.iter().all(|reject| !reject.reason.is_empty()));
        prop_assert!(requests.len() <= 1 && held.len() <= 1 && let_go.is_empty());
    }
}
