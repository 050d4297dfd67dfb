//! Before the first phase of a history can be named: what may befall any charge is told all the same. And a rise to melt out of a charge that
//! never became steady is no damage.

use std::sync::Arc;

use engine::{Analyst, MachineAnalysis};
use model::{Arrival, Channel, Content, FindingKind, Phase, Reading, Span, Timestamp};

const PLANT: &str = "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n\
     [mqtt]\nurl = \"embedded\"\n[[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n\
     [[machine]]\nid = \"alder\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\n\
     [[machine]]\nid = \"birch\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\n";

fn at(seconds: i64) -> Timestamp {
    Timestamp::from_millis(1_772_427_600_000) + Span::from_secs(seconds)
}

fn reading(machine: &str, channel: Channel, seconds: i64, value: f64) -> Arrival {
    let machine = machine.parse().expect("an id");
    let reading = Reading { machine, channel, at: at(seconds), value: Some(value) };
    Arrival { arrived: at(seconds), retained: false, content: Content::Reading(reading) }
}

/// What is made of alder.
fn alder(arrivals: impl IntoIterator<Item = Arrival>) -> MachineAnalysis {
    let mut analyst = Analyst::new(Arc::new(plant::parse_plant(PLANT).expect("a plant")));
    arrivals.into_iter().for_each(|arrival| analyst.push(&arrival));
    analyst.finish().expect("fits into memory").machines.swap_remove(0)
}

fn raised(found: &MachineAnalysis) -> Vec<(FindingKind, Timestamp)> {
    found.findings.iter().map(|finding| (finding.kind, finding.raised_at)).collect()
}

#[test]
fn a_charge_that_burns_from_its_first_reading_is_told() {
    let found = alder((0..=120).step_by(5).map(|s| reading("alder", Channel::Chocolate, s, 58.0)));
    assert_eq!(raised(&found), [(FindingKind::Scorch, at(10))]);
}

#[test]
fn a_probe_that_falls_silent_before_its_first_phase_is_missed_but_for_a_cold_machine() {
    let until = |celsius: f64| {
        let alder = (0..=150).step_by(5).map(move |s| reading("alder", Channel::Chocolate, s, celsius));
        let others = (155..=600).step_by(5).map(|s| reading("birch", Channel::Chocolate, s, 20.0));
        alder.chain(others)
    };
    assert_eq!(raised(&alder(until(45.0))), [(FindingKind::Silent, at(150 + 60))]);
    assert_eq!(raised(&alder(until(20.0))), []);
}

/// It swings around its range too fast for `working`; in the evening its set-point asks for the melt range.
#[test]
fn a_rise_to_melt_out_of_settling_is_neither_damage_nor_rewarming() {
    let celsius = |minute: f64| match minute {
        m if m < 60.0 => 46.0,
        m if m < 120.0 => 46.0 - 14.0 * (m - 60.0) / 60.0,
        m if m < 300.0 => 31.5 - 1.3 * ((m - 120.0) / 9.0 * std::f64::consts::TAU).sin(),
        m => (31.5 + 0.35 * (m - 300.0)).min(46.0),
    };
    let found = alder((0..360 * 60).step_by(5).flat_map(|second| {
        let minute = f64::from(second) / 60.0;
        let setpoint = if (60.0..300.0).contains(&minute) { 31.5 } else { 46.0 };
        [(Channel::Chocolate, celsius(minute)), (Channel::Setpoint, setpoint)]
            .map(|(channel, value)| reading("alder", channel, i64::from(second), value))
    }));
    let phases: Vec<_> =
        found.batches.iter().flat_map(|batch| &batch.phases).map(|span| span.phase).collect();
    let settled = [Phase::Soak, Phase::Cooling, Phase::Settling, Phase::Melting, Phase::Soak];
    assert_eq!(phases, settled);
    assert!(!raised(&found).iter().any(|(kind, _)| *kind == FindingKind::TemperLoss), "{:?}", raised(&found));
}

/// The same on chocolate alone: the decision about a fast rise waits in settling, too.
#[test]
fn a_rise_to_melt_out_of_settling_is_held_back_on_chocolate_alone() {
    let celsius = |minute: f64| match minute {
        m if m < 60.0 => 46.0,
        m if m < 120.0 => 46.0 - 14.0 * (m - 60.0) / 60.0,
        m if m < 300.0 => 31.5 - 1.3 * ((m - 120.0) / 9.0 * std::f64::consts::TAU).sin(),
        m => (31.5 + 0.9 * (m - 300.0)).min(46.0),
    };
    let found = alder((0..360 * 60).step_by(5).map(|second| {
        reading("alder", Channel::Chocolate, i64::from(second), celsius(f64::from(second) / 60.0))
    }));
    assert!(!raised(&found).iter().any(|(kind, _)| *kind == FindingKind::TemperLoss), "{:?}", raised(&found));
}

/// A history that begins in a rise through the working range: what it seemed to be held at is passed through.
#[test]
fn a_history_that_begins_in_a_rise_holds_one_batch() {
    for first in [28.0, 28.8, 30.0, 31.5] {
        let celsius = |minute: f64| (first + 0.4 * minute).min(46.0);
        let found = alder((0..90 * 60).step_by(10).map(|second| {
            reading("alder", Channel::Chocolate, i64::from(second), celsius(f64::from(second) / 60.0))
        }));
        let [batch] = &found.batches[..] else { panic!("{first}: {:?}", found.batches) };
        assert_eq!(
            (batch.start, batch.phases.last().map(|span| span.phase)),
            (at(0), Some(Phase::Soak)),
            "{first}"
        );
    }
}
