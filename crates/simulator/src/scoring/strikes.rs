//! Which machines a fault can strike at all, when it strikes, for how long and how hard.

use model::{MachineId, Method, Span};
use plant::Style;

use super::site::Drawn;
use crate::dice::Dice;
use crate::faults::{Fault, FaultKind, Onset, Stage};
use crate::spec::Wording;

/// Whether `kind` means anything to the machine.
pub(super) fn can_strike(kind: FaultKind, drawn: &Drawn) -> bool {
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
        FaultKind::ProbeAgeing => !bowl && has(Setpoint),
        FaultKind::WarmWater | FaultKind::FouledJacket | FaultKind::Fouling | FaultKind::Hunting => {
            drawn.style == Style::Kettle
        }
        FaultKind::CoolingWeak => drawn.style == Style::Wheel || drawn.style == Style::Kettle,
        FaultKind::Overfilled | FaultKind::Undershoot => {
            drawn.style == Style::Kettle || drawn.style == Style::Continuous
        }
        FaultKind::SeedMissed | FaultKind::LateSeed | FaultKind::LittleSeed => drawn.method == Method::Seed,
        FaultKind::StirrerStopped => !bowl && has(Stirrer),
        FaultKind::Thickening => !bowl && has(Motor),
        FaultKind::HotRoom => has(Room),
        FaultKind::DampRoom => has(Humidity),
        FaultKind::ClockOff => drawn.instruments.wording != Wording::Numbers,
        FaultKind::Silent
        | FaultKind::LateUpload
        | FaultKind::ProbeOpen
        | FaultKind::ProbeMissing
        | FaultKind::ProbeStuck
        | FaultKind::Spikes
        | FaultKind::ProbeOut
        | FaultKind::PowerCut => true,
    }
}

/// A fault of about its usual strength, at a moment of the day when it matters.
pub(super) fn fault(kind: FaultKind, drawn: &Drawn, machine: &MachineId, dice: &mut Dice) -> Fault {
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
        FaultKind::ProbeAgeing | FaultKind::Fouling => in_stage(Stage::Melting, 0.0, 60.0),
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
        | FaultKind::ProbeOut
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
        FaultKind::ProbeOut => (15.0, 60.0),
        // Sets in within the first day and is still there at the end.
        FaultKind::ProbeAgeing | FaultKind::Fouling => (40_000.0, 40_001.0),
    };
    let lasts = mins(dice, low, high);
    #[expect(
        clippy::wildcard_enum_match_arm,
        reason = "what has no range of its own varies about its usual strength"
    )]
    // A share of the usual strength, for the kinds whose strength may vary without turning the fault around.
    let strength = match kind {
        FaultKind::ProbeOpen => [850.0, 1_372.0, -200.0, -50.0][(dice.even() * 4.0) as usize],
        FaultKind::ClockOff => [-3_600.0, 3_600.0, -95.0, 240.0][(dice.even() * 4.0) as usize],
        FaultKind::FouledJacket | FaultKind::CoolingWeak => kind.usual_strength() + dice.between(0.0, 0.2),
        // Three weeks of it make one degree.
        FaultKind::ProbeAgeing => dice.between(0.03, 0.06),
        FaultKind::WarmHold | FaultKind::ColdHold => dice.between(0.9, 1.9),
        FaultKind::OverheatedHold => dice.between(2.4, 5.0),
        _ => kind.usual_strength() * dice.between(0.85, 1.2),
    };
    Fault::new(machine, kind, onset, lasts).with_strength(strength)
}
