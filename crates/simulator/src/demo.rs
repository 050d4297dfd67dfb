//! The works of the demo: a week behind it, and a lively moment at whatever time somebody looks.
//!
//! The demo may be started at night or on a Sunday, and its screen should show work all the same. So this works has a
//! calendar of its own: whatever the clock on the wall says, its now is a quarter past ten in the morning, every day is a
//! working day, and its machines are staggered so that one is cooling, one is being worked with, one is hot, and one is
//! in trouble. Days and weeks on the pages are those of the plant's time zone; only the shifts are moved.

use model::{MachineId, Span, Timestamp};
use plant::Plant;

use crate::faults::{Fault, FaultKind, Onset};
use crate::spec::Shift;
use crate::works::{Fitting, Settings, Works};

/// The demo's now, minutes after its own midnight.
const NOW_MIN: i64 = 615;
/// Whole days of past before today.
const PAST_DAYS: i64 = 8;
/// The history begins on the evening before its first day, with everything hot.
const EVENING: Span = Span::from_hours(4);

/// When each machine is set to cool and when it is finished, by its place in the plant file: at a quarter past ten the
/// first is being worked with, the second cools, the third should long be ready, the fourth is worked with, the fifth
/// lands, the sixth is on the bench. A seventh begins again with the first.
const SHIFTS: [Shift; 6] = [
    Shift { cool_at_min: 390.0, end_at_min: 1_010.0 },
    Shift { cool_at_min: 580.0, end_at_min: 1_200.0 },
    Shift { cool_at_min: 480.0, end_at_min: 1_080.0 },
    Shift { cool_at_min: 330.0, end_at_min: 980.0 },
    Shift { cool_at_min: 585.0, end_at_min: 1_260.0 },
    Shift { cool_at_min: 520.0, end_at_min: 960.0 },
];

/// What went wrong, and what does: the machine's place, how many days ago, minutes after that day's midnight, what, for
/// how many minutes, how bad.
const TROUBLES: [(usize, i64, i64, FaultKind, i64, f64); 5] = [
    (0, 5, 640, FaultKind::OverheatedHold, 45, 3.0),
    (1, 4, 575, FaultKind::WarmWater, 300, 18.0),
    (3, 3, 600, FaultKind::HoldDrift, 300, 0.22),
    (4, 2, 780, FaultKind::Silent, 25, 1.0),
    (2, 0, 470, FaultKind::FouledJacket, 420, 0.11),
];

/// The works of `plant` with more than a week behind it at `now`, seeded for always the same week. Play it to `now` for
/// the past, then on for as long as the demo runs.
pub fn demo_works(plant: &Plant, now: Timestamp) -> Works {
    let midnight = now - Span::from_mins(NOW_MIN);
    let start = midnight - Span::from_hours(24 * PAST_DAYS) - EVENING;
    let ids: Vec<MachineId> = plant.machines.iter().map(|m| m.id.clone()).collect();
    let fittings = ids
        .iter()
        .enumerate()
        .map(|(place, id)| {
            (id.clone(), Fitting { shift: Some(SHIFTS[place % SHIFTS.len()]), ..Fitting::default() })
        })
        .collect();
    let faults = TROUBLES
        .iter()
        .filter_map(|(place, days, minutes, kind, lasts, strength)| {
            let at = midnight - Span::from_hours(24) * *days + Span::from_mins(*minutes);
            let fault = Fault::new(ids.get(*place)?, *kind, Onset::At(at), Span::from_mins(*lasts));
            Some(fault.with_strength(*strength))
        })
        .collect();
    Works::new(plant, &Settings { seed: 2026, start, faults, fittings, midnight: Some(midnight) })
}
