//! The detectors are asked at a tick, and what they say is written down.

use frames::Tick;
use model::{Channel, FindingKind, Method, Phase};
use plant::Limits;

use super::{MachineWatch, Setting};
use crate::findings::around::Around;
use crate::findings::solidifying::SETS_BELOW_FLOOR;
use crate::findings::{Moment, Told, Verdict};
use crate::phases::IDLE_BELOW;
use crate::rise::{Reason, takes_up_pieces};
use crate::standing::Proof;

impl MachineWatch {
    /// The phase whose findings are looked for.
    pub(super) fn phase_watched(&self) -> Phase {
        self.tracker.phase_watched(|| self.history.level(self.last_chocolate?))
    }

    /// After a set-point below 26 °C no temperature finding is raised (contract, section 5), also of a charge that is not idle by that. The low point of a
    /// milk or white couverture may be asked for by such a one: it is not so far below the floor that the charge would set.
    fn is_switched_off(&self, limits: &Limits) -> bool {
        let off_below = IDLE_BELOW.min(limits.floor - SETS_BELOW_FLOOR);
        self.setpoint.is_some_and(|setpoint| setpoint < off_below)
    }

    /// Asks the process detectors.
    pub(super) fn look(
        &mut self,
        setting: &Setting<'_>,
        tick: &Tick,
        level: f64,
        limits: &Limits,
        gap: bool,
    ) {
        let Some(chocolate) = tick.chocolate() else { return };
        let charge_is = self.phase_watched();
        let phase = if self.is_switched_off(limits) { Phase::Idle } else { charge_is };
        let reason = match self.tracker.charged_at() {
            Some(_) => Reason::Charge,
            None if self.setpoint.is_none() && !self.events_seen => Reason::Unknown,
            None => Reason::None,
        };
        let facts = self.book.facts();
        let moment = Moment {
            at: tick.at,
            known: tick.at + self.sieve.step(),
            chocolate,
            level,
            history: &self.history,
            limits,
            phase,
            charge_is,
            phase_since: self.book.timeline.last_of(phase).map_or(tick.at, |span| span.from),
            gap,
            rise_held: self.rise.step(tick.at, phase, reason, &self.history, &self.pace),
            cold_held: takes_up_pieces(tick.at, self.tracker.charged_at(), &self.history),
            setpoint: self.setpoint,
            disturbed_at: self.disturbed_at,
            usual_cooling_min: (phase == Phase::Cooling)
                .then(|| self.baselines.cooling_minutes(setting.machine, &facts.couverture, facts.mass_kg))
                .flatten(),
            cooling_seen_whole: self.book.timeline.last_of(Phase::Soak).is_some(),
            seeded: facts.method == Method::Seed,
            has_way_down: facts.method != Method::PartialMelt,
            seeded_at: self.book.seeded_at(),
            topped_up_at: self.book.proof().and_then(Proof::topped_up_at),
            tests: self.tests(),
            stirrer: tick.other(Channel::Stirrer),
            motor: tick.other(Channel::Motor),
            timeline: &self.book.timeline,
            longest_gap: self.longest_gap(),
            spacing: self.pace.of_readings(1),
            grain: self.pace.grain(),
            on_change: self.pace.is_on_change(),
        };
        let mut told = Told::default();
        self.process.step(&moment, &mut told);
        self.enter_all(told);
    }

    /// Asks the detectors of the surroundings.
    pub(super) fn look_around(&mut self, tick: &Tick) {
        let around = Around {
            at: tick.at,
            known: tick.at + self.sieve.step(),
            tick,
            history: &self.history,
            phase: self.tracker.phase(),
            setpoint: self.setpoint,
        };
        let mut told = Told::default();
        self.around.step(&around, &mut told);
        self.enter_all(told);
    }

    pub(super) fn enter_all(&mut self, told: Told) {
        for (kind, verdict) in told.0 {
            self.enter(kind, verdict);
        }
    }

    pub(super) fn enter(&mut self, kind: FindingKind, verdict: Verdict) {
        if let Verdict::Raise(report) = &verdict
            && !self.ledger.is_covered(kind)
        {
            self.book.finding(kind, report.raised_at);
        }
        self.ledger.enter(kind, verdict, self.book.open_id());
    }
}
