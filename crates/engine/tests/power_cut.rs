//! A charge falls out of its soak: the power fails and the set-point goes on asking for a melt, or it is kept less warm, or switched off.

use std::sync::Arc;

use engine::Analyst;
use model::{Arrival, Channel, Content, FindingKind, Reading, Span, Timestamp};

const PLANT: &str = "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n\
     [mqtt]\nurl = \"embedded\"\n[[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n\
     [[machine]]\nid = \"alder\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\ncooling_minutes = 40\n";

/// What is found in a charge whose course this is, read twice a minute through a probe that flickers by a fifth of a degree; minutes.
fn found(charge: impl Fn(f64) -> f64) -> Vec<(FindingKind, f64)> {
    found_beside(charge, |_| Some(46.0))
}

/// The same beside what is asked for, if it is told.
fn found_beside(charge: impl Fn(f64) -> f64, asked: impl Fn(f64) -> Option<f64>) -> Vec<(FindingKind, f64)> {
    let mut analyst = Analyst::new(Arc::new(plant::parse_plant(PLANT).expect("a plant")));
    let begun = Timestamp::from_millis(1_772_427_600_000);
    for second in (0..480 * 60).step_by(30) {
        let at = begun + Span::from_secs(second);
        let minute = second as f64 / 60.0;
        let flicker = [0.25, -0.15, 0.05, -0.25, 0.18, -0.05, 0.22, -0.22][(second / 30 * 5 % 8) as usize];
        let asked = asked(minute).map(|asked| (Channel::Setpoint, asked));
        for (channel, value) in std::iter::once((Channel::Chocolate, charge(minute) + flicker)).chain(asked) {
            let machine = "alder".parse().expect("an id");
            let content = Content::Reading(Reading { machine, channel, at, value: Some(value) });
            analyst.push(&Arrival { arrived: at, retained: false, content });
        }
    }
    let machine = analyst.finish().expect("fits into memory").machines.swap_remove(0);
    machine.findings.iter().map(|found| (found.kind, (found.raised_at - begun).as_mins_f64())).collect()
}

/// It cools to the room from minute 60 on, is warmer by three degrees for some minutes when somebody pours in what is warm, is at 26.5 °C at minute 232
/// and at 25 °C at minute 264.
#[test]
fn a_charge_that_cools_against_its_set_point_is_told_of() {
    let poured = |minute: f64| 3.0 * (-((minute - 200.0) / 7.0).powi(2)).exp();
    let found = found(|minute| 20.0 + 26.0 * (-(minute - 60.0).max(0.0) / 124.0).exp() + poured(minute));
    let raised =
        |kind| found.iter().filter(|(found, _)| *found == kind).map(|(_, at)| *at).collect::<Vec<_>>();
    let one = |kind| match raised(kind)[..] {
        [at] => at,
        _ => panic!("{found:?}"),
    };
    assert!(
        (60.0..115.0).contains(&one(FindingKind::SlowCooling)),
        "1.35 of 40 min have passed at 114: {found:?}"
    );
    assert!((one(FindingKind::Undershoot) - 233.0).abs() < 3.0, "{found:?}");
    assert!((one(FindingKind::Solidifying) - 266.4).abs() < 4.0, "{found:?}");
}

/// A third of cold pieces takes it down by 12 °C within five minutes, and it is brought up again for an hour and a half.
#[test]
fn cold_pieces_in_a_soak_are_none_of_that() {
    let pieces = |minute: f64| match minute {
        m if m < 120.0 => 0.0,
        m if m < 125.0 => 2.4 * (m - 120.0),
        m => (12.0 - 0.13 * (m - 125.0)).max(0.0),
    };
    assert_eq!(found(|minute| 46.0 - pieces(minute)), []);
}

/// For the night it is kept at 41.5 °C, two degrees below its soak, and brought up again in the morning.
#[test]
fn a_night_at_less_heat_is_no_slow_cooling() {
    let asked = |minute: f64| if (60.0..420.0).contains(&minute) { 41.5 } else { 46.0 };
    let night = |minute: f64| match minute {
        m if m < 60.0 => 46.0,
        m if m < 420.0 => 41.5 + 4.5 * (-(m - 60.0) / 12.0).exp(),
        m => 46.0 - 4.5 * (-(m - 420.0) / 12.0).exp(),
    };
    assert_eq!(found_beside(night, |minute| Some(asked(minute))), []);
}

/// The same a little less far, within its soak, where nobody tells what is asked for.
#[test]
fn a_charge_that_stays_in_its_soak_is_no_slow_cooling() {
    let night = |minute: f64| 43.6 + 2.4 * (-(minute - 60.0).max(0.0) / 12.0).exp();
    assert_eq!(found_beside(night, |_| None), []);
}

/// Given up in its soak, by a set-point of 20 °C at minute 60, it sets in the machine: nobody has to be told. That it burns they have.
#[test]
fn a_charge_that_was_switched_off_may_set_and_not_burn() {
    let asked = |minute: f64| Some(if minute < 60.0 { 46.0 } else { 20.0 });
    let sets = |minute: f64| 20.0 + 26.0 * (-(minute - 60.0).max(0.0) / 60.0).exp();
    assert_eq!(found_beside(sets, asked), []);
    let burns = |minute: f64| (46.0 + 0.5 * (minute - 90.0).max(0.0)).min(58.0);
    let found: Vec<_> = found_beside(burns, asked).into_iter().map(|(kind, _)| kind).collect();
    assert_eq!(found, [FindingKind::Scorch]);
}

/// A low point of 25.5 °C is asked for, and the jacket does not give it.
#[test]
fn a_low_point_below_26_is_not_switched_off() {
    let asked = |minute: f64| Some(if minute < 60.0 { 46.0 } else { 25.5 });
    let slowly = |minute: f64| 20.0 + 26.0 * (-(minute - 60.0).max(0.0) / 124.0).exp();
    let found = found_beside(slowly, asked);
    assert!(found.iter().any(|(kind, _)| *kind == FindingKind::SlowCooling), "{found:?}");
}
