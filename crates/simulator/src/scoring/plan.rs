//! What happens at a drawn site: its days, how it is worked, what goes wrong, and from when on somebody listens.

use model::{MachineId, Method, Span, Timestamp};
use plant::Style;

use super::site::{self, Drawn, NAMES};
use super::strikes::{can_strike, fault};
use super::{Case, Scenario};
use crate::dice::Dice;
use crate::faults::{Fault, FaultKind, Onset};
use crate::rig::Begin;
use crate::spec::{Manner, Shift, Telling};
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
/// Days over which something wears: enough batches for a trend.
const WEAR_DAYS: (f64, f64) = (19.0, 26.0);
/// Shares of cases that begin cold, and that are heard only from the middle on.
const BEGIN_COLD: f64 = 0.35;
const HEARD_LATE: f64 = 0.25;
/// Shares of shops that are worked in one of the less usual manners.
const SET_BACK: f64 = 0.25;
const SECOND_BATCH: f64 = 0.2;
const FIDDLES: f64 = 0.2;
const ROUGH: f64 = 0.2;

/// Stream of chance of the drawing itself, apart from those of the machines.
const DRAWING: u64 = 1 << 40;

pub(super) fn draw(scenario: Scenario, seed: u64) -> Case {
    let mut dice = Dice::new(seed, DRAWING);
    let kinds = kinds(scenario, &mut dice);
    let all: Vec<Drawn> = match scenario {
        Scenario::Common => machines_alike(kinds[0], &mut dice),
        Scenario::Ordinary | Scenario::Fault(_) | Scenario::Two => vec![machine(&kinds, &mut dice)],
    };
    let wears = kinds.iter().any(|kind| matches!(kind, FaultKind::ProbeAgeing | FaultKind::Fouling));
    let (file, built) = site::file(&all, &mut dice);
    let evening = EVENINGS[(dice.even() * EVENINGS.len() as f64) as usize];
    let start: Timestamp = evening.parse().expect("the evenings are RFC 3339");
    let start = start + Span::from_mins_f64(dice.between(0.0, 180.0));
    let hours = match scenario {
        Scenario::Fault(_) if wears => 24.0 * dice.between(WEAR_DAYS.0, WEAR_DAYS.1),
        Scenario::Ordinary => 24.0 * dice.between(ORDINARY_DAYS.0, ORDINARY_DAYS.1),
        Scenario::Fault(_) | Scenario::Two | Scenario::Common => dice.between(FAULT_HOURS.0, FAULT_HOURS.1),
    };
    let fittings: Vec<(MachineId, Fitting)> = (all.iter().zip(built).enumerate())
        .map(|(place, (drawn, minutes))| (id(place), fitting(drawn, minutes, &mut dice)))
        .collect();
    let ordinary = kinds.is_empty();
    let faults = match scenario {
        Scenario::Ordinary => everyday(start, hours, &mut dice),
        Scenario::Common => vec![everywhere(kinds[0], start, &mut dice)],
        Scenario::Fault(_) | Scenario::Two => {
            kinds.iter().map(|kind| fault(*kind, &all[0], &id(0), &mut dice)).collect()
        }
    };
    let heard_from = if ordinary && dice.chance(HEARD_LATE) {
        start + Span::from_mins_f64(60.0 * dice.between(4.0, 22.0))
    } else {
        start
    };
    let settings = Settings { faults, fittings, ..Settings::new(seed, start) };
    Case { scenario, seed, file, settings, lasts: Span::from_mins_f64(60.0 * hours), heard_from }
}

fn id(place: usize) -> MachineId {
    NAMES[place].parse().expect("the names are ids")
}

/// What may strike several machines at once: their water, their power, their network, their room.
const COMMON: [FaultKind; 4] =
    [FaultKind::WarmWater, FaultKind::PowerCut, FaultKind::Silent, FaultKind::HotRoom];

fn kinds(scenario: Scenario, dice: &mut Dice) -> Vec<FaultKind> {
    let one_of = |from: &[FaultKind], dice: &mut Dice| from[(dice.even() * from.len() as f64) as usize];
    match scenario {
        Scenario::Ordinary => Vec::new(),
        Scenario::Fault(kind) => vec![kind],
        Scenario::Two => vec![one_of(FaultKind::ALL, dice), one_of(FaultKind::ALL, dice)],
        Scenario::Common => vec![one_of(&COMMON, dice)],
    }
}

/// A machine on which the faults can strike at all: drawn again until it is one.
fn machine(kinds: &[FaultKind], dice: &mut Dice) -> Drawn {
    const TRIES: usize = 300;
    let mut drawn = site::draw(dice);
    for _ in 0..TRIES {
        if kinds.iter().all(|kind| can_strike(*kind, &drawn)) {
            break;
        }
        drawn = site::draw(dice);
    }
    drawn
}

/// Three to five machines that `kind` can strike.
fn machines_alike(kind: FaultKind, dice: &mut Dice) -> Vec<Drawn> {
    let count = 3 + (dice.even() * 3.0) as usize;
    let mut all = Vec::with_capacity(count);
    for _ in 0..count {
        all.push(machine(&[kind], dice));
    }
    all
}

/// One cause for all of them, at one moment.
fn everywhere(kind: FaultKind, start: Timestamp, dice: &mut Dice) -> Fault {
    // Water shows where machines cool, early in the morning; the rest at any hour of the day.
    let (after_h, lasts_min) = if kind == FaultKind::WarmWater {
        (dice.between(8.0, 9.0), dice.between(400.0, 700.0))
    } else if kind == FaultKind::Silent {
        (dice.between(12.0, 20.0), dice.between(8.0, 60.0))
    } else {
        (dice.between(12.0, 18.0), dice.between(60.0, 240.0))
    };
    Fault {
        machine: None,
        kind,
        onset: Onset::At(start + Span::from_mins_f64(60.0 * after_h)),
        lasts: Some(Span::from_mins_f64(lasts_min)),
        strength: kind.usual_strength(),
    }
}

/// What is nobody's fault and happens all the time: a logger that restarts, a smaller charge.
fn everyday(start: Timestamp, hours: f64, dice: &mut Dice) -> Vec<Fault> {
    const RESTART_S: (f64, f64) = (10.0, 45.0);
    const SMALLER: (f64, f64) = (0.6, 0.95);
    let mut faults = Vec::new();
    let restarts = (dice.even() * 3.0) as usize;
    for _ in 0..restarts {
        let at = start + Span::from_mins_f64(60.0 * dice.between(0.0, hours));
        let lasts = Span::from_mins_f64(dice.between(RESTART_S.0, RESTART_S.1) / 60.0);
        faults.push(Fault::new(&id(0), FaultKind::Silent, Onset::At(at), lasts));
    }
    if dice.chance(0.25) {
        let lasts = Span::from_mins_f64(60.0 * hours);
        let smaller = Fault::new(&id(0), FaultKind::Overfilled, Onset::At(start), lasts);
        faults.push(smaller.with_strength(dice.between(SMALLER.0, SMALLER.1)));
    }
    faults
}

fn fitting(drawn: &Drawn, minutes: Option<f64>, dice: &mut Dice) -> Fitting {
    // Slow kettles are set to cool earlier, so that there is a day left to work.
    let earlier_min = minutes.map_or(0.0, |m| (m - 90.0).max(0.0) * 0.8);
    let cool_at_min = dice.between(300.0, 480.0) - earlier_min;
    let shift = Shift { cool_at_min, end_at_min: dice.between(900.0, 1_100.0) };
    let cold = drawn.method != Method::PartialMelt && dice.chance(BEGIN_COLD);
    let slow = minutes.is_some_and(|m| m > 100.0);
    let mut or_not = |share: f64, low: f64, high: f64| {
        let value = dice.between(low, high);
        dice.chance(share).then_some(value)
    };
    let manner = Manner {
        set_back_c: or_not(SET_BACK, 0.6, 1.7).unwrap_or(0.0),
        second_batch_at_min: or_not(SECOND_BATCH, 640.0, 720.0)
            .filter(|_| drawn.style != Style::Bench && !slow),
        fiddles: or_not(FIDDLES, 0.0, 1.0).is_some(),
        rough_network: or_not(ROUGH, 1.0, 6.0).unwrap_or(0.0),
        telling: match or_not(0.5, 0.0, 1.0) {
            Some(share) if share < 0.5 => Telling::Never,
            Some(_) => Telling::Sloppy,
            None => Telling::Usual,
        },
    };
    Fitting {
        instruments: Some(drawn.instruments.clone()),
        shift: Some(shift),
        manner,
        built_for_minutes: minutes,
        begin: cold.then(|| Begin::Cold(Span::from_mins_f64(dice.between(5.0, 90.0)))),
        ..Fitting::default()
    }
}
