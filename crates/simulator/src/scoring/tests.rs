//! Cases can be read, are the same each time, and differ from seed to seed.

use super::*;

#[test]
fn every_scenario_makes_a_plant_that_can_be_read() {
    for (place, scenario) in Scenario::all().into_iter().enumerate() {
        for round in 0..2 {
            let case = Case::new(scenario, 100 * place as u64 + round);
            assert!(!case.plant().machines.is_empty());
            assert!(case.heard_from < case.until());
            assert_eq!(Scenario::named(scenario.as_str()), Some(scenario));
        }
    }
}

#[test]
fn the_same_seed_is_the_same_case() {
    let play = |seed: u64| {
        let case = Case::new(Scenario::Fault(FaultKind::ColdHold), seed);
        let mut works = case.works();
        works.advance_to(case.settings.start + Span::from_hours(3))
    };
    assert!(play(5) == play(5));
    assert!(play(5) != play(6));
}

#[test]
fn every_scenario_has_its_turn() {
    let mut seen: Vec<&str> = (0..240).map(|nth| Scenario::of_turn(nth).as_str()).collect();
    let ordinary = seen.iter().filter(|s| **s == "ordinary").count();
    assert_eq!(ordinary, 60);
    seen.sort_unstable();
    seen.dedup();
    assert_eq!(seen.len(), Scenario::all().len());
}
