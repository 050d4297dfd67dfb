//! A bowl worked by hand: few readings, and reports that come when nobody measures any more.

use std::sync::Arc;

use engine::Engine;
use model::{
    Arrival, Channel, Content, Event, EventKind, Grade, Method, Phase, Reading, Span, Standing, TemperTest,
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

fn workshop() -> Engine {
    Engine::new(Arc::new(plant::parse_plant(PLANT).expect("a plant")))
}

fn filled(minutes: f64, method: Method) -> Arrival {
    event(
        minutes,
        EventKind::Charge { couverture: None, lot: None, mass_kg: Some(1.2), method: Some(method) },
    )
}

fn passed(minutes: f64) -> Arrival {
    let test =
        TemperTest { gloss: Grade::Good, contraction: Grade::Good, snap: Grade::Good, minutes: Some(4.0) };
    event(minutes, EventKind::TemperTest(test))
}

/// The smear is judged and the bowl emptied long after the last reading: both count at once, before anything else is measured and before
/// the bowl is known to be silent.
#[test]
fn what_is_reported_when_nobody_measures_any_more_counts_at_once() {
    let mut engine = workshop();
    engine.apply(&filled(0.0, Method::PartialMelt));
    let way = [
        20.0, 20.1, 20.0, 22.4, 24.6, 26.3, 27.5, 28.2, 28.6, 28.9, 29.4, 29.8, 29.9, 29.9, 29.8, 29.8, 29.9,
    ];
    for (minute, celsius) in way.into_iter().enumerate() {
        engine.apply(&reading(minute as f64, celsius));
    }
    let last = way.len() as f64 - 1.0;
    engine.apply(&passed(last + 0.1));
    let standing = |engine: &Engine| {
        engine.open_batches().iter().map(|batch| (batch.standing, batch.end)).collect::<Vec<_>>()
    };
    assert_eq!(standing(&engine), [(Standing::InTemper, None)]);
    assert!(engine.board().lanes[0].last_test.is_some());
    engine.apply(&event(last + 0.2, EventKind::End));
    assert_eq!(standing(&engine), [(Standing::InTemper, Some(at(last + 0.2)))]);
    assert_eq!(engine.board().lanes[0].phase, Phase::Idle);
    assert!(engine.take_changes().ended.is_empty(), "its turn among the readings has not come");
    // Silence gives it its turn, and nothing has become different.
    engine.advance_clock(at(60.0));
    let ended = engine.take_changes().ended;
    assert_eq!(
        ended.iter().map(|batch| (batch.end, batch.method, batch.standing)).collect::<Vec<_>>(),
        [(Some(at(last + 0.2)), Method::PartialMelt, Standing::InTemper)]
    );
    assert_eq!(engine.open_batches().len(), 0);
}

/// Whether anybody looked in between makes no difference to what is found.
#[test]
fn looking_ahead_changes_nothing() {
    let (mut watched, mut unwatched) = (workshop(), workshop());
    let mut arrivals = vec![filled(0.0, Method::PartialMelt)];
    arrivals.extend((0..120).map(|n| reading(f64::from(n) * 0.25, (20.0 + f64::from(n) * 0.2).min(29.9))));
    arrivals.insert(100, passed(24.8));
    arrivals.push(event(30.0, EventKind::End));
    for arrival in &arrivals {
        watched.apply(arrival);
        watched.board();
        watched.open_batches();
        unwatched.apply(arrival);
    }
    assert_eq!(watched.save().expect("a state"), unwatched.save().expect("a state"));
}

/// A bowl that is warmed within minutes is in its range before the first phase is named. The record begins with the charge all the same.
#[test]
fn a_charge_begins_the_record_of_a_bowl_typed_by_hand() {
    let mut engine = workshop();
    engine.apply(&filled(0.0, Method::PartialMelt));
    let way =
        [20.1, 22.5, 24.8, 26.9, 27.9, 28.8, 29.4, 29.7, 29.8, 29.8, 29.7, 29.7, 29.6, 29.6, 29.6, 29.6];
    for (step, celsius) in way.into_iter().enumerate() {
        engine.apply(&reading(0.6 + step as f64 * 0.5, celsius));
    }
    engine.advance_clock(at(30.0));
    let [batch] = engine.open_batches().try_into().expect("one batch");
    let phases: Vec<_> = batch.phases.iter().map(|span| span.phase).collect();
    assert_eq!((batch.start, phases), (at(0.0), vec![Phase::Melting, Phase::Working]));
}

/// A bowl that stands at 20 °C for two minutes after it was filled is melting only from where it leaves that level (contract, section 5).
#[test]
fn a_bowl_that_waits_is_melting_from_where_its_rise_begins() {
    let mut engine = workshop();
    engine.apply(&filled(0.0, Method::PartialMelt));
    let way = [
        20.1, 20.0, 20.1, 20.0, 22.5, 24.8, 26.9, 27.9, 28.8, 29.4, 29.7, 29.8, 29.8, 29.7, 29.7, 29.6, 29.6,
    ];
    for (step, celsius) in way.into_iter().enumerate() {
        engine.apply(&reading(0.6 + step as f64 * 0.5, celsius));
    }
    engine.advance_clock(at(30.0));
    let [batch] = engine.open_batches().try_into().expect("one batch");
    let waited = (batch.start - at(0.0)).as_mins_f64();
    assert!((2.1..2.6).contains(&waited), "between the last reading at 20 °C and the next: {waited}");
}

/// Warmed evenly and not in bursts, out of half an hour at 20.5 °C, and nobody told of it: slowly at first.
#[test]
fn an_even_rise_begins_where_its_level_is_left() {
    let mut engine = workshop();
    let charge = |minute: f64| match minute - 30.0 {
        m if m < 0.0 => 20.5,
        m if m < 2.0 => 20.5 + 0.25 * m * m,
        m => (19.5 + m).min(29.9),
    };
    for step in 0..60 * 12 {
        let minute = f64::from(step) / 12.0;
        let flicker = [0.02, -0.03, 0.01, 0.03, -0.01, -0.02, 0.0][step as usize % 7];
        engine.apply(&reading(minute, charge(minute) + flicker));
    }
    let [batch] = engine.open_batches().try_into().expect("one batch");
    let began = (batch.start - at(0.0)).as_mins_f64();
    assert!((30.0..31.2).contains(&began), "{began}");
}

/// Ten minutes at 25 °C, five degrees below its range, and it is warmed again: it is the same charge. Filled with pieces of 21 °C it is another.
#[test]
fn a_bowl_that_was_cold_for_a_while_is_the_same_and_one_that_was_filled_is_not() {
    for (coldest, batches) in [(25.0, 1), (21.0, 2)] {
        let mut engine = workshop();
        engine.apply(&filled(0.0, Method::PartialMelt));
        let colder = 29.9 - coldest;
        let charge = |minute: f64| match minute {
            m if m < 10.0 => 20.0 + m,
            m if m < 40.0 => 29.9,
            m if m < 45.0 => 29.9 - colder * (m - 40.0) / 5.0,
            m if m < 50.0 => coldest,
            m if m < 55.0 => coldest + colder * (m - 50.0) / 5.0,
            _ => 29.9,
        };
        for step in 0..90 * 6 {
            let minute = 0.1 + f64::from(step) / 6.0;
            engine.apply(&reading(minute, charge(minute)));
        }
        let ended = engine.take_changes().ended.len();
        assert_eq!(ended + engine.open_batches().len(), batches, "{coldest}");
    }
}

/// Chocolate that was melted elsewhere and poured in: nothing of it is missing either.
#[test]
fn a_charge_of_melted_chocolate_begins_the_record_where_it_was_poured_in() {
    let mut engine = workshop();
    engine.apply(&filled(0.0, Method::Tabling));
    for step in 0..30 {
        engine.apply(&reading(1.0 + f64::from(step) * 0.5, 44.0 - f64::from(step) * 0.4));
    }
    engine.advance_clock(at(40.0));
    let [batch] = engine.open_batches().try_into().expect("one batch");
    assert_eq!((batch.start, batch.phases[0].phase), (at(0.0), Phase::Cooling));
}

/// A charge of long ago says nothing about what is measured now.
#[test]
fn an_old_charge_begins_nothing() {
    let mut engine = workshop();
    engine.apply(&filled(0.0, Method::PartialMelt));
    for step in 0..30 {
        engine.apply(&reading(90.0 + f64::from(step) * 0.5, 29.8));
    }
    engine.advance_clock(at(140.0));
    let [batch] = engine.open_batches().try_into().expect("one batch");
    assert_eq!((batch.start, batch.phases[0].phase), (at(90.0), Phase::Settling));
}

/// A bowl that is warmed in short bursts and measured every third of a minute has been in its range for two minutes when it is judged.
#[test]
fn a_bowl_measured_three_times_a_minute_is_worked() {
    let way = [
        20.1, 22.5, 25.0, 27.5, 28.5, 28.4, 28.7, 28.7, 29.0, 28.9, 29.2, 29.2, 29.5, 29.4, 29.7, 29.7, 29.6,
        29.5,
    ];
    for seconds in [18.0, 20.0, 25.0, 30.0, 45.0] {
        let mut engine = workshop();
        engine.apply(&filled(0.0, Method::PartialMelt));
        for (nth, celsius) in way.into_iter().enumerate() {
            engine.apply(&reading((nth + 1) as f64 * seconds / 60.0, celsius));
        }
        let last = way.len() as f64 * seconds / 60.0;
        engine.apply(&passed(last + 0.1));
        engine.apply(&reading(last + 0.4, 29.5));
        assert_eq!(engine.open_batches().len(), 1, "measured every {seconds} s");
    }
}

/// It is read every 35 s and warms from the moment at which it is filled, steadily or with a pause after the first burst of heat.
#[test]
fn a_bowl_that_rises_at_once_does_not_wait() {
    let level = [20.5, 20.6, 20.5, 20.4];
    let firsts = [[21.4, 21.5, 21.5, 21.7, 21.9], [21.4, 21.5, 21.4, 21.5, 21.4]];
    let rise = [23.2, 24.2, 25.3, 26.4, 27.4, 28.4, 29.4, 29.8, 29.9, 29.9, 29.9, 29.9, 29.9];
    for first in firsts {
        let mut engine = workshop();
        for (place, celsius) in level.into_iter().chain(first).chain(rise).enumerate() {
            if place == level.len() {
                engine.apply(&filled(2.0, Method::PartialMelt));
            }
            engine.apply(&reading(35.0 / 60.0 * (place as f64 - 0.5 + 0.01), celsius));
        }
        engine.finish();
        let batch = engine.open_batches().pop().expect("a batch");
        let melting = (batch.phases[0].from - at(2.0)).as_mins_f64();
        assert!((-0.3..0.7).contains(&melting), "{melting}: {:?}", batch.phases);
    }
}
