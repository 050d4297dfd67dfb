//! What a metric's value, moment and quality become.

use expect_test::expect;
use prost::Message as _;

use super::*;

#[test]
fn null_bad_and_stale_values() {
    let mut story = Story::new();
    story.node_birth(0, 0, 0).birth(0, 1, 10).told.clear();
    let null = Metric { is_null: Some(true), value: None, ..metric(None, Some(10), None, Value::Int(0)) };
    let historical =
        Metric { is_historical: Some(true), ..metric(None, Some(10), None, Value::Double(31.0)) };
    let dated = Metric { timestamp: Some(START as u64 - 60_000), ..historical.clone() };
    let nan = metric(None, Some(11), None, Value::Float(f32::NAN));
    let bad = metric(None, Some(12), None, Value::Boolean(true)).with_quality(0);
    let stale = metric(None, Some(10), None, Value::Double(31.0)).with_quality(500);
    let odd = metric(None, Some(10), None, Value::Double(31.0)).with_quality(7);
    let metrics = [null, dated, historical, nan, bad, stale, odd];
    story.send(1, "hall/DDATA/edge/alder", payload(2, &metrics)).tells(expect![[r#"
        alder chocolate missing of 1 at 1
        alder chocolate 31 of -60 at 1
        alder jacket missing of 1 at 1
        alder stirrer missing of 1 at 1
        rejected: the metric of chocolate: a historical value needs a timestamp of its own
        rejected: the metric of chocolate: its sender calls it stale, so it was measured earlier and is no new reading
        rejected: the metric of chocolate: its quality 7 is none of 0 (bad), 192 (good) and 500 (stale)"#]]);
}

#[test]
fn metrics_that_are_not_channels_are_told_with_the_birth_and_then_passed_over() {
    let metrics = [
        metric(Some("Kettle/chocolate"), Some(1), Some(DOUBLE), Value::Double(30.0)),
        metric(Some("Properties/Firmware"), Some(2), Some(12), Value::Text("1.4".into())),
    ];
    Story::new()
        .node_birth(0, 0, 0)
        .send(1, "hall/DBIRTH/edge/alder", payload(1, &metrics))
        .tells(expect![[r#"
            alder chocolate 30 of 1 at 1
            rejected: not read, because what stands behind the last `/` is not a channel: `Properties/Firmware`; the channels are chocolate, jacket, room, humidity, setpoint, stirrer and motor"#]])
        .send(2, "hall/DDATA/edge/alder", payload(2, &[metric(None, Some(2), None, Value::Text("1.5".into()))]))
        .tells(expect![""]);
}

#[test]
fn kept_messages_touch_no_session() {
    let kept = |timestamp, seq| Message {
        topic: "spBv1.0/hall/DDATA/edge/alder".into(),
        payload: Payload::of(
            timestamp,
            Some(seq),
            &[metric(Some("chocolate"), None, None, Value::Double(31.0))],
        )
        .encode_to_vec(),
        arrived: Timestamp::from_millis(START),
        retained: true,
    };
    let mut story = Story::new();
    story.node_birth(0, 0, 0).birth(0, 1, 10).told.clear();
    story
        .send_message(&kept(None, 99))
        .send_message(&kept(Some(START as u64 - 5_000), 99))
        .tells(expect!["alder chocolate 31 of -5 at 0"])
        .data(1, 2, 10, 31.2)
        .tells(expect!["alder chocolate 31.2 of 1 at 1"]);
}

#[test]
fn a_reading_is_dated_by_its_metric_then_its_payload_then_its_arrival() {
    let own =
        Metric { timestamp: Some(START as u64 + 900), ..metric(None, Some(10), None, Value::Double(31.25)) };
    let none = metric(None, Some(11), None, Value::Int(41));
    let both = Payload::of(Some(START as u64 + 1_000), Some(2), &[own, none]).encode_to_vec();
    let far = Metric { timestamp: Some(u64::MAX), ..metric(None, Some(10), None, Value::Double(31.0)) };
    let mut story = Story::new();
    story.node_birth(0, 0, 0).birth(0, 1, 10).told.clear();
    story
        .send(2, "hall/DDATA/edge/alder", both)
        .tells(expect![[r#"
            alder chocolate 31.25 of 0.9 at 2
            alder jacket 41 of 1 at 2"#]])
        .send(3, "hall/DDATA/edge/alder", payload(3, &[far]))
        .tells(expect![
            "rejected: the metric of chocolate: its timestamp is after the year 9999; it counts milliseconds since 1970"
        ]);
}
