//! What is learned and told over batches, through the whole engine.

use std::sync::Arc;

use engine::Analyst;
use model::{
    Arrival, Channel, Content, Event, EventKind, Finding, FindingKind, Grade, Reading, Span, TemperTest,
    Timestamp,
};

const PLANT: &str = "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n\
     [mqtt]\nurl = \"embedded\"\n[[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n\
     [[machine]]\nid = \"alder\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\n";
/// A batch takes so long, minutes: it is melted, set down after an hour, cools in 33 min and is worked with.
const BATCH: i64 = 300;
const SET_DOWN: i64 = 60;
const WORKS: i64 = 105;

fn charge(minute: i64) -> f64 {
    let minute = minute.rem_euclid(BATCH) as f64;
    (31.5 + 0.8 * minute).min(46.0).min((46.0 - 0.41 * (minute - SET_DOWN as f64)).max(31.5))
}

/// What is found of some kind in eight batches, in each of which these events are told at their minute; by the plant file a cooling takes so long.
fn found(kind: FindingKind, usual_min: f64, told: impl Fn(i64) -> Vec<(i64, EventKind)>) -> Vec<Finding> {
    let plant = format!("{PLANT}cooling_minutes = {usual_min}\n");
    let mut analyst = Analyst::new(Arc::new(plant::parse_plant(&plant).expect("a plant")));
    for minute in 0..8 * BATCH {
        let at = Timestamp::from_millis(1_772_427_600_000) + Span::from_mins(minute);
        let machine = || "alder".parse().expect("an id");
        let (channel, value) = (Channel::Chocolate, Some(charge(minute)));
        let reading = Content::Reading(Reading { machine: machine(), channel, at, value });
        let due = told(minute / BATCH).into_iter().filter(|(due, _)| *due == minute % BATCH);
        let events = due.map(|(_, kind)| {
            Content::Event(Event { machine: machine(), at, by: None, kind, raw: String::new() })
        });
        for content in std::iter::once(reading).chain(events) {
            analyst.push(&Arrival { arrived: at, retained: false, content });
        }
    }
    let machine = analyst.finish().expect("fits into memory").machines.swap_remove(0);
    machine.findings.into_iter().filter(|finding| finding.kind == kind).collect()
}

fn reference(minute: i64, off: f64) -> (i64, EventKind) {
    (minute, EventKind::Reference { temperature: charge(minute) + off })
}

fn tested(grade: Grade) -> EventKind {
    EventKind::TemperTest(TemperTest { gloss: grade, contraction: grade, snap: grade, minutes: None })
}

/// What was proved in temper was cooled as it should be, and the plant file takes the cooling for too short; what failed teaches nothing, nor does
/// what took more than twice as long.
#[test]
fn the_usual_length_is_learned_where_the_plant_file_takes_it_for_too_short() {
    let slow = |grade: Grade, usual_min: f64| {
        let seed = EventKind::Seed { mass_kg: Some(1.5), temperature: None, lot: None };
        let tests = [110, 170, 230, 290].map(|minute| (minute, tested(grade)));
        let told = [vec![(WORKS - 20, seed)], tests.to_vec()].concat();
        found(FindingKind::SlowCooling, usual_min, |_| told.clone()).len()
    };
    assert_eq!((slow(Grade::Good, 20.0), slow(Grade::Poor, 20.0)), (3, 8));
    assert_eq!(slow(Grade::Good, 15.0), 8);
}

/// A probe is a little late, and its mean more so: beside a charge that moves, a hand thermometer that agrees with it seems not to.
#[test]
fn a_hand_thermometer_in_a_charge_that_moves_says_nothing() {
    for minute in [WORKS - 11, WORKS - 10, 2, 3] {
        let told = |_| vec![reference(minute, 0.0)];
        assert_eq!(found(FindingKind::ProbeDrift, 33.0, told).len(), 0, "minute {minute}");
    }
}

/// The hand thermometer stands 0.9 °C above the probe from the fifth batch on.
#[test]
fn a_hand_thermometer_in_the_soak_says_nothing_of_the_hold() {
    let drifts = |minute: i64| {
        let told = move |batch: i64| vec![reference(minute, if batch < 4 { 0.0 } else { 0.9 })];
        found(FindingKind::ProbeDrift, 33.0, told).len()
    };
    assert_eq!(drifts(SET_DOWN - 5), 0, "in the soak");
    assert_eq!(drifts(SET_DOWN + 20), 0, "on the way down");
    assert_eq!(drifts(WORKS + 30), 1, "in the hold");
}
