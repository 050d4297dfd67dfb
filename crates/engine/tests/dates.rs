//! To which moment a phase is dated, through the whole engine (contract, section 5).

use std::sync::Arc;

use engine::Analyst;
use model::{Arrival, Channel, Content, Phase, Reading, Span, Timestamp};

const PLANT: &str = "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n\
     [mqtt]\nurl = \"embedded\"\n[[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n\
     [[machine]]\nid = \"alder\"\nstyle = \"continuous\"\ncouverture = \"dark-64\"\nmethod = \"continuous\"\n";

fn at(seconds: i64) -> Timestamp {
    Timestamp::from_millis(1_772_427_600_000) + Span::from_secs(seconds)
}

/// Every half minute what each channel shows at a minute; when each phase of the last batch begins, minutes.
fn begins(
    minutes: i64,
    channels: &[(Channel, &dyn Fn(f64) -> f64)],
    hears: impl Fn(f64) -> bool,
) -> Vec<(Phase, f64)> {
    let mut analyst = Analyst::new(Arc::new(plant::parse_plant(PLANT).expect("a plant")));
    for second in (0..minutes * 60).step_by(30) {
        let minute = second as f64 / 60.0;
        for &(channel, shows) in channels {
            if channel == Channel::Chocolate && !hears(minute) {
                continue;
            }
            let machine = "alder".parse().expect("an id");
            let reading = Reading { machine, channel, at: at(second), value: Some(shows(minute)) };
            let content = Content::Reading(reading);
            analyst.push(&Arrival { arrived: at(second), retained: false, content });
        }
    }
    let mut machine = analyst.finish().expect("fits into memory").machines.swap_remove(0);
    let batch = machine.batches.pop().expect("a batch");
    batch.phases.iter().map(|span| (span.phase, (span.from - at(0)).as_mins_f64())).collect()
}

fn begin_of(phase: Phase, begins: &[(Phase, f64)]) -> f64 {
    begins.iter().find(|(begun, _)| *begun == phase).unwrap_or_else(|| panic!("no {phase}: {begins:?}")).1
}

/// A display of half degrees that nobody hears from minute 20 to 201; the set-point is lowered at minute 200.
#[test]
fn what_was_not_heard_before_a_charge_was_set_down_is_the_soak() {
    let charge = |minute: f64| match minute {
        m if m < 14.0 => 39.0 + 0.5 * m,
        m if m < 200.0 => 46.0,
        m => (46.0 - 0.45 * (m - 200.0)).max(31.5),
    };
    let chocolate = |minute: f64| (charge(minute) * 2.0).round() / 2.0;
    let setpoint = |minute: f64| if minute < 200.0 { 46.0 } else { 31.5 };
    let channels: [(Channel, &dyn Fn(f64) -> f64); 2] =
        [(Channel::Chocolate, &chocolate), (Channel::Setpoint, &setpoint)];
    let begins = begins(260, &channels, |minute| !(20.0..201.0).contains(&minute));
    let cooling = begin_of(Phase::Cooling, &begins);
    assert!((cooling - 200.0).abs() < 2.0, "{begins:?}");
}

/// Its control swings the soak by six tenths in twelve minutes; it is set down half-way up a swing, at minute 189.5, and nobody tells.
#[test]
fn a_swing_before_it_is_set_down_is_the_soak() {
    let swing = |minute: f64| 46.0 + 0.3 * (minute * std::f64::consts::TAU / 12.0).cos();
    let chocolate = |minute: f64| match minute {
        m if m < 189.5 => swing(m),
        m => (swing(189.5) - 0.4 * (m - 189.5)).max(31.5),
    };
    let begins = begins(260, &[(Channel::Chocolate, &chocolate)], |_| true);
    let cooling = begin_of(Phase::Cooling, &begins);
    assert!((cooling - 189.75).abs() < 1.0, "{begins:?}");
}
