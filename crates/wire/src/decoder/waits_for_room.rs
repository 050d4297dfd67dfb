//! A thermocouple whose cold junction is the room says nothing until the room does: its values wait, and none is lost.

use model::{Content, Timestamp};
use plant::parse_plant;

use crate::{Decoded, Decoder, HeldMessage, Message};

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
[machine.channel.jacket]
sensor = "type-k"
cold_junction = "room"
[[machine]]
id = "birch"
style = "kettle"
couverture = "dark-64"
[machine.channel.jacket]
sensor = "type-k"
cold_junction = "room"
"#;
const START: i64 = 1_772_427_600_000;
/// Of type K, 30 °C against 20 °C: 1.203 - 0.798 mV (NIST Monograph 175).
const TEN_DEGREES_MORE: &str = "0.405";

fn at(millis: i64) -> Timestamp {
    Timestamp::from_millis(START + millis)
}

/// A decoder, and what is kept for it on disk.
struct Story {
    decoder: Decoder,
    kept: Vec<HeldMessage>,
}

impl Story {
    fn new() -> Story {
        Story { decoder: Decoder::new(&parse_plant(PLANT).expect("a plant file")), kept: Vec::new() }
    }

    fn restart_with(&mut self, plant: &str) -> String {
        self.decoder = Decoder::new(&parse_plant(plant).expect("a plant file"));
        let decoded = self.decoder.restore(self.kept.clone());
        self.told(decoded)
    }

    /// What comes out of a message that arrives so many milliseconds after the start.
    fn send(&mut self, millis: i64, topic: &str, payload: &str) -> String {
        self.send_message(millis, topic, payload, false)
    }

    fn send_message(&mut self, millis: i64, topic: &str, payload: &str, retained: bool) -> String {
        let (topic, payload) = (format!("works/{topic}"), payload.into());
        let decoded = self.decoder.decode(&Message { topic, payload, arrived: at(millis), retained });
        self.told(decoded)
    }

    fn told(&mut self, decoded: Decoded) -> String {
        self.kept.extend(decoded.held);
        self.kept.retain(|held| !decoded.let_go.contains(&held.number));
        let since_start = |at: Timestamp| (at.as_millis() - START) as f64 / 1000.0;
        let arrivals = decoded.arrivals.iter().map(|arrival| {
            let Content::Reading(reading) = &arrival.content else { panic!("no event comes this way") };
            let (at, arrived) = (since_start(reading.at), since_start(arrival.arrived));
            let value = reading.value.map_or("missing".into(), |value| format!("{value:.1}"));
            format!("{} {} {value} of {at} at {arrived}", reading.machine, reading.channel)
        });
        let rejects = decoded.rejects.iter().map(|reject| format!("rejected: {}", reject.reason));
        arrivals.chain(rejects).collect::<Vec<_>>().join(", ")
    }
}

#[test]
fn values_come_out_with_the_first_room_of_their_machine_and_as_of_their_own_time() {
    let mut story = Story::new();
    assert_eq!(story.send(123, "alder/jacket", TEN_DEGREES_MORE), "");
    assert_eq!(
        story.send(
            2_000,
            "alder",
            r#"[{"n":"chocolate","v":31},{"n":"jacket","u":"V","v":0.000405,"t":-1.5}]"#
        ),
        "alder chocolate 31.0 of 2 at 2",
        "the rest of a message does not wait"
    );
    assert_eq!(story.send(3_000, "birch/room", "25"), "birch room 25.0 of 3 at 3");
    assert_eq!((story.kept.len(), story.decoder.is_waiting()), (2, true));
    assert_eq!(
        story.send(30_000, "alder/room", "20"),
        "alder room 20.0 of 30 at 30, alder jacket 30.0 of 0.123 at 30, alder jacket 30.0 of 0.5 at 30"
    );
    assert_eq!((story.kept.len(), story.decoder.is_waiting()), (0, false));
    assert_eq!(story.send(31_000, "alder/jacket", TEN_DEGREES_MORE), "alder jacket 30.0 of 31 at 31");
}

#[test]
fn a_pack_may_name_the_room_last() {
    let pack = r#"[{"n":"jacket","u":"mV","v":0.405},{"n":"room","v":20}]"#;
    assert_eq!(Story::new().send(0, "alder", pack), "alder room 20.0 of 0 at 0, alder jacket 30.0 of 0 at 0");
}

#[test]
fn they_wait_over_a_restart() {
    let mut story = Story::new();
    story.send(0, "alder/jacket", r#"[{"n":"jacket","t":-1772427595,"v":0.405}]"#);
    story.send(1_123, "alder/jacket", TEN_DEGREES_MORE);
    for _ in 0..2 {
        assert_eq!(story.restart_with(PLANT), "");
        assert_eq!(story.kept.len(), 2);
    }
    assert_eq!(
        story.send(5_000, "alder/room", "20"),
        "alder room 20.0 of 5 at 5, alder jacket 30.0 of -1772427595 at 5, alder jacket 30.0 of 1.123 at 5"
    );
    assert!(story.kept.is_empty());
}

#[test]
fn they_are_read_by_a_plant_file_that_needs_no_room_any_more() {
    let mut story = Story::new();
    story.send(0, "alder/jacket", TEN_DEGREES_MORE);
    assert_eq!(
        story.restart_with(&PLANT.replace(r#"cold_junction = "room""#, "cold_junction = 20")),
        "alder jacket 30.0 of 0 at 0"
    );
    assert!(story.kept.is_empty() && !story.decoder.is_waiting());
}

#[test]
fn what_waits_in_vain_is_told() {
    let mut story = Story::new();
    story.send(0, "alder/jacket", TEN_DEGREES_MORE);
    assert_eq!(story.send(299_999, "alder/chocolate", "31"), "alder chocolate 31.0 of 299.999 at 299.999");
    let over = story.decoder.pass_time(at(300_000));
    assert_eq!(
        story.told(over),
        "rejected: the cold junction of this thermocouple is the machine's room channel, which had not reported a value before it, \
         and none came within 5 minutes; let the room be sent, or give `cold_junction` a temperature in the plant file"
    );
    story.send(300_000, "alder/jacket", TEN_DEGREES_MORE);
    let paused = story.decoder.pause();
    assert_eq!((story.told(paused).as_str(), story.kept.len()), ("", 1), "another process goes on");
    let last = story.decoder.finish();
    assert!(story.told(last).ends_with("before it, and the stream ended before one came"));
    assert!(story.kept.is_empty());
}

/// A queue of an outage comes in one millisecond, and bare numbers say nothing of their time.
#[test]
fn bare_values_of_one_millisecond_are_set_apart() {
    let mut story = Story::new();
    for _ in 0..3 {
        story.send(0, "alder/jacket", TEN_DEGREES_MORE);
    }
    story.send(0, "birch/jacket", TEN_DEGREES_MORE);
    assert_eq!(
        story.send(1_000, "alder/room", "20"),
        "alder room 20.0 of 1 at 1, alder jacket 30.0 of 0 at 1, alder jacket 30.0 of 0.001 at 1, alder jacket 30.0 of 0.002 at 1"
    );
}

/// What a logger has kept comes channel after channel: each value is read by the room of its own time, and not by the first that is told.
/// At 30 °C a junction gives 1.203 mV, and with 0.405 mV more that is a little below the 1.612 mV of 40 °C (NIST Monograph 175).
#[test]
fn the_whole_message_is_read_before_what_waits_for_its_rooms() {
    let pack = r#"[{"n":"jacket","t":-60,"v":0.405},{"n":"jacket","v":0.405},{"n":"room","t":-60,"v":20},{"n":"room","v":30}]"#;
    let told = Story::new().send(60_000, "alder", pack);
    assert_eq!(
        told,
        "alder room 20.0 of 0 at 60, alder room 30.0 of 60 at 60, alder jacket 30.0 of 0 at 60, alder jacket 39.9 of 60 at 60"
    );
}

/// It is told by the topic under which it came.
#[test]
fn a_reject_of_what_waited_names_its_own_topic() {
    let mut story = Story::new();
    story.send(0, "alder", r#"[{"n":"jacket","v":0.405}]"#);
    let last = story.decoder.finish();
    assert_eq!(last.rejects[0].topic, "works/alder");
}

/// It is sent again with every subscription.
#[test]
fn what_a_broker_had_kept_does_not_wait() {
    let mut story = Story::new();
    let dated = r#"[{"n":"jacket","bt":1772427590,"v":0.405}]"#;
    let told = story.send_message(0, "alder/jacket", dated, true);
    assert!(told.starts_with("rejected: the cold junction of this thermocouple"), "{told}");
    assert!(!story.decoder.is_waiting());
}

#[test]
fn a_unit_that_does_not_fit_waits_for_nothing() {
    let told = Story::new().send(0, "alder", r#"[{"n":"jacket","u":"Ohm","v":110}]"#);
    assert_eq!(told, "rejected: the unit `Ohm` does not fit jacket, which takes mV, V, Cel or K");
}
