//! A rise on the chocolate alone is held back until it stops or has lasted twenty minutes (contract, section 6), also where its probe is seldom
//! read or falls out on the way.

use std::sync::Arc;

use engine::Analyst;
use model::{Arrival, Channel, Content, FindingKind, Reading, Span, Timestamp};

const PLANT: &str = "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n\
     [mqtt]\nurl = \"embedded\"\n[[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n\
     [[machine]]\nid = \"alder\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\n";
/// It has been worked with for hours, and begins to rise here.
const RISES: i64 = 300;

fn at(seconds: i64) -> Timestamp {
    Timestamp::from_millis(1_772_427_600_000) + Span::from_secs(seconds)
}

/// Melted, cooled, worked with; then it rises by 0.6 °C/min until it is so warm.
fn day(minute: f64, until: f64) -> f64 {
    let rises = RISES as f64;
    match minute {
        m if m < 14.0 => 39.0 + 0.5 * m,
        m if m < rises => (46.0 - 0.5 * (m - 40.0).max(0.0)).max(31.5),
        m => (31.5 + 0.6 * (m - rises)).min(until),
    }
}

/// Minutes after the beginning of the rise at which `kind` is raised; a reading every so many seconds where somebody `hears` it.
fn raised(kind: FindingKind, every: i64, until: f64, hears: impl Fn(f64) -> bool) -> Vec<f64> {
    let mut analyst = Analyst::new(Arc::new(plant::parse_plant(PLANT).expect("a plant")));
    for second in (0..(RISES + 60) * 60).step_by(every as usize) {
        let minute = second as f64 / 60.0;
        if hears(minute - RISES as f64) {
            let (machine, value) = ("alder".parse().expect("an id"), Some(day(minute, until)));
            let reading = Reading { machine, channel: Channel::Chocolate, at: at(second), value };
            let content = Content::Reading(reading);
            analyst.push(&Arrival { arrived: at(second), retained: false, content });
        }
    }
    let machine = analyst.finish().expect("fits into memory").machines.swap_remove(0);
    let of_kind = machine.findings.iter().filter(|finding| finding.kind == kind);
    of_kind.map(|finding| (finding.raised_at - at(RISES * 60)).as_mins_f64()).collect()
}

#[test]
fn a_rise_to_melt_that_is_seldom_read_is_no_loss_of_temper() {
    for every in [10, 60, 120, 300] {
        let lost = raised(FindingKind::TemperLoss, every, 46.0, |_| true);
        assert_eq!(lost, [0.0; 0], "read every {every} s");
    }
}

#[test]
fn a_rise_to_melt_in_which_nothing_was_heard_for_minutes_is_no_loss_of_temper() {
    for gap in [1.0..3.5, 5.0..8.0, 5.0..12.0, 9.0..14.0] {
        let lost = raised(FindingKind::TemperLoss, 5, 46.0, |minute| !gap.contains(&minute));
        assert_eq!(lost, [0.0; 0], "unheard of for {gap:?} min");
    }
}

/// It stops at 36 °C, after seven and a half minutes.
#[test]
fn a_rise_that_stops_is_told_then() {
    for (every, within) in [(10, 3.0), (60, 3.0), (120, 6.0), (300, 13.0)] {
        let lost = raised(FindingKind::TemperLoss, every, 36.0, |_| true);
        let [lost] = lost[..] else { panic!("once, read every {every} s: {lost:?}") };
        assert!((7.5..7.5 + within).contains(&lost), "read every {every} s: {lost}");
    }
    let lost = raised(FindingKind::TemperLoss, 5, 36.0, |minute| !(5.0..8.0).contains(&minute));
    let [lost] = lost[..] else { panic!("once: {lost:?}") };
    assert!((8.0..14.0).contains(&lost), "{lost}");
}
