//! What is told while the probe is taken to be stuck.

use std::sync::Arc;

use engine::Analyst;
use model::{Arrival, Channel, Content, FindingKind, Reading, Span, Timestamp};

const PLANT: &str = "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n\
     [mqtt]\nurl = \"embedded\"\n[[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n\
     [[machine]]\nid = \"alder\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\n";

/// A probe that flickers shows the same from minute 140 on; the charge has been worked with since minute 66 or so, and two hours are the longest.
#[test]
fn two_hours_without_a_test_need_no_temperature() {
    let mut analyst = Analyst::new(Arc::new(plant::parse_plant(PLANT).expect("a plant")));
    let begun = Timestamp::from_millis(1_772_427_600_000);
    for second in (0..260 * 60).step_by(10) {
        let minute = second as f64 / 60.0;
        let charge = if minute < 14.0 { 39.0 + 0.5 * minute } else { 46.0 - 0.5 * (minute - 30.0).max(0.0) };
        let flicker = if minute < 140.0 { 0.02 * (second / 10 % 3) as f64 } else { 0.0 };
        let at = begun + Span::from_secs(second);
        let (machine, value) = ("alder".parse().expect("an id"), Some(charge.max(31.5) + flicker));
        let content = Content::Reading(Reading { machine, channel: Channel::Chocolate, at, value });
        analyst.push(&Arrival { arrived: at, retained: false, content });
    }
    let machine = analyst.finish().expect("fits into memory").machines.swap_remove(0);
    let raised = |kind| machine.findings.iter().find(|found| found.kind == kind).map(|found| found.raised_at);
    let stuck = raised(FindingKind::ProbeStuck).expect("it is stuck");
    let worked = machine.batches[0].first(model::Phase::Working).expect("it is worked with").from;
    assert!(stuck < worked + Span::from_mins(120), "{stuck}");
    assert_eq!(raised(FindingKind::LongHold), Some(worked + Span::from_mins(120)));
}
