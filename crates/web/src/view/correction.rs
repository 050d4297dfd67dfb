//! What people said of a batch's phases, and what the program had found.

use model::{Batch, PhaseCorrection};
use serde::Serialize;

use super::batch::PhaseRow;
use super::{Moment, Scene};

/// Corrections of one batch, oldest first, with the program's own phases.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct CorrectionsView {
    pub said: Vec<SaidView>,
    pub own: Vec<PhaseRow>,
}

/// One of them.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct SaidView {
    pub phase: &'static str,
    pub from: Moment,
    /// `None` for the rest of the batch.
    pub to: Option<Moment>,
    pub by: String,
    pub at: Moment,
    pub reason: String,
}

impl CorrectionsView {
    /// `None` where nobody said anything.
    pub(crate) fn new(scene: Scene<'_>, own: &Batch, said: &[PhaseCorrection]) -> Option<CorrectionsView> {
        let view = |said: &PhaseCorrection| SaidView {
            phase: said.phase.as_str(),
            from: scene.moment(said.from),
            to: said.to.map(|to| scene.moment(to)),
            by: said.by.clone(),
            at: scene.moment(said.at),
            reason: said.reason.clone(),
        };
        (!said.is_empty()).then(|| CorrectionsView {
            said: said.iter().map(view).collect(),
            own: PhaseRow::all(scene, own),
        })
    }
}
