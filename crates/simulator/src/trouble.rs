//! What is wrong with a machine at one moment, as its parts feel it: all faults that are going on, laid together.

use crate::faults::FaultKind;
use crate::network::Line;

/// All that is wrong with a machine at a moment, as its parts feel it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Trouble {
    pub(crate) control_reads_high_by: f64,
    pub(crate) limit_failed: bool,
    pub(crate) coolant_warmer_by: f64,
    pub(crate) exchange: f64,
    pub(crate) cooling: f64,
    pub(crate) filling: f64,
    pub(crate) silent: bool,
    pub(crate) held_back: bool,
    pub(crate) probe: ProbeTrouble,
    pub(crate) probe_out: bool,
    pub(crate) spikes_per_hour: f64,
    pub(crate) ageing_c: f64,
    pub(crate) stirrer_stopped: bool,
    pub(crate) heater: HeaterTrouble,
    pub(crate) seed: SeedTrouble,
    pub(crate) water: f64,
    pub(crate) cooling_stuck: bool,
    pub(crate) overtuned: f64,
    pub(crate) eager: f64,
    pub(crate) room_warmer_by: f64,
    pub(crate) room_damper_by: f64,
    pub(crate) clock_s: f64,
}

/// What the recorded probe gives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum ProbeTrouble {
    Fine,
    Reads(f64),
    Missing,
    Stuck,
}

/// What the heater does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum HeaterTrouble {
    Fine,
    Stuck,
    Dead,
}

/// What people do with the seed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum SeedTrouble {
    Fine,
    Missed,
    Late(f64),
    Little(f64),
}

impl Trouble {
    pub(crate) const NONE: Trouble = Trouble {
        control_reads_high_by: 0.0,
        limit_failed: false,
        coolant_warmer_by: 0.0,
        exchange: 1.0,
        cooling: 1.0,
        filling: 1.0,
        silent: false,
        held_back: false,
        probe: ProbeTrouble::Fine,
        probe_out: false,
        spikes_per_hour: 0.0,
        ageing_c: 0.0,
        stirrer_stopped: false,
        heater: HeaterTrouble::Fine,
        seed: SeedTrouble::Fine,
        water: 1.0,
        cooling_stuck: false,
        overtuned: 1.0,
        eager: 1.0,
        room_warmer_by: 0.0,
        room_damper_by: 0.0,
        clock_s: 0.0,
    };

    /// How the machine's line to the broker stands.
    pub(crate) fn line(&self) -> Line {
        if self.silent {
            Line::Down
        } else if self.held_back {
            Line::HeldBack
        } else {
            Line::Up
        }
    }

    /// Adds a fault of `strength` that began `hours` ago.
    pub(crate) fn add(&mut self, kind: FaultKind, strength: f64, hours: f64) {
        match kind {
            FaultKind::Scorch => {
                self.control_reads_high_by -= strength;
                self.limit_failed = true;
            }
            FaultKind::OverheatedHold | FaultKind::WarmHold => self.control_reads_high_by -= strength,
            FaultKind::ColdHold => self.control_reads_high_by += strength,
            FaultKind::WarmWater => self.coolant_warmer_by += strength,
            FaultKind::FouledJacket => self.exchange *= strength,
            FaultKind::CoolingWeak => self.cooling *= strength,
            FaultKind::Overfilled => self.filling *= strength,
            FaultKind::HoldDrift => self.control_reads_high_by -= strength * hours,
            FaultKind::Silent => self.silent = true,
            FaultKind::LateUpload => self.held_back = true,
            FaultKind::ProbeOpen => self.probe = ProbeTrouble::Reads(strength),
            FaultKind::ProbeMissing => self.probe = ProbeTrouble::Missing,
            FaultKind::ProbeStuck => self.probe = ProbeTrouble::Stuck,
            FaultKind::Spikes => self.spikes_per_hour += strength,
            FaultKind::StirrerStopped => self.stirrer_stopped = true,
            FaultKind::HeaterStuck => self.heater = HeaterTrouble::Stuck,
            FaultKind::HeaterDead => self.heater = HeaterTrouble::Dead,
            FaultKind::SeedMissed => self.seed = SeedTrouble::Missed,
            FaultKind::LateSeed => self.seed = SeedTrouble::Late(strength),
            FaultKind::LittleSeed => self.seed = SeedTrouble::Little(strength),
            FaultKind::Undershoot => {
                self.water *= strength;
                self.cooling_stuck = true;
            }
            FaultKind::Hunting => {
                self.overtuned *= strength;
                self.water *= strength;
            }
            FaultKind::Thickening => self.eager *= strength,
            FaultKind::HotRoom => self.room_warmer_by += strength,
            FaultKind::DampRoom => self.room_damper_by += strength,
            FaultKind::ClockOff => self.clock_s += strength,
            FaultKind::ProbeAgeing => self.ageing_c += strength * hours / 24.0,
            FaultKind::ProbeOut => self.probe_out = true,
            FaultKind::Fouling => self.exchange *= (1.0 - strength * hours / 24.0).max(0.2),
            FaultKind::PowerCut => {
                self.heater = HeaterTrouble::Dead;
                self.stirrer_stopped = true;
                self.cooling = 0.0;
                self.silent = true;
            }
        }
    }
}
