//! What can go wrong, by name, with a start, an end and a strength.
//!
//! A fault here is a cause: a fouled jacket, a sensor that reads low, a person who forgets. What shows on the curve is
//! left to physics.

use std::fmt;
use std::str::FromStr;

use model::{FindingKind, MachineId, Span, Timestamp};

use crate::trouble::Trouble;

macro_rules! faults {
    ($($(#[$doc:meta])* $variant:ident = $word:literal, $usual:literal;)*) => {
        /// A cause of trouble. The number behind each is its usual strength.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
        pub enum FaultKind { $($(#[$doc])* $variant,)* }

        impl FaultKind {
            /// Every fault.
            pub const ALL: &[FaultKind] = &[$(FaultKind::$variant,)*];

            /// Its name, as it stands in `truth.json`.
            pub fn as_str(self) -> &'static str {
                match self { $(FaultKind::$variant => $word,)* }
            }

            /// Its usual strength, in the unit that its description names.
            pub fn usual_strength(self) -> f64 {
                match self { $(FaultKind::$variant => $usual,)* }
            }
        }
    };
}

faults! {
    /// The controller's own sensor reads low by so many °C and its limit switch has failed: the charge burns.
    Scorch = "scorch", 13.0;
    /// The controller's own sensor reads low by so many °C: the hold is overheated.
    OverheatedHold = "overheated-hold", 3.0;
    /// As overheated, but not enough to melt the crystals at once.
    WarmHold = "warm-hold", 1.2;
    /// The controller's own sensor reads high by so many °C.
    ColdHold = "cold-hold", 1.5;
    /// The cooling water is warmer by so many °C. Nothing to a machine that a fan cools.
    WarmWater = "warm-water", 16.0;
    /// The jacket passes on so much of the heat that it should. Hardly anything to a machine that a fan cools.
    FouledJacket = "fouled-jacket", 0.22;
    /// The fan, or the valve of the cooling water, gives so much of what it should.
    CoolingWeak = "cooling-weak", 0.0;
    /// The machine was filled to so many times its usual charge.
    Overfilled = "overfilled", 1.5;
    /// The controller's own sensor wanders off by so many °C an hour.
    HoldDrift = "hold-drift", 0.35;
    /// The network loses everything from the machine.
    Silent = "silent", 1.0;
    /// The network holds everything back and delivers it at the end.
    LateUpload = "late-upload", 1.0;
    /// The probe's wire is broken: values of so much.
    ProbeOpen = "probe-open", 850.0;
    /// The probe's wire is broken, and the logger says that there is no number.
    ProbeMissing = "probe-missing", 1.0;
    /// The logger repeats its last value.
    ProbeStuck = "probe-stuck", 1.0;
    /// So many lone jumps an hour, up and down.
    Spikes = "spikes", 40.0;
    /// The stirrer stands still.
    StirrerStopped = "stirrer-stopped", 1.0;
    /// The heater's relay has welded: full heat.
    HeaterStuck = "heater-stuck", 1.0;
    /// The heater gives nothing.
    HeaterDead = "heater-dead", 1.0;
    /// Nobody seeds.
    SeedMissed = "seed-missed", 1.0;
    /// Seed goes in so many minutes late.
    LateSeed = "late-seed", 25.0;
    /// So much of the planned seed goes in.
    LittleSeed = "little-seed", 0.35;
    /// The cooling valve sticks wide open, with so many times the usual water, or the fan runs on; the heater is locked out.
    Undershoot = "undershoot", 20.0;
    /// The loop is so many times too sharp, its valve opens as much too wide, and its sensor sits behind a crust.
    Hunting = "hunting", 10.0;
    /// Crystals grow so many times faster than usual.
    Thickening = "thickening", 8.0;
    /// The room is warmer by so many °C.
    HotRoom = "hot-room", 6.5;
    /// The room is damper by so many % RH.
    DampRoom = "damp-room", 25.0;
    /// The sender's clock is wrong by so many seconds.
    ClockOff = "clock-off", -3_600.0;
    /// The recorded probe ages by so many °C a day.
    ProbeAgeing = "probe-ageing", 0.1;
    /// The probe hangs half out of the charge.
    ProbeOut = "probe-out", 1.0;
    /// The jacket passes on so much less a day.
    Fouling = "fouling", 0.022;
    /// No heat, no stirring, no cooling and no messages.
    PowerCut = "power-cut", 1.0;
}

impl FaultKind {
    /// The finding that a watch should come to, where the contract has one for this cause.
    pub fn finding(self) -> Option<FindingKind> {
        match self {
            FaultKind::Scorch => Some(FindingKind::Scorch),
            FaultKind::OverheatedHold => Some(FindingKind::TemperLoss),
            FaultKind::WarmHold => Some(FindingKind::WarmHold),
            FaultKind::ColdHold => Some(FindingKind::ColdHold),
            FaultKind::WarmWater
            | FaultKind::FouledJacket
            | FaultKind::CoolingWeak
            | FaultKind::Overfilled => Some(FindingKind::SlowCooling),
            FaultKind::HoldDrift => Some(FindingKind::HoldDrift),
            FaultKind::Silent | FaultKind::LateUpload | FaultKind::PowerCut => Some(FindingKind::Silent),
            FaultKind::ProbeOpen | FaultKind::ProbeMissing => Some(FindingKind::ProbeFault),
            FaultKind::ProbeStuck => Some(FindingKind::ProbeStuck),
            FaultKind::Spikes => Some(FindingKind::Spikes),
            FaultKind::StirrerStopped => Some(FindingKind::StirrerStopped),
            FaultKind::HeaterStuck => Some(FindingKind::HeaterStuck),
            FaultKind::SeedMissed => Some(FindingKind::SeedMissed),
            FaultKind::Undershoot => Some(FindingKind::Undershoot),
            FaultKind::Hunting => Some(FindingKind::Hunting),
            FaultKind::Thickening => Some(FindingKind::Thickening),
            FaultKind::HotRoom => Some(FindingKind::HotRoom),
            FaultKind::DampRoom => Some(FindingKind::DampRoom),
            FaultKind::ClockOff => Some(FindingKind::ClockOff),
            FaultKind::ProbeAgeing => Some(FindingKind::ProbeDrift),
            FaultKind::Fouling => Some(FindingKind::CoolingFade),
            FaultKind::HeaterDead | FaultKind::LateSeed | FaultKind::LittleSeed | FaultKind::ProbeOut => None,
        }
    }
}

impl fmt::Display for FaultKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

impl FromStr for FaultKind {
    type Err = String;

    fn from_str(text: &str) -> Result<FaultKind, String> {
        FaultKind::ALL.iter().copied().find(|k| k.as_str() == text).ok_or_else(|| {
            let names: Vec<&str> = FaultKind::ALL.iter().map(|k| k.as_str()).collect();
            format!("`{text}` is not a fault; the faults are {}", names.join(", "))
        })
    }
}

/// A part of the day, as people see it: what a fault can wait for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Stage {
    /// Switched off.
    Off,
    /// Heated, or kept hot overnight.
    Melting,
    /// Set to cool.
    Cooling,
    /// Seeded, landing.
    Landing,
    /// In use.
    Working,
}

/// When a fault begins.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Onset {
    /// At a moment.
    At(Timestamp),
    /// `after` the machine has come to `stage` for the `nth` time (0 is the first).
    In {
        /// Which part of the day.
        stage: Stage,
        /// Which of them.
        nth: usize,
        /// How long after its beginning.
        after: Span,
    },
}

/// One fault of one machine.
#[derive(Debug, Clone, PartialEq)]
pub struct Fault {
    /// Which machine; `None` is all of them.
    pub machine: Option<MachineId>,
    /// What is wrong.
    pub kind: FaultKind,
    /// Since when.
    pub onset: Onset,
    /// For how long; `None` is for good.
    pub lasts: Option<Span>,
    /// How bad, in the unit that the kind's description names.
    pub strength: f64,
}

impl Fault {
    /// A fault of usual strength.
    pub fn new(machine: &MachineId, kind: FaultKind, onset: Onset, lasts: Span) -> Fault {
        Fault {
            machine: Some(machine.clone()),
            kind,
            onset,
            lasts: Some(lasts),
            strength: kind.usual_strength(),
        }
    }

    /// The same with another strength.
    #[must_use]
    pub fn with_strength(self, strength: f64) -> Fault {
        Fault { strength, ..self }
    }
}

/// A fault as it happened.
#[derive(Debug, Clone, PartialEq)]
pub struct Happened {
    /// What was wrong.
    pub kind: FaultKind,
    /// Since when.
    pub from: Timestamp,
    /// Until when; `None` while it goes on.
    pub to: Option<Timestamp>,
    /// How bad.
    pub strength: f64,
}

impl Happened {
    /// Was it at work at `at`, or had it been no longer than `aftermath` before?
    pub fn was_at_work(&self, at: Timestamp, aftermath: Span) -> bool {
        self.from <= at && self.to.is_none_or(|to| at <= to + aftermath)
    }
}

/// The faults of one machine: those to come, and those that came.
#[derive(Debug, Clone, Default)]
pub(crate) struct FaultBook {
    waiting: Vec<Fault>,
    going: Vec<(Happened, Option<Span>)>,
    over: Vec<Happened>,
    seen: Vec<(Stage, Timestamp)>,
}

impl FaultBook {
    pub(crate) fn new(machine: &MachineId, faults: &[Fault]) -> FaultBook {
        let mine = |fault: &&Fault| fault.machine.as_ref().is_none_or(|id| id == machine);
        FaultBook { waiting: faults.iter().filter(mine).cloned().collect(), ..FaultBook::default() }
    }

    /// One more is to come.
    pub(crate) fn add(&mut self, fault: Fault) {
        self.waiting.push(fault);
    }

    /// The machine has come to `stage`.
    pub(crate) fn enter(&mut self, stage: Stage, at: Timestamp) {
        if self.seen.last().map(|s| s.0) != Some(stage) {
            self.seen.push((stage, at));
        }
    }

    /// What is wrong at `now`.
    pub(crate) fn trouble(&mut self, now: Timestamp) -> Trouble {
        let seen = &self.seen;
        for fault in self.waiting.extract_if(.., |f| begins(f.onset, seen).is_some_and(|at| at <= now)) {
            let happened = Happened { kind: fault.kind, from: now, to: None, strength: fault.strength };
            self.going.push((happened, fault.lasts));
        }
        for (mut happened, _) in
            self.going.extract_if(.., |(h, lasts)| lasts.is_some_and(|l| h.from + l <= now))
        {
            happened.to = Some(now);
            self.over.push(happened);
        }
        let mut trouble = Trouble::NONE;
        for (happened, _) in &self.going {
            let hours = now.since(happened.from).as_secs_f64() / 3600.0;
            trouble.add(happened.kind, happened.strength, hours);
        }
        trouble
    }

    /// What happened so far, in the order of beginning.
    pub(crate) fn happened(&self) -> Vec<Happened> {
        let mut all: Vec<Happened> =
            self.over.iter().cloned().chain(self.going.iter().map(|g| g.0.clone())).collect();
        all.sort_by_key(|h| h.from);
        all
    }
}

fn begins(onset: Onset, seen: &[(Stage, Timestamp)]) -> Option<Timestamp> {
    match onset {
        Onset::At(at) => Some(at),
        Onset::In { stage, nth, after } => seen.iter().filter(|s| s.0 == stage).nth(nth).map(|s| s.1 + after),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_fault_is_found_by_its_name() {
        for kind in FaultKind::ALL {
            assert_eq!(kind.as_str().parse(), Ok(*kind));
        }
        assert!("gremlins".parse::<FaultKind>().unwrap_err().starts_with("`gremlins` is not a fault"));
    }

    #[test]
    fn a_fault_waits_for_its_stage_and_ends() {
        let alder: MachineId = "alder".parse().unwrap();
        let onset = Onset::In { stage: Stage::Working, nth: 1, after: Span::from_mins(10) };
        let fault = Fault::new(&alder, FaultKind::ColdHold, onset, Span::from_mins(30));
        let mut book = FaultBook::new(&alder, &[fault]);
        let minute = |m: i64| Timestamp::from_millis(m * 60_000);
        book.enter(Stage::Working, minute(0));
        assert_eq!(book.trouble(minute(20)), Trouble::NONE);
        book.enter(Stage::Melting, minute(30));
        book.enter(Stage::Working, minute(40));
        assert_eq!(book.trouble(minute(49)), Trouble::NONE);
        assert_eq!(book.trouble(minute(50)).control_reads_high_by, 1.5);
        assert_eq!(book.trouble(minute(80)), Trouble::NONE);
        assert_eq!(book.happened()[0].to, Some(minute(80)));
    }
}
