//! The batches of one machine: what is known of the charge in it, its phases, and what becomes of both.

use model::{
    Batch, BatchId, CouvertureId, Event, EventKind, FindingKind, MachineId, Measures, Method, Phase,
    PhaseSpan, Span, Timestamp,
};
use plant::{Limits, Machine};
use serde::{Deserialize, Serialize};

use crate::bounded::remember;
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
    /// What people told of it, the newest of it; what came behind its end does not count when it closes.
    told: Vec<Event>,
    /// What was found in it, the newest of it, and when.
    found: Vec<(FindingKind, Timestamp)>,
}

/// More is told and found of no charge that somebody works with.
const MOST_TOLD: usize = 500;
/// Figures look no further back than this before their batch: what the jacket was, where it is told seldom.
const BEFORE: Span = Span::from_hours(1);

impl Open {
    fn new(id: BatchId, start: Timestamp) -> Open {
        Open { id, start, proof: Proof::default(), told: Vec::new(), found: Vec::new() }
    }

    fn tell(&mut self, event: &Event) {
        match event.kind {
            EventKind::Seed { .. } | EventKind::TopUp { .. } | EventKind::TemperTest(_) => {
                self.proof.event(event);
                remember(&mut self.told, event.clone(), MOST_TOLD);
            }
            EventKind::Charge { .. }
            | EventKind::Reference { .. }
            | EventKind::Note { .. }
            | EventKind::End => {}
        }
    }

    fn find(&mut self, kind: FindingKind, raised_at: Timestamp) {
        self.proof.finding(kind, raised_at);
        remember(&mut self.found, (kind, raised_at), MOST_TOLD);
    }

    fn seeded_at(&self) -> Option<Timestamp> {
        let is_seed = |event: &&Event| matches!(event.kind, EventKind::Seed { .. });
        self.told.iter().filter(is_seed).map(|event| event.at).min()
    }

    /// It ended at `at`: gives what belongs to the batch that begins then.
    fn split_off(&mut self, at: Timestamp, id: BatchId) -> Open {
        let mut next = Open::new(id, at);
        self.proof = Proof::default();
        for event in std::mem::take(&mut self.told) {
            if event.at < at { self.tell(&event) } else { next.tell(&event) }
        }
        for (kind, raised_at) in std::mem::take(&mut self.found) {
            if raised_at < at { self.find(kind, raised_at) } else { next.find(kind, raised_at) }
        }
        next
    }
}

/// A batch that has ended.
pub(crate) struct Closed {
    pub(crate) batch: Batch,
    /// What was found in it.
    pub(crate) found: Vec<FindingKind>,
}

/// Is it a hold that goes wrong? Raised while the charge was already rising to its next melt, it says nothing of the course of that next batch.
fn is_of_a_hold(kind: FindingKind) -> bool {
    matches!(
        kind,
        FindingKind::TemperLoss
            | FindingKind::WarmHold
            | FindingKind::ColdHold
            | FindingKind::HoldDrift
            | FindingKind::Hunting
    )
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
    /// When the newest charge was filled in that anybody told of.
    charged_at: Option<Timestamp>,
    /// A charge that was filled in from here on was not that of the batch that has ended last.
    others_from: Option<Timestamp>,
    /// When the batch before ended.
    ended: Option<Timestamp>,
}

impl Book {
    pub(crate) fn new(machine: &Machine) -> Book {
        Book {
            machine: machine.id.clone(),
            timeline: Timeline::default(),
            facts: Facts::of(machine),
            next: None,
            open: None,
            charged_at: None,
            others_from: None,
            ended: None,
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
        self.open.as_ref().and_then(Open::seeded_at)
    }

    /// What bears on the standing of the open batch.
    pub(crate) fn proof(&self) -> Option<&Proof> {
        self.open.as_ref().map(|open| &open.proof)
    }

    pub(crate) fn last_test(&self) -> Option<Event> {
        self.open.as_ref().and_then(|open| open.proof.last_test.clone())
    }

    /// `phase` is the one that the machine is in.
    pub(crate) fn event(&mut self, event: &Event, phase: Option<Phase>) {
        if let EventKind::Charge { couverture, lot, mass_kg, method } = &event.kind {
            let before = self.next_facts();
            let charge = Facts {
                couverture: couverture.clone().unwrap_or_else(|| before.couverture.clone()),
                method: method.unwrap_or(before.method),
                lot: lot.clone(),
                mass_kg: *mass_kg,
            };
            self.charge(charge, event.at, phase);
        }
        if let Some(open) = self.open.as_mut().filter(|open| open.start <= event.at) {
            open.tell(event);
        }
    }

    /// What is said of a charge that was filled in at `at`, whenever that is said: of the one in the machine, of the next, or of one that is gone.
    fn charge(&mut self, charge: Facts, at: Timestamp, phase: Option<Phase>) {
        if self.charged_at.is_some_and(|newest| at < newest) {
            return;
        }
        let phase = match &self.open {
            Some(open) if at < open.start => {
                if self.others_from.is_some_and(|from| at < from) {
                    return;
                }
                None
            }
            Some(_) => self.timeline.at(at).or(phase),
            None => phase,
        };
        self.charged_at = Some(at);
        match phase {
            // The old charge is being worked with, or used up: this is the next one.
            Some(Phase::Working | Phase::Settling | Phase::Rewarming) => self.next = Some(charge),
            None | Some(Phase::Idle | Phase::Melting | Phase::Soak | Phase::Cooling) => {
                self.facts = charge;
                self.next = None;
            }
        }
    }

    /// It is `at` again: nothing that is known of the charge can be later.
    pub(crate) fn turn_back(&mut self, at: Timestamp) {
        self.timeline.turn_back(at);
        if let Some(open) = &mut self.open {
            open.start = open.start.min(at);
        }
        for told in [&mut self.charged_at, &mut self.others_from, &mut self.ended] {
            *told = told.map(|told| told.min(at));
        }
    }

    pub(crate) fn finding(&mut self, kind: FindingKind, raised_at: Timestamp) {
        if let Some(open) = &mut self.open {
            open.find(kind, raised_at);
        }
    }

    /// Was `at` before the end of the batch that has ended last?
    pub(crate) fn ended_after(&self, at: Timestamp) -> bool {
        self.ended.is_some_and(|ended| at < ended)
    }

    /// Had the open batch begun by `at`?
    pub(crate) fn is_open_at(&self, at: Timestamp) -> bool {
        self.open.as_ref().is_some_and(|open| open.start <= at)
    }

    /// A batch goes through these phases from the first of them on; the one before ends there. One that seemed to begin in that very rise was none.
    pub(crate) fn begin(&mut self, phases: &[(Phase, Timestamp)], source: &Source<'_>) -> Option<Closed> {
        let &(_, start) = phases.first()?;
        let id = BatchId::new(&self.machine, start);
        let next = match &mut self.open {
            Some(open) => open.split_off(start, id),
            None => Open::new(id, start),
        };
        self.open.take_if(|open| start <= open.start);
        let closed = self.close(start, source);
        self.timeline.clear();
        for &(phase, at) in phases {
            self.timeline.change(phase, at);
        }
        if let Some(next) = self.next.take() {
            self.facts = next;
        }
        self.open = Some(next);
        closed
    }

    /// The open batch ends at `at`; what was written after that belongs to what follows.
    pub(crate) fn close(&mut self, at: Timestamp, source: &Source<'_>) -> Option<Closed> {
        let mut timeline = self.timeline.clone();
        timeline.cut(at);
        let batch = self.batch(timeline.spans(), Some(at), source)?;
        let found = self.open.take().map(|open| open.found).unwrap_or_default();
        let carried = self.facts.carried_on();
        self.facts = carried;
        let holds = |span: &&PhaseSpan| !matches!(span.phase, Phase::Melting | Phase::Soak | Phase::Cooling);
        self.others_from = Some(timeline.spans().iter().find(holds).map_or(at, |span| span.from));
        self.ended = Some(at);
        let melted =
            timeline.spans().iter().find(|span| span.phase != Phase::Melting).map_or(at, |span| span.from);
        let found =
            found.into_iter().filter(|(kind, raised_at)| melted <= *raised_at || !is_of_a_hold(*kind));
        Some(Closed { batch, found: found.map(|(kind, _)| kind).collect() })
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
        let history = source.history.laid_open(open.start - BEFORE);
        let measured = Measured {
            history: &history,
            phases: spans,
            limits: source.limits,
            seeded_at: open.seeded_at(),
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
        let (standing, reasons) = open.proof.standing(spans);
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
