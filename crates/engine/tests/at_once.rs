//! What cannot wait is told with the reading that shows it, once that has its turn, not with the end of its tick.

use std::sync::Arc;

use engine::Engine;
use model::{Arrival, Channel, Content, FindingKind, Reading, Span, Timestamp};

const PLANT: &str = "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n\
     [mqtt]\nurl = \"embedded\"\n[[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n\
     [[machine]]\nid = \"alder\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\n";
/// How long readings wait for what is late (contract, section 6).
const LATENESS: i64 = 15;

fn at(seconds: i64) -> Timestamp {
    Timestamp::from_millis(1_772_427_600_000) + Span::from_secs(seconds)
}

/// A soak that is too hot from the second `from` on: when its scorching was raised, and the reading with which a live watch told of it, s.
fn told(every: i64, from: i64) -> Vec<(i64, i64)> {
    let mut engine = Engine::new(Arc::new(plant::parse_plant(PLANT).expect("a plant")));
    let mut told = Vec::new();
    for second in (0..from + 200).step_by(every as usize) {
        let value = Some(if second < from { 54.0 } else { 55.5 });
        let machine = "alder".parse().expect("an id");
        let reading = Reading { machine, channel: Channel::Chocolate, at: at(second), value };
        let content = Content::Reading(reading);
        engine.apply(&Arrival { arrived: at(second), retained: false, content });
        let scorch = |finding: &model::Finding| finding.kind == FindingKind::Scorch;
        let raised = engine.take_changes().findings.into_iter().filter(scorch);
        told.extend(raised.map(|finding| ((finding.raised_at - at(0)).as_millis() / 1000, second)));
    }
    told
}

#[test]
fn scorch_is_told_with_the_tenth_second() {
    for from in 300..305 {
        assert_eq!(told(1, from), [(from + 10, from + 10 + LATENESS)], "hot from {from} s on");
    }
    assert_eq!(told(60, 300), [(360, 420)], "the reading that lets the second hot one have its turn");
}

#[test]
fn scorch_of_a_history_that_begins_in_it_is_told_by_its_second_reading() {
    assert_eq!(told(60, 0), [(60, 120)]);
    assert_eq!(told(1, 0), [(10, 10 + LATENESS)]);
}
