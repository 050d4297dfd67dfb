//! What the probes of a made-up kettle say: a day of tempering pressed into a hundred minutes, worked out once and read off.

use std::ops::Range;

/// Melting 20 min, soak 10, cooling 35 (Newton towards 25 °C), working 35.
const CYCLE_SECONDS: usize = 6_000;
const MELTED_AT: usize = 1_200;
const COOLING_AT: usize = 1_800;
const WORKING_AT: usize = 3_900;

/// Where in the cycle a charge soaks and goes on doing so for a while.
pub(crate) const SOAKS: Range<usize> = MELTED_AT + 100..COOLING_AT - 120;
/// Where it has been cooling for some minutes and goes on doing so.
pub(crate) const FALLS: Range<usize> = COOLING_AT + 300..WORKING_AT - 120;

/// The chocolate of one cycle by the second, °C.
pub(crate) struct Course(Vec<f64>);

impl Course {
    pub(crate) fn new() -> Course {
        // From 46 °C to 31.5 °C towards 25 °C in the length of the cooling.
        let tau = (WORKING_AT - COOLING_AT) as f64 / (21.0_f64 / 6.5).ln();
        let at = |second: usize| match second {
            0..MELTED_AT => 31.5 + 14.5 * second as f64 / MELTED_AT as f64,
            MELTED_AT..COOLING_AT => 46.0,
            COOLING_AT..WORKING_AT => 25.0 + 21.0 * (-((second - COOLING_AT) as f64) / tau).exp(),
            _ => 31.5,
        };
        Course((0..CYCLE_SECONDS).map(at).collect())
    }

    /// A machine's chocolate in the given second.
    pub(crate) fn chocolate(&self, machine: usize, machines: usize, second: usize) -> f64 {
        self.0[place(machine, machines, second)] + noise(machine, second) * 0.04
    }
}

/// How far in its cycle a machine is in the given second; machines are spread over it.
pub(crate) fn place(machine: usize, machines: usize, second: usize) -> usize {
    (second + machine * CYCLE_SECONDS / machines) % CYCLE_SECONDS
}

/// What the controller is set to.
pub(crate) fn set_point(machine: usize, machines: usize, second: usize) -> f64 {
    if place(machine, machines, second) < COOLING_AT { 46.0 } else { 31.5 }
}

/// Between -0.5 and 0.5, the same each time.
pub(crate) fn noise(machine: usize, second: usize) -> f64 {
    let mixed = (machine as u64 ^ (second as u64) << 20).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    (mixed >> 40) as f64 / (1u64 << 24) as f64 - 0.5
}
