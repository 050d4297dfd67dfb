//! Whole days: deterministic, quiet when nothing is wrong, and wrong in the way that was ordered.

use std::time::{Duration, Instant};

use model::{FindingKind, Measures, Phase};

use super::*;
use crate::FaultKind;
use crate::faults::Onset;
use crate::scenarios::{self, Scenario};
use crate::truth::{MachineTruth, TrueBatch};

const PLANT: &str = include_str!("six.toml");

fn plant() -> Plant {
    plant::parse_plant(PLANT).unwrap()
}

fn monday_evening() -> Timestamp {
    "2026-03-02T18:00:00Z".parse().unwrap()
}

fn id(name: &str) -> MachineId {
    name.parse().unwrap()
}

/// The first whole batch of `machine` after `fault` has hit it from `after` minutes into `stage` on, for `lasts`.
fn struck(machine: &str, kind: FaultKind, stage: Stage, after: i64, lasts: i64) -> (MachineTruth, TrueBatch) {
    let mut plant = plant();
    plant.machines.retain(|m| m.id == id(machine));
    let onset = Onset::In { stage, nth: 0, after: Span::from_mins(after) };
    let mut settings = Settings::new(7, monday_evening());
    settings.faults.push(Fault::new(&id(machine), kind, onset, Span::from_mins(lasts)));
    let mut works = Works::new(&plant, &settings);
    works.advance_to(settings.start + Span::from_hours(24));
    let truth = works.truth().machines.into_iter().find(|m| m.id == id(machine)).unwrap();
    let batch = truth.batches[0].clone();
    (truth, batch)
}

fn kinds(batch: &TrueBatch) -> Vec<FindingKind> {
    batch.conditions.iter().map(|c| c.kind).collect()
}

/// Share of the fat in form V at the first smear.
fn first_smear(truth: &MachineTruth) -> f64 {
    let smears = truth
        .marks
        .iter()
        .filter_map(|(_, mark)| if let crate::Mark::Test { stable } = mark { Some(*stable) } else { None });
    smears.into_iter().next().unwrap()
}

fn cooling_minutes(batch: &TrueBatch) -> f64 {
    batch.measures.cooling_minutes.unwrap()
}

#[test]
fn the_stream_is_the_same_however_it_is_cut() {
    let settings = Settings::new(3, monday_evening());
    let until = settings.start + Span::from_hours(2);
    let whole = Works::new(&plant(), &settings).advance_to(until);
    let mut works = Works::new(&plant(), &settings);
    let mut pieces = Vec::new();
    let mut now = settings.start;
    for step in [1, 59, 7, 600, 3, 1111].into_iter().cycle() {
        now = (now + Span::from_secs(step)).min(until);
        pieces.extend(works.advance_to(now));
        if now == until {
            break;
        }
    }
    assert_eq!(whole.len(), pieces.len());
    assert!(whole == pieces);
    assert!(whole.windows(2).all(|w| w[0].arrived <= w[1].arrived));
    let other = Works::new(&plant(), &Settings::new(4, monday_evening())).advance_to(until);
    assert!(whole != other);
}

#[test]
fn everything_that_is_said_can_be_read() {
    // Against the decoder, an independent reading of the contract: nothing rejected, every channel and event there.
    let plant = plant();
    let mut decoder = wire::Decoder::new(&plant);
    let settings = Settings::new(6, monday_evening());
    let mut works = Works::new(&plant, &settings);
    let mut seen = std::collections::BTreeSet::new();
    for message in works.messages(settings.start + Span::from_hours(28)) {
        let decoded = decoder.decode(&message);
        assert_eq!(decoded.rejects, [], "{message:?}");
        // A retained number without a time is no reading.
        assert!(message.retained == decoded.arrivals.is_empty(), "{message:?}");
        seen.extend(decoded.arrivals.iter().map(|arrival| match &arrival.content {
            model::Content::Reading(reading) => reading.channel.as_str(),
            model::Content::Event(event) => event.kind.as_str(),
        }));
    }
    for word in Channel::ALL.map(Channel::as_str) {
        assert!(seen.contains(word), "{word}");
    }
    for word in ["charge", "seed", "top-up", "temper-test", "end"] {
        assert!(seen.contains(word), "{word}");
    }
}

#[test]
fn an_ordinary_week_stays_within_every_limit() {
    let settings = Settings::new(21, monday_evening());
    let mut works = Works::new(&plant(), &settings);
    works.advance_to(settings.start + Span::from_hours(7 * 24));
    for machine in works.truth().machines {
        assert!(machine.batches.len() >= 4, "{} had {} batches", machine.id, machine.batches.len());
        for batch in &machine.batches {
            assert_eq!(batch.conditions, [], "{} {}", machine.id, batch.start);
            let contiguous = batch.phases.windows(2).all(|w| w[0].to == Some(w[1].from));
            assert!(contiguous, "{} {:?}", machine.id, batch.phases);
        }
    }
}

#[test]
fn cooling_takes_the_minutes_that_the_plant_file_calls_usual() {
    let settings = Settings::new(5, monday_evening());
    let plant = plant();
    let mut works = Works::new(&plant, &settings);
    works.advance_to(settings.start + Span::from_hours(100));
    for machine in works.truth().machines {
        let Some(usual) = plant.machine(&machine.id).unwrap().cooling_minutes else { continue };
        let mut minutes: Vec<f64> =
            machine.batches.iter().filter_map(|b| b.measures.cooling_minutes).collect();
        minutes.sort_by(f64::total_cmp);
        let median = minutes[minutes.len() / 2];
        assert!((0.75..1.3).contains(&(median / usual)), "{}: {median} for {usual}", machine.id);
    }
}

#[test]
fn an_overheated_hold_melts_its_crystals() {
    let (truth, batch) = struck("alder", FaultKind::OverheatedHold, Stage::Working, 60, 60);
    assert!(kinds(&batch).contains(&FindingKind::TemperLoss), "{:?}", batch.conditions);
    assert!(batch.measures.above_loss_c_min.unwrap() > 1.0);
    assert_eq!(truth.faults.len(), 1);
}

#[test]
fn holds_that_are_off_are_warm_or_cold_and_nothing_worse() {
    for (kind, finding) in
        [(FaultKind::WarmHold, FindingKind::WarmHold), (FaultKind::ColdHold, FindingKind::ColdHold)]
    {
        let (_, batch) = struck("alder", kind, Stage::Working, 60, 120);
        assert!(kinds(&batch).contains(&finding), "{kind}: {:?}", batch.conditions);
        assert!(kinds(&batch).iter().all(|k| *k == finding), "{kind}: {:?}", batch.conditions);
    }
}

#[test]
fn whatever_weakens_cooling_lengthens_it() {
    let usual = cooling_minutes(&struck("alder", FaultKind::DampRoom, Stage::Working, 0, 1).1);
    for kind in [FaultKind::FouledJacket, FaultKind::WarmWater] {
        let slow = cooling_minutes(&struck("alder", kind, Stage::Cooling, 1, 600).1);
        assert!(slow > 1.3 * usual, "{kind}: {slow} instead of {usual}");
    }
    let usual = cooling_minutes(&struck("elm", FaultKind::DampRoom, Stage::Working, 0, 1).1);
    let slow = cooling_minutes(&struck("elm", FaultKind::CoolingWeak, Stage::Cooling, 1, 600).1);
    assert!(slow > 1.5 * usual, "without a fan {slow} instead of {usual}");
}

#[test]
fn a_welded_relay_in_the_soak_burns_the_charge() {
    let (_, batch) = struck("birch", FaultKind::Scorch, Stage::Melting, 60, 240);
    assert!(kinds(&batch).contains(&FindingKind::Scorch), "{:?}", batch.measures);
    let (_, batch) = struck("alder", FaultKind::HeaterStuck, Stage::Working, 60, 25);
    assert!(kinds(&batch).contains(&FindingKind::TemperLoss), "{:?}", batch.conditions);
}

#[test]
fn a_valve_that_sticks_open_undershoots_and_is_rewarmed() {
    let (_, batch) = struck("alder", FaultKind::Undershoot, Stage::Cooling, 20, 120);
    assert!(kinds(&batch).contains(&FindingKind::Undershoot), "{:?}", batch.measures);
    assert!(batch.phases.iter().any(|p| p.phase == Phase::Rewarming));
}

#[test]
fn a_drifting_sensor_takes_the_hold_along() {
    let (_, batch) = struck("alder", FaultKind::HoldDrift, Stage::Working, 40, 300);
    let Measures { settled_c: Some(settled), working_mean_c: Some(mean), .. } = batch.measures else {
        panic!("{:?}", batch.measures)
    };
    assert!(mean - settled > 0.3, "{settled} to {mean}");
}

#[test]
fn a_hunting_loop_swings_the_charge() {
    let deviation = |kind| struck("alder", kind, Stage::Working, 30, 240).1.measures.working_sd_c.unwrap();
    assert!(deviation(FaultKind::Hunting) > 1.5 * deviation(FaultKind::DampRoom));
}

#[test]
fn without_seed_there_is_no_dip_and_no_crystal() {
    let (truth, batch) = struck("alder", FaultKind::SeedMissed, Stage::Cooling, 0, 600);
    let first_seed = truth.marks.iter().find(|(_, m)| matches!(m, crate::Mark::Seed { .. }));
    let working = batch.phases.iter().find(|p| p.phase == Phase::Working).unwrap().from;
    assert!(first_seed.is_none_or(|(at, _)| *at > working));
    assert!(batch.measures.lowest_c.unwrap() > 31.0);
    assert!(first_smear(&truth) < 0.003);
}

#[test]
fn a_low_point_machine_makes_its_own_crystals_and_rewarms() {
    let settings = Settings::new(9, monday_evening());
    let mut works = Works::new(&plant(), &settings);
    works.advance_to(settings.start + Span::from_hours(20));
    let truth = works.truth();
    let rowan = truth.machines.iter().find(|m| m.id == id("rowan")).unwrap();
    let phases: Vec<Phase> = rowan.batches[0].phases.iter().map(|p| p.phase).collect();
    assert!(phases.contains(&Phase::Rewarming), "{phases:?}");
    let smear = first_smear(rowan);
    assert!((0.003..0.06).contains(&smear), "{smear}");
}

#[test]
fn every_scenario_does_what_it_says() {
    let run = |scenario: &Scenario| {
        let mut works = scenario.works();
        let messages = works.advance_to(scenario.settings.start + scenario.lasts);
        (messages.len(), works.truth())
    };
    let all = scenarios::all();
    let names: Vec<&str> = all.iter().map(|s| s.name).collect();
    assert_eq!(names, ["good-day", "overheated-hold", "slow-cooling", "drifting-hold", "bench-bowl"]);
    for scenario in &all {
        let (messages, truth) = run(scenario);
        assert!(messages > 100, "{} has {messages} messages", scenario.name);
        for machine in &truth.machines {
            let worked = machine.batches.iter().any(|b| b.phases.iter().any(|p| p.phase == Phase::Working));
            assert!(worked, "{} {}", scenario.name, machine.id);
            let found: Vec<FindingKind> = machine.batches.iter().flat_map(kinds).collect();
            match scenario.name {
                "overheated-hold" => assert!(found.contains(&FindingKind::TemperLoss)),
                "slow-cooling" => assert!(cooling_minutes(&machine.batches[0]) > 1.35 * 75.0),
                "drifting-hold" => {
                    let measures = &machine.batches[0].measures;
                    assert!(measures.working_mean_c.unwrap() - measures.settled_c.unwrap() > 0.2);
                }
                _ => assert_eq!(found, [], "{} {}", scenario.name, machine.id),
            }
        }
    }
}

#[test]
fn the_demo_is_lively_and_one_machine_in_trouble() {
    let plant = plant();
    for now in ["2026-03-01T03:10:00Z", "2026-07-04T15:00:00Z"] {
        let now: Timestamp = now.parse().unwrap();
        let mut works = crate::demo_works(&plant, now);
        works.advance_to(now);
        let stages: Vec<Stage> = works.standing().iter().map(|s| s.stage).collect();
        assert!(stages.contains(&Stage::Working), "{stages:?}");
        assert!(stages.iter().filter(|s| **s == Stage::Cooling).count() >= 2, "{stages:?}");
        let truth = works.truth();
        let open: Vec<FaultKind> = truth
            .machines
            .iter()
            .flat_map(|m| &m.faults)
            .filter(|f| f.to.is_none())
            .map(|f| f.kind)
            .collect();
        assert_eq!(open, [FaultKind::FouledJacket]);
        assert_eq!(truth.machines.iter().map(|m| m.faults.len()).sum::<usize>(), 5);
    }
}

#[test]
fn a_week_of_six_machines_is_quick() {
    let settings = Settings::new(1, monday_evening());
    let began = Instant::now();
    let count = Works::new(&plant(), &settings).messages(settings.start + Span::from_hours(168)).count();
    // Measured 2–3 s in the workspace's development profile; the limit allows for a busy machine.
    assert!(began.elapsed() < Duration::from_secs(30), "{:?}", began.elapsed());
    assert!(count > 1_000_000);
}

#[test]
fn what_is_written_can_be_unpacked_line_by_line() {
    let folder = tempfile::tempdir().unwrap();
    let settings = Settings::new(2, monday_evening());
    let mut works = Works::new(&plant(), &settings);
    let written = crate::write_days(&mut works, folder.path(), 1, |_| {}).unwrap();
    let text = zstd::decode_all(std::fs::File::open(&written.streams[0]).unwrap()).unwrap();
    let lines = String::from_utf8(text).unwrap();
    assert_eq!(lines.lines().count() as u64, written.messages);
    let first: serde_json::Value = serde_json::from_str(lines.lines().next().unwrap()).unwrap();
    assert_eq!(first["qos"], 1);
    let truth = std::fs::read_to_string(&written.truth).unwrap();
    assert!(truth.contains("\"schema\": \"halfdegree.truth/1\""));
}

/// Two batches a day draw little and seed twice, for three weeks.
#[test]
fn nobody_fills_a_machine_over_its_capacity() {
    let plant = plant();
    let manner = crate::Manner { second_batch_at_min: Some(600.0), ..crate::Manner::default() };
    let mut settings = Settings::new(11, monday_evening());
    settings.fittings = plant
        .machines
        .iter()
        .map(|m| (m.id.clone(), crate::Fitting { manner, ..crate::Fitting::default() }))
        .collect();
    let mut works = Works::new(&plant, &settings);
    for hour in 1..=21 * 24 {
        works.advance_to(settings.start + Span::from_hours(hour));
        for rig in &works.rigs {
            let (kg, most) = (rig.true_kg(), rig.spec.capacity_kg);
            assert!(kg <= most * 1.05, "{} holds {kg:.2} of {most:.2} kg after {hour} h", rig.id());
        }
    }
}
