//! The batches of one machine: what is known of the charge in it, its phases, and what becomes of both.

use model::{
    Batch, BatchId, CouvertureId, Event, EventKind, FindingKind, MachineId, Measures, Method, Phase,
    PhaseSpan, Span, Timestamp,
};
use plant::{Limits, Machine};
use serde::{Deserialize, Serialize};

use crate::confidence::weighed;
use crate::history::History;
use crate::measures::{Measured, measure};
use crate::standing::Proof;
use crate::timeline::Timeline;

/// What people or the plant file say of a charge.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Facts {
    pub(crate) couverture: CouvertureId,
    pub(crate) method: Method,
    pub(crate) lot: Option<String>,
    pub(crate) mass_kg: Option<f64>,
}

impl Facts {
    pub(crate) fn of(machine: &Machine) -> Facts {
        Facts { couverture: machine.couverture.clone(), method: machine.method, lot: None, mass_kg: None }
    }

    /// The next charge until somebody says otherwise: the same couverture and method, another lot and mass.
    fn carried_on(&self) -> Facts {
        Facts { lot: None, mass_kg: None, ..self.clone() }
    }
}

/// A batch that goes on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Open {
    id: BatchId,
    start: Timestamp,
    proof: Proof,
    seeded_at: Option<Timestamp>,
    /// What was found in it.
    found: Vec<FindingKind>,
}

/// A batch that has ended.
pub(crate) struct Closed {
    pub(crate) batch: Batch,
    /// What was found in it.
    pub(crate) found: Vec<FindingKind>,
}

/// What figures of a batch are taken from.
pub(crate) struct Source<'a> {
    pub(crate) history: &'a History,
    pub(crate) limits: &'a Limits,
    pub(crate) longest_gap: Span,
    /// How far is known.
    pub(crate) now: Timestamp,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Book {
    machine: MachineId,
    pub(crate) timeline: Timeline,
    facts: Facts,
    /// A charge that was filled in while the old one was still worked with.
    next: Option<Facts>,
    open: Option<Open>,
}

impl Book {
    pub(crate) fn new(machine: &Machine) -> Book {
        Book {
            machine: machine.id.clone(),
            timeline: Timeline::default(),
            facts: Facts::of(machine),
            next: None,
            open: None,
        }
    }

    /// Of the charge that is in the machine.
    pub(crate) fn facts(&self) -> &Facts {
        &self.facts
    }

    /// Of the charge that the next rise will melt.
    pub(crate) fn next_facts(&self) -> &Facts {
        self.next.as_ref().unwrap_or(&self.facts)
    }

    pub(crate) fn open_id(&self) -> Option<&BatchId> {
        self.open.as_ref().map(|open| &open.id)
    }

    /// Is there a batch that began before `at`?
    pub(crate) fn is_open_before(&self, at: Timestamp) -> bool {
        self.open.as_ref().is_some_and(|open| open.start < at)
    }

    /// When somebody reported seed in this batch.
    pub(crate) fn seeded_at(&self) -> Option<Timestamp> {
        self.open.as_ref().and_then(|open| open.seeded_at)
    }

    /// What bears on the standing of the open batch.
    pub(crate) fn proof(&self) -> Option<&Proof> {
        self.open.as_ref().map(|open| &open.proof)
    }

    pub(crate) fn last_test(&self) -> Option<Event> {
        self.open.as_ref().and_then(|open| open.proof.last_test.clone())
    }

    pub(crate) fn event(&mut self, event: &Event, phase: Option<Phase>) {
        if let EventKind::Charge { couverture, lot, mass_kg, method } = &event.kind {
            let before = self.next_facts();
            let charge = Facts {
                couverture: couverture.clone().unwrap_or_else(|| before.couverture.clone()),
                method: method.unwrap_or(before.method),
                lot: lot.clone(),
                mass_kg: *mass_kg,
            };
            match phase {
                // The old charge is being worked with, or used up: this is the next one.
                Some(Phase::Working | Phase::Settling | Phase::Rewarming) => self.next = Some(charge),
                None | Some(Phase::Idle | Phase::Melting | Phase::Soak | Phase::Cooling) => {
                    self.facts = charge;
                    self.next = None;
                }
            }
        }
        if let Some(open) = self.open.as_mut().filter(|open| open.start <= event.at) {
            open.proof.event(event);
            if let EventKind::Seed { .. } = &event.kind {
                open.seeded_at.get_or_insert(event.at);
            }
        }
    }

    pub(crate) fn finding(&mut self, kind: FindingKind, raised_at: Timestamp) {
        if let Some(open) = &mut self.open {
            open.proof.finding(kind, raised_at);
            if !open.found.contains(&kind) {
                open.found.push(kind);
            }
        }
    }

    /// A batch begins with these phases. The one before has been closed.
    pub(crate) fn begin(&mut self, phases: &[(Phase, Timestamp)]) {
        let Some(&(_, start)) = phases.first() else { return };
        self.timeline.clear();
        for &(phase, at) in phases {
            self.timeline.change(phase, at);
        }
        if let Some(next) = self.next.take() {
            self.facts = next;
        }
        let id = BatchId::new(&self.machine, start);
        self.open = Some(Open { id, start, proof: Proof::default(), seeded_at: None, found: Vec::new() });
    }

    /// The open batch ends at `at`; what was written after that belongs to what follows.
    pub(crate) fn close(&mut self, at: Timestamp, source: &Source<'_>) -> Option<Closed> {
        let mut timeline = self.timeline.clone();
        timeline.cut(at);
        let batch = self.batch(timeline.spans(), Some(at), source)?;
        let found = self.open.take().map(|open| open.found).unwrap_or_default();
        let carried = self.facts.carried_on();
        self.facts = carried;
        Some(Closed { batch, found })
    }

    /// The open batch with its figures so far.
    pub(crate) fn open_batch(&self, source: &Source<'_>) -> Option<Batch> {
        self.batch(self.timeline.spans(), None, source)
    }

    /// The open batch without figures.
    pub(crate) fn outline(&self) -> Option<Batch> {
        self.without_figures(self.timeline.spans(), None)
    }

    fn batch(&self, spans: &[PhaseSpan], end: Option<Timestamp>, source: &Source<'_>) -> Option<Batch> {
        let open = self.open.as_ref()?;
        let history = source.history.laid_open(open.start);
        let measured = Measured {
            history: &history,
            phases: spans,
            limits: source.limits,
            seeded_at: open.seeded_at,
            now: source.now,
            longest_gap: source.longest_gap,
        };
        let measures = measure(&measured);
        let tested_at = open.proof.last_test.as_ref().map(|test| test.at);
        let phases = weighed(&measured, &measures, tested_at);
        Some(Batch { phases, measures, ..self.without_figures(spans, end)? })
    }

    fn without_figures(&self, spans: &[PhaseSpan], end: Option<Timestamp>) -> Option<Batch> {
        let open = self.open.as_ref()?;
        let (standing, reasons) = open.proof.standing();
        Some(Batch {
            id: open.id.clone(),
            machine: self.machine.clone(),
            couverture: self.facts.couverture.clone(),
            lot: self.facts.lot.clone(),
            method: self.facts.method,
            mass_kg: self.facts.mass_kg,
            start: open.start,
            end,
            phases: spans.to_vec(),
            measures: Measures::default(),
            standing,
            reasons,
        })
    }
}
