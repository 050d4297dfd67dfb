//! The detectors, one file each, all in the same shape: definition, limits and source at the head; a small state that can be
//! saved; `step`, which takes a moment and says whether something began or ended; tests that are text in, text out.
//!
//! Instrument detectors look at raw readings and go first; what they doubt never reaches a process detector.
//! How to add a finding: DEVELOPERS.md.
//!
//! | asked | when | by |
//! | --- | --- | --- |
//! | instrument detectors | at each chocolate reading or arrival | `machine.rs` |
//! | process detectors | at each tick with chocolate; [`scorch`] at a reading | [`ProcessFindings`] |
//! | what is around the charge: room, stirrer, heater | at each tick | [`around`] |
//! | detectors over batches | when a batch closes | [`over_batches`] |

mod air;
pub(crate) mod around;
pub(crate) mod clock_off;
pub(crate) mod cold_hold;
mod cooling_fade;
mod damp_room;
mod heater_stuck;
pub(crate) mod hold_drift;
mod hot_room;
pub(crate) mod hunting;
pub(crate) mod ledger;
pub(crate) mod long_hold;
pub(crate) mod over_batches;
mod probe_drift;
pub(crate) mod probe_fault;
pub(crate) mod probe_stuck;
pub(crate) mod projection;
pub(crate) mod scorch;
pub(crate) mod seed_missed;
pub(crate) mod silent;
pub(crate) mod slow_cooling;
pub(crate) mod solidifying;
pub(crate) mod spikes;
mod stirrer_stopped;
pub(crate) mod temper_loss;
pub(crate) mod test_due;
pub(crate) mod thickening;
pub(crate) mod undershoot;
pub(crate) mod warm_hold;
mod watch;

use model::{Evidence, EvidenceValue, FindingKind, Forecast, Phase, Priority, Span, Timestamp};
use plant::Limits;
use serde::{Deserialize, Serialize};

use self::projection::Cooling;
use self::scorch::Heat;
use crate::history::History;
use crate::phases::soak_from;
use crate::rise::takes_up_pieces;
use crate::timeline::Timeline;

/// What a process detector sees at a tick that has chocolate.
pub(crate) struct Moment<'a> {
    /// The tick's first moment: what it measured was measured from here on.
    pub(crate) at: Timestamp,
    /// The tick's end: when a live watch knew of it.
    pub(crate) known: Timestamp,
    /// Chocolate of this tick, °C.
    pub(crate) chocolate: f64,
    /// Chocolate over the last seconds, °C.
    pub(crate) level: f64,
    pub(crate) history: &'a History,
    pub(crate) limits: &'a Limits,
    /// The phase by which it is judged: a charge that was switched off before it was worked with is none that could be too cold.
    pub(crate) phase: Phase,
    /// The phase that it is in.
    pub(crate) charge_is: Phase,
    pub(crate) phase_since: Timestamp,
    /// Something is missing between the last tick and this one: what happened there is unknown.
    pub(crate) gap: bool,
    /// A rise that may be a rise to melt: process findings wait for the decision (contract, section 6).
    pub(crate) rise_held: bool,
    /// Cold pieces of the next charge may be what makes it cold: to say that it stands cold has to wait.
    pub(crate) cold_held: bool,
    /// Newest set-point, °C.
    pub(crate) setpoint: Option<f64>,
    /// Newest set-point change or top-up.
    pub(crate) disturbed_at: Option<Timestamp>,
    /// While it cools, the usual length of the cooling, if anything is known of it.
    pub(crate) usual_cooling_min: Option<f64>,
    /// The soak was seen before the cooling.
    pub(crate) cooling_seen_whole: bool,
    /// The method adds seed while it cools.
    pub(crate) seeded: bool,
    /// The method comes down from a melt; partial melt comes from below.
    pub(crate) has_way_down: bool,
    /// When somebody reported seed in this batch.
    pub(crate) seeded_at: Option<Timestamp>,
    /// Newest top-up of this batch.
    pub(crate) topped_up_at: Option<Timestamp>,
    /// Newest temper tests of this batch.
    pub(crate) tests: Tests,
    /// Newest value of the stirrer, 0, 1 or 1/min.
    pub(crate) stirrer: Option<f64>,
    /// What its motor takes in this tick, A.
    pub(crate) motor: Option<f64>,
    /// The phases so far.
    pub(crate) timeline: &'a Timeline,
    /// How far apart two readings may be before something is missing between them.
    pub(crate) longest_gap: Span,
    /// How far apart they usually are.
    pub(crate) spacing: Span,
    /// The display's step, °C; 0 while it is not known.
    pub(crate) grain: f64,
    /// Its logger tells what has moved: while nothing came, nothing did.
    pub(crate) on_change: bool,
}

impl<'a> Moment<'a> {
    /// For a projection, while it cools.
    fn cooling(&self) -> Cooling<'a> {
        Cooling {
            at: self.at,
            known: self.known,
            since: self.phase_since,
            level: self.level,
            history: self.history,
            limits: self.limits,
            seeded: self.seeded,
        }
    }

    /// Its set-point is that of a melt: what is cold in it was only just filled in, and what falls was too hot.
    fn is_asked_to_melt(&self) -> bool {
        self.setpoint.is_some_and(|setpoint| setpoint >= soak_from(self.limits))
    }

    /// The same, and it may be cold pieces that make it cold: they were filled in lately, or are being brought up. Without power a charge gets cold,
    /// too, whatever is asked for.
    fn may_melt_pieces(&self) -> bool {
        let cooling = self.timeline.last_of(Phase::Cooling).map(|span| span.from);
        self.is_asked_to_melt() && takes_up_pieces(self.at, self.disturbed_at.max(cooling), self.history)
    }
}

/// Newest temper tests of a batch.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Tests {
    /// Of any result.
    pub(crate) made_at: Option<Timestamp>,
    /// With a good result.
    pub(crate) passed_at: Option<Timestamp>,
}

/// What a detector says of a moment.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Verdict {
    /// Nothing new.
    Quiet,
    /// Something began.
    Raise(Box<Report>),
    /// What is open is worse than thought.
    Worse { priority: Priority, says: String },
    /// What was open is over since then.
    Over(Timestamp),
}

/// Everything that a new finding says.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Report {
    pub(crate) kind: FindingKind,
    pub(crate) priority: Priority,
    pub(crate) from: Timestamp,
    pub(crate) raised_at: Timestamp,
    pub(crate) says: String,
    pub(crate) evidence: Vec<Evidence>,
    pub(crate) advice: &'static str,
}

impl Report {
    pub(crate) fn raise(self) -> Verdict {
        Verdict::Raise(Box::new(self))
    }
}

/// A number that convinced a detector; the unit stands at the end of its name.
pub(crate) fn number(name: &str, value: f64) -> Evidence {
    Evidence { name: name.to_owned(), value: EvidenceValue::Number((value * 1000.0).round() / 1000.0) }
}

/// A word that convinced a detector.
pub(crate) fn text(name: &str, value: &str) -> Evidence {
    Evidence { name: name.to_owned(), value: EvidenceValue::Text(value.to_owned()) }
}

/// What detectors said, in the order in which they were asked; nothing new is not written down.
#[derive(Debug, Default)]
pub(crate) struct Told(pub(crate) Vec<(FindingKind, Verdict)>);

impl Told {
    pub(crate) fn note(&mut self, kind: FindingKind, verdict: Verdict) {
        if verdict != Verdict::Quiet {
            self.0.push((kind, verdict));
        }
    }
}

/// The process detectors of one machine, in the order in which they are asked.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct ProcessFindings {
    scorch: scorch::Scorch,
    temper_loss: temper_loss::TemperLoss,
    warm_hold: warm_hold::WarmHold,
    cold_hold: cold_hold::ColdHold,
    slow_cooling: slow_cooling::SlowCooling,
    hold_drift: hold_drift::HoldDrift,
    undershoot: undershoot::Undershoot,
    solidifying: solidifying::Solidifying,
    seed_missed: seed_missed::SeedMissed,
    hunting: hunting::Hunting,
    thickening: thickening::Thickening,
    long_hold: long_hold::LongHold,
    test_due: test_due::TestDue,
}

impl ProcessFindings {
    /// Takes a chocolate reading that nothing is wrong with, for what a tick is too coarse for.
    pub(crate) fn note_reading(&mut self, at: Timestamp, value: f64, heat: Heat) -> Verdict {
        self.scorch.note_reading(at, value, heat)
    }

    /// Would [`ProcessFindings::note_reading`] change nothing?
    #[inline]
    pub(crate) fn ignores(&self, value: f64) -> bool {
        self.scorch.ignores(value)
    }

    /// Asks every detector.
    pub(crate) fn step(&mut self, moment: &Moment<'_>, told: &mut Told) {
        told.note(FindingKind::Scorch, self.scorch.step(moment));
        told.note(FindingKind::TemperLoss, self.temper_loss.step(moment));
        let lost = self.temper_loss.is_open();
        told.note(FindingKind::WarmHold, self.warm_hold.step(moment, lost));
        told.note(FindingKind::Solidifying, self.solidifying.step(moment));
        let setting = self.solidifying.is_open();
        told.note(FindingKind::Undershoot, self.undershoot.step(moment, setting));
        told.note(FindingKind::ColdHold, self.cold_hold.step(moment, setting));
        told.note(FindingKind::SlowCooling, self.slow_cooling.step(moment));
        told.note(FindingKind::SeedMissed, self.seed_missed.step(moment));
        let out_of_range = lost || setting || self.warm_hold.is_open() || self.cold_hold.is_open();
        told.note(FindingKind::HoldDrift, self.hold_drift.step(moment, out_of_range || moment.cold_held));
        told.note(FindingKind::Hunting, self.hunting.step(moment));
        told.note(FindingKind::Thickening, self.thickening.step(moment));
        told.note(FindingKind::LongHold, self.long_hold.step(moment));
        for (kind, verdict) in &told.0 {
            if let Verdict::Raise(report) = verdict {
                self.test_due.note(*kind, report.raised_at);
            }
        }
        told.note(FindingKind::TestDue, self.test_due.step(moment));
    }

    /// Time has passed up to `now`, with these tests of the batch, before anything that happened then is looked at.
    pub(crate) fn let_pass(&mut self, now: Timestamp, tests: Tests, told: &mut Told) {
        told.note(FindingKind::LongHold, self.long_hold.let_pass(now, tests));
        told.note(FindingKind::TestDue, self.test_due.let_pass(now, tests));
    }

    /// When a cooling charge should be ready; `cooling`: how it stood at a moment.
    pub(crate) fn forecast<'a>(
        &self,
        cooling: impl FnOnce(Timestamp) -> Option<Cooling<'a>>,
    ) -> Option<Forecast> {
        self.slow_cooling.forecast(cooling)
    }
}

#[cfg(test)]
pub(crate) mod testing;
