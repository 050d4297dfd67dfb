//! Whole stories of edge nodes: messages in, readings, rejects and requests out, as text.

mod laws;
mod values;

use expect_test::{Expect, expect};
use model::Content;
use plant::parse_plant;
use prost::Message as _;

use super::*;
use crate::sparkplug::payload::{Metric, Value};
use crate::{Decoder, HeldMessage};

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
[[machine]]
id = "birch"
style = "kettle"
couverture = "dark-64"
"#;

/// The moment from which all stories count.
const START: i64 = 1_772_427_600_000;

const DOUBLE: u32 = 10;
const BOOLEAN: u32 = 11;
const INT64: u32 = 4;

fn metric(name: Option<&str>, alias: Option<u64>, datatype: Option<u32>, value: Value) -> Metric {
    Metric { name: name.map(str::to_owned), alias, datatype, value: Some(value), ..Metric::default() }
}

/// A story, what is kept for it on disk, and all that has come out of it.
struct Story {
    decoder: Decoder,
    kept: Vec<HeldMessage>,
    told: Vec<String>,
}

impl Story {
    fn new() -> Story {
        Story { decoder: decoder(PLANT), kept: Vec::new(), told: Vec::new() }
    }

    /// The process ends without a word, and another begins with what was kept.
    fn crash(&mut self) -> &mut Story {
        self.restart_with(PLANT)
    }

    /// The same, the plant file having been changed meanwhile.
    fn restart_with(&mut self, plant: &str) -> &mut Story {
        self.decoder = decoder(plant);
        let restored = self.decoder.restore(self.kept.clone());
        self.tell(&restored);
        self
    }

    fn send(&mut self, second: i64, topic: &str, payload: Vec<u8>) -> &mut Story {
        self.send_message(&Message {
            topic: format!("spBv1.0/{topic}"),
            payload,
            arrived: Timestamp::from_millis(START + 1000 * second),
            retained: false,
        })
    }

    fn send_message(&mut self, message: &Message) -> &mut Story {
        let decoded = self.decoder.decode(message);
        self.tell(&decoded);
        self
    }

    fn tell(&mut self, decoded: &crate::Decoded) {
        self.kept.extend(decoded.held.iter().cloned());
        self.kept.retain(|held| !decoded.let_go.contains(&held.number));
        for arrival in &decoded.arrivals {
            let Content::Reading(reading) = &arrival.content else { panic!("no event comes this way") };
            let value = reading.value.map_or("missing".into(), |value| format!("{value}"));
            let second = |at: Timestamp| (at.as_millis() - START) as f64 / 1000.0;
            self.told.push(format!(
                "{} {} {value} of {} at {}",
                reading.machine,
                reading.channel,
                second(reading.at),
                second(arrival.arrived)
            ));
        }
        self.told.extend(decoded.rejects.iter().map(|reject| format!("rejected: {}", reject.reason)));
        self.told.extend(decoded.requests.iter().map(|request| format!("request to {}", request.topic)));
    }

    /// The node's birth, in the session `bd_seq`.
    fn node_birth(&mut self, second: i64, seq: u64, bd_seq: u64) -> &mut Story {
        let metrics = [metric(Some("bdSeq"), None, Some(INT64), Value::Long(bd_seq))];
        self.send(second, "hall/NBIRTH/edge", payload(seq, &metrics))
    }

    /// Alder's birth: chocolate under `alias`, jacket and stirrer after it.
    fn birth(&mut self, second: i64, seq: u64, alias: u64) -> &mut Story {
        let metrics = [
            metric(Some("Kettle/chocolate"), Some(alias), Some(DOUBLE), Value::Double(30.0)),
            metric(Some("Kettle/jacket"), Some(alias + 1), Some(3), Value::Int(40)),
            metric(Some("Kettle/stirrer"), Some(alias + 2), Some(BOOLEAN), Value::Boolean(true)),
        ];
        self.send(second, "hall/DBIRTH/edge/alder", payload(seq, &metrics))
    }

    fn data(&mut self, second: i64, seq: u64, alias: u64, value: f64) -> &mut Story {
        let metrics = [metric(None, Some(alias), None, Value::Double(value))];
        self.send(second, "hall/DDATA/edge/alder", payload(seq, &metrics))
    }

    fn death(&mut self, second: i64, bd_seq: u64) -> &mut Story {
        let metrics = [metric(Some("bdSeq"), None, Some(INT64), Value::Long(bd_seq))];
        self.send(second, "hall/NDEATH/edge", Payload::of(None, None, &metrics).encode_to_vec())
    }

    #[expect(clippy::needless_pass_by_value, reason = "an expectation reads best as the last argument")]
    fn tells(&mut self, expected: Expect) -> &mut Story {
        expected.assert_eq(&std::mem::take(&mut self.told).join("\n"));
        self
    }
}

fn decoder(plant: &str) -> Decoder {
    Decoder::new(&parse_plant(plant).expect("a good plant file"))
}

fn payload(seq: u64, metrics: &[Metric]) -> Vec<u8> {
    Payload::of(None, Some(seq), metrics).encode_to_vec()
}

#[test]
fn data_are_read_by_the_birth_of_their_device() {
    Story::new()
        .node_birth(0, 0, 0)
        .birth(1, 1, 10)
        .tells(expect![[r#"
            alder chocolate 30 of 1 at 1
            alder jacket 40 of 1 at 1
            alder stirrer 1 of 1 at 1"#]])
        .data(2, 2, 10, 31.2)
        .tells(expect!["alder chocolate 31.2 of 2 at 2"])
        // A signed number in an unsigned field, its datatype known from the birth.
        .send(3, "hall/DDATA/edge/alder", payload(3, &[metric(None, Some(11), None, Value::Int(u32::MAX))]))
        .tells(expect!["alder jacket -1 of 3 at 3"])
        .send(4, "hall/DDATA/edge/alder", payload(4, &[metric(None, Some(12), None, Value::Boolean(false))]))
        .tells(expect!["alder stirrer 0 of 4 at 4"])
        .send(5, "hall/DDATA/edge/alder", payload(5, &[metric(None, Some(10), None, Value::Text("31.2".into()))]))
        .tells(expect![
            "rejected: the metric of chocolate: `31.2` is a number written as text; send it as Float or Double"
        ]);
}

#[test]
fn the_count_goes_round() {
    let mut story = Story::new();
    story.node_birth(0, 254, 0).birth(0, 255, 10).told.clear();
    story.data(1, 0, 10, 31.0).data(2, 1, 10, 31.1).tells(expect![[r#"
        alder chocolate 31 of 1 at 1
        alder chocolate 31.1 of 2 at 2"#]]);
}

#[test]
fn data_before_a_birth_wait_for_the_rebirth_that_is_asked_for() {
    Story::new()
        .data(0, 7, 10, 31.0)
        .tells(expect!["request to spBv1.0/hall/NCMD/edge"])
        .data(1, 8, 10, 31.1)
        .tells(expect![""])
        .node_birth(2, 0, 0)
        .tells(expect![""])
        // What waited is older than what the birth says, and keeps its own moments.
        .birth(2, 1, 10)
        .tells(expect![[r#"
            alder chocolate 31 of 0 at 2
            alder chocolate 31.1 of 1 at 2
            alder chocolate 30 of 2 at 2
            alder jacket 40 of 2 at 2
            alder stirrer 1 of 2 at 2"#]]);
}

#[test]
fn data_that_name_themselves_are_read_before_their_birth() {
    let metrics = [metric(Some("Kettle/chocolate"), None, None, Value::Float(31.2))];
    Story::new().send(0, "hall/DDATA/edge/alder", payload(5, &metrics)).tells(expect![[r#"
        alder chocolate 31.2 of 0 at 0
        request to spBv1.0/hall/NCMD/edge"#]]);
}

#[test]
fn after_a_gap_data_wait_because_their_aliases_may_be_others_now() {
    let mut story = Story::new();
    story.node_birth(0, 0, 0).birth(0, 1, 10).told.clear();
    // The node was restarted while nobody listened: 10 is the jacket now, and 9 the chocolate.
    story
        .data(60, 40, 9, 31.5)
        .data(61, 41, 10, 45.0)
        .tells(expect!["request to spBv1.0/hall/NCMD/edge"])
        .node_birth(62, 0, 1)
        .birth(62, 1, 9)
        .tells(expect![[r#"
            alder chocolate 31.5 of 60 at 62
            alder jacket 45 of 61 at 62
            alder chocolate 30 of 62 at 62
            alder jacket 40 of 62 at 62
            alder stirrer 1 of 62 at 62"#]]);
}

#[test]
fn a_gap_that_nobody_answers_for_is_doubted_for_ten_seconds() {
    let mut story = Story::new();
    story.node_birth(0, 0, 0).birth(0, 1, 10).told.clear();
    story
        .data(1, 3, 10, 31.0)
        .data(5, 4, 10, 31.1)
        .tells(expect!["request to spBv1.0/hall/NCMD/edge"])
        .data(11, 5, 10, 31.2)
        .tells(expect![[r#"
            alder chocolate 31 of 1 at 11
            alder chocolate 31.1 of 5 at 11
            alder chocolate 31.2 of 11 at 11"#]]);
    assert!(!story.decoder.is_waiting());
}

#[test]
fn a_missing_message_that_comes_after_all_ends_the_doubt() {
    let mut story = Story::new();
    story.node_birth(0, 0, 0).birth(0, 1, 10).told.clear();
    story
        .data(1, 3, 10, 31.1)
        .tells(expect!["request to spBv1.0/hall/NCMD/edge"])
        .data(2, 2, 10, 31.0)
        .tells(expect![[r#"
            alder chocolate 31.1 of 1 at 2
            alder chocolate 31 of 2 at 2"#]])
        .data(3, 4, 10, 31.2)
        .tells(expect!["alder chocolate 31.2 of 3 at 3"]);
}

#[test]
fn time_alone_brings_out_what_waits() {
    let mut story = Story::new();
    story.node_birth(0, 0, 0).birth(0, 1, 10).data(1, 9, 10, 31.0).told.clear();
    assert!(story.decoder.is_waiting());
    let decoded = story.decoder.pass_time(Timestamp::from_millis(START + 11_000));
    story.tell(&decoded);
    story.tells(expect!["alder chocolate 31 of 1 at 11"]);
    assert!(!story.decoder.is_waiting());
}

#[test]
fn what_waits_in_vain_is_rejected_with_the_reason() {
    let mut story = Story::new();
    story.data(0, 0, 10, 31.0).data(299, 1, 10, 31.1).told.clear();
    story.node_birth(300, 2, 0).tells(expect![
        "rejected: it came before the birth that says what its metrics are, and none came within 5 minutes; let the edge node send its births again"
    ]);
    let decoded = story.decoder.finish();
    assert_eq!(decoded.rejects.len(), 1);
    assert!(decoded.rejects[0].reason.ends_with("and the stream ended before one came"));
}

#[test]
fn what_waits_goes_on_waiting_after_a_restart() {
    let mut story = Story::new();
    story.data(0, 7, 10, 31.0).data(1, 8, 10, 31.1).told.clear();
    story
        .crash()
        .tells(expect![""])
        // The answer to the first request may have come while nobody listened: it is asked for again.
        .data(3, 9, 10, 31.2)
        .tells(expect!["request to spBv1.0/hall/NCMD/edge"])
        .crash()
        .birth(4, 1, 10)
        .tells(expect![[r#"
            alder chocolate 31 of 0 at 4
            alder chocolate 31.1 of 1 at 4
            alder chocolate 31.2 of 3 at 4
            alder chocolate 30 of 4 at 4
            alder jacket 40 of 4 at 4
            alder stirrer 1 of 4 at 4
            request to spBv1.0/hall/NCMD/edge"#]]);
    assert!(story.kept.is_empty());
}

#[test]
fn a_restart_does_not_make_it_wait_longer() {
    let mut story = Story::new();
    story.data(0, 7, 10, 31.0).told.clear();
    story.crash().node_birth(300, 0, 0).tells(expect![
        "rejected: it came before the birth that says what its metrics are, and none came within 5 minutes; let the edge node send its births again"
    ]);
    assert!(story.kept.is_empty());
}

#[test]
fn what_waits_for_a_machine_that_was_taken_out_is_told() {
    let mut story = Story::new();
    story.data(0, 7, 10, 31.0).told.clear();
    story
        .restart_with(&PLANT.replace("alder", "cedar"))
        .tells(expect!["rejected: there is no machine `alder` in the plant file"]);
    assert!(story.kept.is_empty() && !story.decoder.is_waiting());
}

#[test]
fn at_a_pause_doubts_are_read_and_the_rest_goes_on_waiting() {
    let mut story = Story::new();
    let unborn = payload(8, &[metric(None, Some(10), None, Value::Double(32.0))]);
    story.node_birth(0, 0, 0).birth(0, 1, 10).data(1, 9, 10, 31.0).told.clear();
    story.send(1, "hall/DDATA/edge/birch", unborn).told.clear();
    let paused = story.decoder.pause();
    story.tell(&paused);
    story.tells(expect!["alder chocolate 31 of 1 at 1"]);
    let kept: Vec<&str> = story.kept.iter().map(|held| held.message.topic.as_str()).collect();
    assert_eq!(kept, ["spBv1.0/hall/DDATA/edge/birch"]);
}

#[test]
fn at_the_end_doubts_are_given_up_and_read() {
    let mut story = Story::new();
    story.node_birth(0, 0, 0).birth(0, 1, 10).data(1, 9, 10, 31.0).told.clear();
    let Story { mut decoder, .. } = story;
    let decoded = decoder.finish();
    assert_eq!((decoded.arrivals.len(), decoded.rejects.len()), (1, 0));
}

#[test]
fn a_death_invents_no_reading_and_ends_the_births() {
    let mut story = Story::new();
    story.node_birth(0, 0, 3).birth(0, 1, 10).told.clear();
    story
        // The will of the connection before.
        .death(1, 2)
        .data(2, 2, 10, 31.0)
        .tells(expect!["alder chocolate 31 of 2 at 2"])
        .death(3, 3)
        .tells(expect![""])
        .data(4, 3, 10, 31.1)
        .tells(expect!["request to spBv1.0/hall/NCMD/edge"]);
}

#[test]
fn a_devices_death_ends_its_birth_alone() {
    let mut story = Story::new();
    story.node_birth(0, 0, 3).birth(0, 1, 10).told.clear();
    story
        .send(1, "hall/DDEATH/edge/alder", payload(2, &[]))
        .tells(expect![""])
        .data(2, 3, 10, 31.0)
        .tells(expect!["request to spBv1.0/hall/NCMD/edge"])
        .birth(3, 4, 20)
        .tells(expect![[r#"
            alder chocolate 30 of 3 at 3
            alder jacket 40 of 3 at 3
            alder stirrer 1 of 3 at 3
            rejected: the alias 10 is not in the birth of alder, so nobody can say what it is; the edge node is asked for its births"#]]);
}

#[test]
fn the_rate_of_requests_is_bounded() {
    let mut story = Story::new();
    for second in 0..100 {
        story.data(second, (2 * second as u64) % 256, 10, 31.0);
    }
    story.tells(expect![[r#"
        request to spBv1.0/hall/NCMD/edge
        request to spBv1.0/hall/NCMD/edge
        request to spBv1.0/hall/NCMD/edge"#]]);
}

#[test]
fn nodes_without_a_machine_of_ours_are_asked_for_nothing() {
    let data = |seq| payload(seq, &[metric(None, Some(1), None, Value::Double(5.0))]);
    Story::new()
        .send(0, "hall/DDATA/oven/tunnel-1", data(5))
        .tells(expect!["rejected: there is no machine `tunnel-1` in the plant file"])
        .send(1, "hall/DDATA/oven/tunnel-1", data(9))
        .send(2, "hall/NDATA/oven", data(77))
        .tells(expect![""])
        .send(3, "hall/DBIRTH/oven/tunnel-1", payload(78, &[]))
        .tells(expect!["rejected: there is no machine `tunnel-1` in the plant file"]);
}

#[test]
fn state_and_commands_are_left_alone_and_nonsense_is_told() {
    Story::new()
        .send(0, "STATE/host1", br#"{"online":true,"timestamp":1}"#.to_vec())
        .send(0, "hall/NCMD/edge", vec![0xff])
        .tells(expect![""])
        .send(0, "hall/DDATA/edge/alder", b"31.2".to_vec())
        .send(0, "hall/XDATA/edge", vec![])
        .tells(expect![[r#"
            rejected: the payload is not a Sparkplug B payload (failed to decode Protobuf message: buffer underflow)
            rejected: `XDATA` is not a type of Sparkplug B message; those read here are NBIRTH, NDATA, NDEATH, DBIRTH, DDATA and DDEATH"#]]);
}
