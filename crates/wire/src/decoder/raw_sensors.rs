//! Raw sensors from message to °C, against published tables (`tests/fixtures/raw_sensors.csv`).

use model::{Arrival, Content};
use plant::parse_plant;

use crate::{Decoder, Message};

/// The tables have whole degrees and the equation six digits of an ohm.
const PT100_WITHIN_C: f64 = 0.001;
/// NIST gives the inverse polynomials of types K, T and J as good to 0.05 °C.
const THERMOCOUPLE_WITHIN_C: f64 = 0.05;

/// A row of the fixture.
struct Row {
    sensor: String,
    celsius: f64,
    signal: f64,
}

fn rows() -> Vec<Row> {
    let table = include_str!("../../tests/fixtures/raw_sensors.csv");
    let lines = table.lines().filter(|line| !line.starts_with('#')).skip(1);
    lines
        .map(|line| {
            let mut fields = line.split(',');
            let mut field = || fields.next().expect("a row has three fields");
            Row {
                sensor: field().to_owned(),
                celsius: field().parse().expect("a number"),
                signal: field().parse().expect("a number"),
            }
        })
        .collect()
}

fn decoder(sensor: &str, cold_junction: Option<&str>) -> Decoder {
    let junction = cold_junction.map(|junction| format!("cold_junction = {junction}\n")).unwrap_or_default();
    let plant = format!(
        "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n\
         [[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n\
         [[machine]]\nid = \"alder\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\n\
         [machine.channel.chocolate]\nsensor = \"{sensor}\"\n{junction}"
    );
    Decoder::new(&parse_plant(&plant).expect("a good plant file"))
}

fn read(decoder: &mut Decoder, topic: &str, payload: &str) -> f64 {
    let arrived = "2026-03-02T05:00:00Z".parse().expect("a time");
    let message = Message { topic: topic.to_owned(), payload: payload.into(), arrived, retained: false };
    let decoded = decoder.decode(&message);
    match decoded.arrivals.as_slice() {
        [Arrival { content: Content::Reading(reading), .. }] => reading.value.expect("a value"),
        other => panic!("{payload}: {other:?} {:?}", decoded.rejects),
    }
}

fn assert_close(found: f64, row: &Row, within: f64) {
    assert!((found - row.celsius).abs() <= within, "{} {}: {found}", row.sensor, row.celsius);
}

#[test]
fn ohms_become_degrees_as_in_iec_60751() {
    let mut decoder = decoder("pt100", None);
    let rows: Vec<Row> = rows().into_iter().filter(|row| row.sensor == "pt100").collect();
    assert_eq!(rows.len(), 30);
    for row in rows {
        let bare = read(&mut decoder, "works/alder/chocolate", &row.signal.to_string());
        assert_close(bare, &row, PT100_WITHIN_C);
        let pack = format!(r#"[{{"n":"chocolate","u":"Ohm","v":{}}}]"#, row.signal);
        assert_close(read(&mut decoder, "works/alder", &pack), &row, PT100_WITHIN_C);
    }
}

#[test]
fn millivolts_become_degrees_as_in_its_90() {
    for sensor in ["type-k", "type-t", "type-j"] {
        let mut at_zero = decoder(sensor, Some("0.0"));
        let mut in_the_room = decoder(sensor, Some("\"room\""));
        let mut fixed = decoder(sensor, Some("25.0"));
        assert_eq!(read(&mut in_the_room, "works/alder/room", "25"), 25.0);
        let rows: Vec<Row> = rows().into_iter().filter(|row| row.sensor == sensor).collect();
        assert_eq!(rows.len(), 22);
        let junction = rows.iter().find(|row| row.celsius == 25.0).expect("a row at 25 °C").signal;
        for row in rows {
            let bare = read(&mut at_zero, "works/alder/chocolate", &row.signal.to_string());
            assert_close(bare, &row, THERMOCOUPLE_WITHIN_C);
            // Against a junction at 25 °C a probe gives less by what the junction gives.
            let millivolts = row.signal - junction;
            let pack = format!(r#"[{{"n":"chocolate","u":"mV","v":{millivolts}}}]"#);
            assert_close(read(&mut fixed, "works/alder", &pack), &row, THERMOCOUPLE_WITHIN_C);
            let pack = format!(r#"[{{"n":"chocolate","u":"V","v":{}}}]"#, millivolts / 1000.0);
            assert_close(read(&mut in_the_room, "works/alder", &pack), &row, THERMOCOUPLE_WITHIN_C);
        }
    }
}
