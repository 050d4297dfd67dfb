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

/// What the chocolate shows every ten seconds of 200 minutes; when findings are raised of a kind, minutes. The next charge is told of at minute 120.
fn raised(kind: FindingKind, charge: impl Fn(f64) -> f64, turns: impl Fn(f64) -> f64) -> Vec<f64> {
    let mut analyst = Analyst::new(Arc::new(plant::parse_plant(PLANT).expect("a plant")));
    let mut push = |at, content| analyst.push(&Arrival { arrived: at, retained: false, content });
    for second in (0..200 * 60).step_by(10) {
        let (at, minutes) = (minute(0) + Span::from_secs(second), second as f64 / 60.0);
        for (channel, value) in [(Channel::Chocolate, charge(minutes)), (Channel::Stirrer, turns(minutes))] {
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
    let found = machine.findings.iter().filter(|finding| finding.kind == kind);
    found.map(|finding| (finding.raised_at - minute(0)).as_mins_f64()).collect()
}

/// Melted, cooled and worked with.
fn day(minute: f64) -> f64 {
    match minute {
        m if m < 14.0 => 39.0 + 0.5 * m,
        m => (46.0 - 0.5 * (m - 40.0).max(0.0)).max(31.5),
    }
}

/// From `from` on by 1 °C/min to `by` beyond the hold, and back after half an hour.
fn excursion(from: f64, by: f64) -> impl Fn(f64) -> f64 {
    move |minute| {
        let gone = (minute - from).min(from + 30.0 - minute).clamp(0.0, by.abs());
        day(minute) + gone * by.signum()
    }
}

fn one(raised: &[f64]) -> f64 {
    assert_eq!(raised.len(), 1, "{raised:?}");
    raised[0]
}

#[test]
fn a_stirrer_that_stops_is_told_of_all_the_same() {
    let stops = |minute: f64| if minute < 125.0 { 1.0 } else { 0.0 };
    let late = one(&raised(FindingKind::StirrerStopped, day, stops)) - 127.0;
    assert!((0.0..1.0).contains(&late), "{late}");
}

/// It may be the melt of the charge: as soon as it stops short of one, it is told.
#[test]
fn a_charge_that_gets_too_warm_is_told_of_once_it_rises_no_more() {
    let at = one(&raised(FindingKind::TemperLoss, excursion(123.0, 3.5), |_| 1.0));
    assert!((126.5..130.0).contains(&at), "{at}");
    let at = one(&raised(FindingKind::WarmHold, excursion(123.0, 1.2), |_| 1.0));
    assert!((129.0..131.0).contains(&at), "{at}");
}

#[test]
fn a_charge_that_gets_cold_is_told_of_once_cold_pieces_have_had_their_time() {
    let at = one(&raised(FindingKind::ColdHold, excursion(123.0, -1.5), |_| 1.0));
    assert!((130.0..131.0).contains(&at), "{at}");
    let at = one(&raised(FindingKind::Solidifying, excursion(123.0, -8.0), |_| 1.0));
    assert!((131.0..133.0).contains(&at), "{at}");
}

/// Cold pieces take it down by 4 °C, and it is brought through its range to the melt.
#[test]
fn the_melt_of_a_charge_that_was_told_of_is_no_trouble() {
    let melts = |minute: f64| match minute {
        m if m < 121.0 => day(m),
        m if m < 125.0 => 31.5 - (m - 121.0),
        m => (27.5 + 0.3 * (m - 125.0)).min(46.0),
    };
    for kind in [
        FindingKind::ColdHold,
        FindingKind::Solidifying,
        FindingKind::WarmHold,
        FindingKind::TemperLoss,
        FindingKind::HoldDrift,
    ] {
        assert_eq!(raised(kind, melts, |_| 1.0), [0.0; 0], "{kind}");
    }
}
