//! What happens at a drawn site: its days, its faults and when they strike, and from when on somebody listens.

use model::{MachineId, Method, Span, Timestamp};
use plant::Style;

use super::site::{self, Drawn, NAMES};
use super::{Case, Scenario};
use crate::dice::Dice;
use crate::faults::{Fault, FaultKind, Onset, Stage};
use crate::rig::Begin;
use crate::spec::Shift;
use crate::works::{Fitting, Settings};

/// Evenings from which cases start, so that some run over each change of clocks, weekends and the end of a year.
const EVENINGS: [&str; 8] = [
    "2026-03-02T19:00:00Z",
    "2026-03-26T19:00:00Z",
    "2026-03-27T19:00:00Z",
    "2026-05-12T18:00:00Z",
    "2026-07-08T18:00:00Z",
    "2026-10-22T18:00:00Z",
    "2026-10-23T18:00:00Z",
    "2026-12-30T19:00:00Z",
];
/// Days of ordinary work in one case.
const ORDINARY_DAYS: (f64, f64) = (2.0, 4.0);
/// Hours of a case with a fault: a night, a day and an evening.
const FAULT_HOURS: (f64, f64) = (22.0, 30.0);
/// Shares of cases that begin cold, and that are heard only from the middle on.
const BEGIN_COLD: f64 = 0.35;
const HEARD_LATE: f64 = 0.25;

/// Stream of chance of the drawing itself, apart from those of the machines.
const DRAWING: u64 = 1 << 40;

pub(super) fn draw(scenario: Scenario, seed: u64) -> Case {
    let mut dice = Dice::new(seed, DRAWING);
    let kinds = kinds(scenario, &mut dice);
    let drawn = fitting_machine(&kinds, &mut dice);
    let all = [drawn];
    let (file, built) = site::file(&all, &mut dice);
    let evening = EVENINGS[(dice.even() * EVENINGS.len() as f64) as usize];
    let start: Timestamp = evening.parse().expect("the evenings are RFC 3339");
    let start = start + Span::from_mins_f64(dice.between(0.0, 180.0));
    let hours = match scenario {
        Scenario::Ordinary => 24.0 * dice.between(ORDINARY_DAYS.0, ORDINARY_DAYS.1),
        Scenario::Fault(_) | Scenario::Two => dice.between(FAULT_HOURS.0, FAULT_HOURS.1),
    };
    let lasts = Span::from_mins_f64(60.0 * hours);
    let fittings = all
        .iter()
        .zip(built)
        .enumerate()
        .map(|(place, (drawn, minutes))| (id(place), fitting(drawn, minutes, &mut dice)));
    let fittings: Vec<(MachineId, Fitting)> = fittings.collect();
    let faults = kinds.iter().map(|kind| fault(*kind, &all[0], &id(0), &mut dice)).collect();
    let heard_from = if kinds.is_empty() && dice.chance(HEARD_LATE) {
        start + Span::from_mins_f64(60.0 * dice.between(4.0, 22.0))
    } else {
        start
    };
    let settings = Settings { faults, fittings, ..Settings::new(seed, start) };
    Case { scenario, seed, file, settings, lasts, heard_from }
}

fn id(place: usize) -> MachineId {
    NAMES[place].parse().expect("the names are ids")
}

fn kinds(scenario: Scenario, dice: &mut Dice) -> Vec<FaultKind> {
    let mut any = || FaultKind::ALL[(dice.even() * FaultKind::ALL.len() as f64) as usize];
    match scenario {
        Scenario::Ordinary => Vec::new(),
        Scenario::Fault(kind) => vec![kind],
        Scenario::Two => vec![any(), any()],
    }
}

/// A machine on which the faults can strike at all: drawn again until it is one.
fn fitting_machine(kinds: &[FaultKind], dice: &mut Dice) -> Drawn {
    const TRIES: usize = 200;
    let mut drawn = site::draw(dice);
    for _ in 0..TRIES {
        if kinds.iter().all(|kind| can_strike(*kind, &drawn)) {
            break;
        }
        drawn = site::draw(dice);
    }
    drawn
}

fn can_strike(kind: FaultKind, drawn: &Drawn) -> bool {
    use model::Channel::{Humidity, Motor, Room, Setpoint, Stirrer};
    let has = |channel| drawn.instruments.channels.contains(&channel);
    let bowl = drawn.method == Method::PartialMelt;
    match kind {
        FaultKind::Scorch
        | FaultKind::OverheatedHold
        | FaultKind::WarmHold
        | FaultKind::ColdHold
        | FaultKind::HoldDrift
        | FaultKind::HeaterDead => !bowl,
        FaultKind::HeaterStuck => !bowl && has(Setpoint),
        FaultKind::WarmWater | FaultKind::FouledJacket | FaultKind::Hunting => drawn.style == Style::Kettle,
        FaultKind::CoolingWeak => drawn.style == Style::Wheel || drawn.style == Style::Kettle,
        FaultKind::Overfilled | FaultKind::Undershoot => {
            drawn.style == Style::Kettle || drawn.style == Style::Continuous
        }
        FaultKind::SeedMissed | FaultKind::LateSeed | FaultKind::LittleSeed => drawn.method == Method::Seed,
        FaultKind::StirrerStopped => !bowl && has(Stirrer),
        FaultKind::Thickening => !bowl && has(Motor),
        FaultKind::HotRoom => has(Room),
        FaultKind::DampRoom => has(Humidity),
        FaultKind::ClockOff => drawn.instruments.wording != crate::spec::Wording::Numbers,
        FaultKind::Silent
        | FaultKind::LateUpload
        | FaultKind::ProbeOpen
        | FaultKind::ProbeMissing
        | FaultKind::ProbeStuck
        | FaultKind::Spikes
        | FaultKind::ProbeAgeing
        | FaultKind::PowerCut => true,
    }
}

fn fitting(drawn: &Drawn, minutes: Option<f64>, dice: &mut Dice) -> Fitting {
    let cool_at_min = dice.between(300.0, 480.0);
    // Slow kettles are set to cool earlier, so that there is a day left to work.
    let cool_at_min = cool_at_min - minutes.map_or(0.0, |m| (m - 90.0).max(0.0) * 0.8);
    let shift = Shift { cool_at_min, end_at_min: dice.between(900.0, 1_100.0) };
    let cold = drawn.method != Method::PartialMelt && dice.chance(BEGIN_COLD);
    Fitting {
        instruments: Some(drawn.instruments.clone()),
        shift: Some(shift),
        built_for_minutes: minutes,
        begin: cold.then(|| Begin::Cold(Span::from_mins_f64(dice.between(5.0, 90.0)))),
        ..Fitting::default()
    }
}

/// A fault of about its usual strength, at a moment of the day when it matters.
fn fault(kind: FaultKind, drawn: &Drawn, machine: &MachineId, dice: &mut Dice) -> Fault {
    let mins = |dice: &mut Dice, low: f64, high: f64| Span::from_mins_f64(dice.between(low, high));
    let mut in_stage = |stage, low, high| Onset::In { stage, nth: 0, after: mins(dice, low, high) };
    let onset = match kind {
        FaultKind::Scorch => in_stage(Stage::Melting, 120.0, 300.0),
        FaultKind::WarmWater | FaultKind::FouledJacket | FaultKind::CoolingWeak => {
            in_stage(Stage::Cooling, 0.0, 4.0)
        }
        FaultKind::SeedMissed | FaultKind::LateSeed | FaultKind::LittleSeed => {
            in_stage(Stage::Cooling, 0.0, 0.5)
        }
        FaultKind::Undershoot => in_stage(Stage::Cooling, 5.0, 20.0),
        FaultKind::Overfilled => in_stage(Stage::Melting, 0.0, 1.0),
        FaultKind::ProbeAgeing => in_stage(Stage::Melting, 0.0, 60.0),
        FaultKind::HotRoom | FaultKind::DampRoom | FaultKind::ClockOff | FaultKind::PowerCut => {
            in_stage(Stage::Melting, 60.0, 800.0)
        }
        FaultKind::OverheatedHold
        | FaultKind::WarmHold
        | FaultKind::ColdHold
        | FaultKind::HoldDrift
        | FaultKind::HeaterStuck
        | FaultKind::HeaterDead
        | FaultKind::Hunting
        | FaultKind::Thickening => in_stage(Stage::Working, 25.0, 150.0),
        FaultKind::StirrerStopped if drawn.instruments.sample_s < 30.0 => in_stage(Stage::Cooling, 3.0, 60.0),
        FaultKind::StirrerStopped
        | FaultKind::Silent
        | FaultKind::LateUpload
        | FaultKind::ProbeOpen
        | FaultKind::ProbeMissing
        | FaultKind::ProbeStuck
        | FaultKind::Spikes => in_stage(Stage::Working, 2.0, 200.0),
    };
    let (low, high) = match kind {
        FaultKind::HeaterStuck => (6.0, 18.0),
        FaultKind::OverheatedHold | FaultKind::WarmHold | FaultKind::ColdHold => (20.0, 120.0),
        FaultKind::Silent | FaultKind::LateUpload => (6.0, 60.0),
        FaultKind::ProbeOpen | FaultKind::ProbeMissing => (2.0, 40.0),
        FaultKind::ProbeStuck => (25.0, 120.0),
        FaultKind::StirrerStopped => (5.0, 30.0),
        FaultKind::PowerCut => (60.0, 480.0),
        FaultKind::Undershoot => (40.0, 90.0),
        FaultKind::HeaterDead => (40.0, 180.0),
        FaultKind::Scorch => (60.0, 180.0),
        FaultKind::HoldDrift | FaultKind::Hunting | FaultKind::Thickening => (120.0, 300.0),
        FaultKind::WarmWater
        | FaultKind::FouledJacket
        | FaultKind::CoolingWeak
        | FaultKind::SeedMissed
        | FaultKind::LateSeed
        | FaultKind::LittleSeed
        | FaultKind::Overfilled
        | FaultKind::Spikes
        | FaultKind::HotRoom
        | FaultKind::DampRoom
        | FaultKind::ClockOff => (120.0, 500.0),
        FaultKind::ProbeAgeing => (30_000.0, 30_001.0),
    };
    let lasts = mins(dice, low, high);
    // A share of the usual strength, for the kinds whose strength may vary without turning the fault around.
    let strength = match kind {
        FaultKind::ProbeOpen => [850.0, 1_372.0, -200.0, -50.0][(dice.even() * 4.0) as usize],
        FaultKind::ClockOff => [-3_600.0, 3_600.0, -95.0, 240.0][(dice.even() * 4.0) as usize],
        FaultKind::FouledJacket | FaultKind::CoolingWeak => kind.usual_strength() + dice.between(0.0, 0.2),
        FaultKind::WarmHold | FaultKind::ColdHold => dice.between(0.9, 1.9),
        FaultKind::OverheatedHold => dice.between(2.4, 5.0),
        _ => kind.usual_strength() * dice.between(0.85, 1.2),
    };
    Fault::new(machine, kind, onset, lasts).with_strength(strength)
}
