//! Which faults a run has, and in which order.

use std::fmt::Debug;
use std::str::FromStr;

/// Something that goes wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Fault {
    /// SIGKILL to the service while it takes messages.
    KillService,
    /// SIGKILL to the service while it starts.
    KillAtStart,
    /// SIGTERM to the broker, and a start on what it has saved.
    StopBroker,
    /// The connection between service and broker ends in the middle.
    CutWire,
    /// The connection stays, and nothing passes for a while.
    FreezeWire,
    /// `fsync` does not come back for a while, and the broker's window runs full.
    FreezeDisk,
    /// SIGKILL to the service while `fsync` does not come back.
    KillWhileDiskFrozen,
    /// Nothing can be written for a while: no room.
    FillDisk,
}

/// How many of each.
#[derive(Debug)]
pub(crate) struct Plan {
    counts: Vec<(Fault, usize)>,
    seed: u64,
    is_told: bool,
}

impl Plan {
    /// The counts of the variables that `tests/crash` sets; the short form's where there are none.
    pub(crate) fn from_environment() -> Plan {
        let count = |name: &str, usual: usize| variable(name).unwrap_or(usual);
        let kills = count("CRASH_KILLS", 8);
        // Every fourth kill hits a service that has only just been started, every tenth one whose disk stands still.
        let (at_start, frozen) = (kills / 4, kills.div_ceil(10));
        Plan {
            counts: vec![
                (Fault::KillService, kills - at_start - frozen),
                (Fault::KillAtStart, at_start),
                (Fault::KillWhileDiskFrozen, frozen),
                (Fault::StopBroker, count("CRASH_BROKER_STOPS", 2)),
                (Fault::CutWire, count("CRASH_CUTS", 3)),
                (Fault::FreezeWire, count("CRASH_WIRE_FREEZES", 1)),
                (Fault::FreezeDisk, count("CRASH_DISK_FREEZES", 1)),
                (Fault::FillDisk, count("CRASH_DISK_FULL", 1)),
            ],
            seed: variable("CRASH_SEED").unwrap_or(1),
            is_told: std::env::var_os("CRASH_KILLS").is_some(),
        }
    }

    /// Whether a person is looking on.
    pub(crate) fn is_told(&self) -> bool {
        self.is_told
    }

    pub(crate) fn seed(&self) -> u64 {
        self.seed
    }

    /// All of them, mixed; the same seed mixes the same way.
    pub(crate) fn faults(&self) -> Vec<Fault> {
        let mut faults: Vec<Fault> =
            self.counts.iter().flat_map(|(fault, times)| std::iter::repeat_n(*fault, *times)).collect();
        let mut dice = Dice(self.seed);
        for place in (1..faults.len()).rev() {
            faults.swap(place, dice.throw(place as u64 + 1) as usize);
        }
        faults
    }
}

fn variable<T: FromStr<Err: Debug>>(name: &str) -> Option<T> {
    std::env::var(name)
        .ok()
        .map(|value| value.parse().unwrap_or_else(|error| panic!("{name}={value}: {error:?}")))
}

/// Numbers that look thrown and can be thrown again (the generator of Knuth's MMIX).
pub(crate) struct Dice(pub(crate) u64);

impl Dice {
    /// From 0 to below `sides`.
    pub(crate) fn throw(&mut self, sides: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % sides
    }
}

#[test]
fn a_plan_holds_what_was_asked_for_in_an_order_that_can_be_repeated() {
    let plan = Plan {
        counts: vec![(Fault::KillService, 40), (Fault::StopBroker, 20), (Fault::CutWire, 0)],
        seed: 7,
        is_told: false,
    };
    let faults = plan.faults();
    let kills = faults.iter().filter(|fault| **fault == Fault::KillService).count();
    assert_eq!((faults.len(), kills), (60, 40));
    assert_eq!(faults, plan.faults());
    assert!(faults[..30].contains(&Fault::StopBroker) && faults[30..].contains(&Fault::StopBroker));
}
