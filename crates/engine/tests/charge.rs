//! What a form that is filled in for the next charge does to the one that is worked with.

use std::sync::Arc;

use engine::Analyst;
use model::{Arrival, Channel, Content, Event, EventKind, FindingKind, Reading, Span, Timestamp};

const PLANT: &str = "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n\
     [mqtt]\nurl = \"embedded\"\n[[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n\
     [[machine]]\nid = \"alder\"\nstyle = \"wheel\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\n";

fn minute(minute: i64) -> Timestamp {
    Timestamp::from_millis(1_772_427_600_000) + Span::from_mins(minute)
}

/// The stirrer stands still from minute 125 on; the next charge is told of at minute 120.
#[test]
fn a_stirrer_that_stops_is_told_of_all_the_same() {
    let mut analyst = Analyst::new(Arc::new(plant::parse_plant(PLANT).expect("a plant")));
    let mut push = |at, content| analyst.push(&Arrival { arrived: at, retained: false, content });
    for second in (0..150 * 60).step_by(10) {
        let (at, minutes) = (minute(0) + Span::from_secs(second), second as f64 / 60.0);
        let charge = match minutes {
            m if m < 14.0 => 39.0 + 0.5 * m,
            m => (46.0 - 0.5 * (m - 40.0).max(0.0)).max(31.5),
        };
        let turns = if minutes < 125.0 { 1.0 } else { 0.0 };
        for (channel, value) in [(Channel::Chocolate, charge), (Channel::Stirrer, turns)] {
            let machine = "alder".parse().expect("an id");
            push(at, Content::Reading(Reading { machine, channel, at, value: Some(value) }));
        }
        if at == minute(120) {
            let kind = EventKind::Charge { couverture: None, lot: None, mass_kg: Some(6.0), method: None };
            let machine = "alder".parse().expect("an id");
            push(at, Content::Event(Event { machine, at, by: None, kind, raw: String::new() }));
        }
    }
    let machine = analyst.finish().expect("fits into memory").machines.swap_remove(0);
    let stopped = machine.findings.iter().find(|finding| finding.kind == FindingKind::StirrerStopped);
    let late = stopped.expect("it has stopped").raised_at - minute(127);
    assert!((Span::ZERO..Span::from_mins(1)).contains(&late), "{late:?}");
}
