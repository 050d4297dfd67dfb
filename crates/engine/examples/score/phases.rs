//! Phases by time: in how much of it the engine said what was true.
//!
//! Time counts where the machine was heard of lately and its probe hung in the charge, and after the first quarter of an hour of a history that begins in
//! the middle. Outside batches everything is `idle`.

use model::{Batch, Channel, Confidence, Content, Phase, PhaseSpan, Span, Timestamp};
use simulator::{FaultKind, MachineTruth};

use crate::play::{Played, Watched};

/// Time is looked at this often.
pub(crate) const STEP: Span = Span::from_secs(10);
const AFTER_A_LATE_START: Span = Span::from_mins(15);

/// One look: what was true, what was said, how surely.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Look {
    pub(crate) truth: Phase,
    pub(crate) found: Phase,
    pub(crate) confidence: Confidence,
}

pub(crate) fn looks(played: &Played, watched: &Watched) -> Vec<Look> {
    let truth = played.truth_of(&watched.id);
    let found = played.found(&watched.id);
    let late = played.heard_from() > played.case.settings.start;
    let from = played.heard_from() + if late { AFTER_A_LATE_START } else { Span::ZERO };
    let mut heard = heard_at(watched).into_iter().peekable();
    let fresh = Span::from_millis((3_000.0 * truth.instruments.sample_s.max(20.0)) as i64);
    let mut newest: Option<Timestamp> = None;
    let mut looks = Vec::new();
    let mut at = from;
    while at < played.case.until() {
        while let Some(reading) = heard.next_if(|r| *r <= at) {
            newest = Some(reading);
        }
        if newest.is_some_and(|n| at.since(n) <= fresh) && !out_of_charge(truth, at) {
            let (phase, confidence) = found_at(&found.batches, at);
            looks.push(Look { truth: truth.phase_at(at), found: phase, confidence });
        }
        at += STEP;
    }
    looks
}

/// A probe that hangs out of the charge says nothing of its phases.
fn out_of_charge(truth: &MachineTruth, at: Timestamp) -> bool {
    let mut out = truth.faults.iter().filter(|f| f.kind == FaultKind::ProbeOut);
    out.any(|f| f.was_at_work(at, AFTER_A_LATE_START))
}

fn heard_at(watched: &Watched) -> Vec<Timestamp> {
    let mut heard: Vec<Timestamp> = watched
        .arrivals
        .iter()
        .filter_map(|arrival| match &arrival.content {
            Content::Reading(r) if r.channel == Channel::Chocolate && r.value.is_some() => Some(r.at),
            Content::Reading(_) | Content::Event(_) => None,
        })
        .collect();
    heard.sort_unstable();
    heard
}

fn span_at(phases: &[PhaseSpan], at: Timestamp) -> Option<PhaseSpan> {
    phases.iter().copied().find(|s| s.from <= at && s.to.is_none_or(|to| at < to))
}

fn found_at(batches: &[Batch], at: Timestamp) -> (Phase, Confidence) {
    let span = batches.iter().rev().find_map(|b| span_at(&b.phases, at));
    span.map_or((Phase::Idle, Confidence::Medium), |s| (s.phase, s.confidence))
}
