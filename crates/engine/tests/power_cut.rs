//! The power fails in the soak, and the set-point goes on asking for a melt.

use std::sync::Arc;

use engine::Analyst;
use model::{Arrival, Channel, Content, FindingKind, Reading, Span, Timestamp};

const PLANT: &str = "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n\
     [mqtt]\nurl = \"embedded\"\n[[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n\
     [[machine]]\nid = \"alder\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\ncooling_minutes = 40\n";

/// What is found in a charge whose course this is, read twice a minute through a probe that flickers by a fifth of a degree; minutes.
fn found(charge: impl Fn(f64) -> f64) -> Vec<(FindingKind, f64)> {
    let mut analyst = Analyst::new(Arc::new(plant::parse_plant(PLANT).expect("a plant")));
    let begun = Timestamp::from_millis(1_772_427_600_000);
    for second in (0..480 * 60).step_by(30) {
        let at = begun + Span::from_secs(second);
        let minute = second as f64 / 60.0;
        let flicker = [0.25, -0.15, 0.05, -0.25, 0.18, -0.05, 0.22, -0.22][(second / 30 * 5 % 8) as usize];
        for (channel, value) in [(Channel::Chocolate, charge(minute) + flicker), (Channel::Setpoint, 46.0)] {
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
