//! A bowl worked by hand: few readings, and reports that come when nobody measures any more.

use std::sync::Arc;

use engine::Engine;
use model::{
    Arrival, Channel, Content, Event, EventKind, Grade, Method, Reading, Span, Standing, TemperTest,
    Timestamp,
};

const PLANT: &str = "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n\
     [mqtt]\nurl = \"embedded\"\n[[couverture]]\nid = \"milk-38\"\nfamily = \"milk\"\n\
     [[machine]]\nid = \"fir\"\nstyle = \"bench\"\ncouverture = \"milk-38\"\nmethod = \"partial-melt\"\n";

fn at(minutes: f64) -> Timestamp {
    Timestamp::from_millis(1_772_427_600_000) + Span::from_mins_f64(minutes)
}

fn reading(minutes: f64, celsius: f64) -> Arrival {
    let (machine, at) = ("fir".parse().expect("an id"), at(minutes));
    let reading = Reading { machine, channel: Channel::Chocolate, at, value: Some(celsius) };
    Arrival { arrived: at, retained: false, content: Content::Reading(reading) }
}

fn event(minutes: f64, kind: EventKind) -> Arrival {
    let at = at(minutes);
    let event = Event { machine: "fir".parse().expect("an id"), at, by: None, kind, raw: "{}".to_owned() };
    Arrival { arrived: at, retained: false, content: Content::Event(event) }
}

/// The smear is judged and the bowl emptied long after the last reading: both count before anything else is measured.
#[test]
fn what_is_reported_when_nobody_measures_any_more_counts() {
    let plant = Arc::new(plant::parse_plant(PLANT).expect("a plant"));
    let mut engine = Engine::new(plant);
    let charge = EventKind::Charge {
        couverture: None,
        lot: None,
        mass_kg: Some(1.2),
        method: Some(Method::PartialMelt),
    };
    engine.apply(&event(0.0, charge));
    let way = [
        20.0, 20.1, 20.0, 22.4, 24.6, 26.3, 27.5, 28.2, 28.6, 28.9, 29.4, 29.8, 29.9, 29.9, 29.8, 29.8, 29.9,
    ];
    for (minute, celsius) in way.into_iter().enumerate() {
        engine.apply(&reading(minute as f64, celsius));
    }
    engine.advance_clock(at(30.0));
    let test =
        TemperTest { gloss: Grade::Good, contraction: Grade::Good, snap: Grade::Good, minutes: Some(4.0) };
    engine.apply(&event(31.0, EventKind::TemperTest(test)));
    engine.advance_clock(at(31.1));
    let open = engine.open_batches();
    assert_eq!(open.iter().map(|batch| batch.standing).collect::<Vec<_>>(), [Standing::InTemper]);
    engine.apply(&event(40.0, EventKind::End));
    engine.advance_clock(at(40.1));
    let ended = engine.take_changes().ended;
    assert_eq!(
        ended.iter().map(|batch| (batch.end, batch.method)).collect::<Vec<_>>(),
        [(Some(at(40.0)), Method::PartialMelt)]
    );
    assert_eq!(engine.open_batches().len(), 0);
}
