//! What people said of a batch's phases, as other programs see it, with the program's own phases beside it.

use model::{Batch, PhaseCorrection};
use serde::Serialize;

use crate::batch::PhaseDto;

/// A person's word on a phase.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CorrectionDto {
    /// The contract's word.
    pub phase: &'static str,
    /// Its first moment.
    pub from: String,
    /// The moment after its last; `null` for the rest of the batch.
    pub to: Option<String>,
    /// Who says so.
    pub by: String,
    /// When it was said.
    pub at: String,
    /// Why.
    pub reason: String,
}

/// What people said, and what the program had found.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CorrectionsDto {
    /// In the order in which they were made; a later one overrides an earlier one.
    pub said: Vec<CorrectionDto>,
    /// The program's own phases.
    pub own_phases: Vec<PhaseDto>,
}

impl CorrectionsDto {
    /// `None` where nobody said anything.
    pub fn new(own: &Batch, said: &[PhaseCorrection]) -> Option<CorrectionsDto> {
        (!said.is_empty()).then(|| CorrectionsDto {
            said: said.iter().map(CorrectionDto::from).collect(),
            own_phases: own.phases.iter().map(PhaseDto::from).collect(),
        })
    }
}

impl From<&PhaseCorrection> for CorrectionDto {
    fn from(correction: &PhaseCorrection) -> CorrectionDto {
        CorrectionDto {
            phase: correction.phase.as_str(),
            from: correction.from.to_string(),
            to: correction.to.map(|to| to.to_string()),
            by: correction.by.clone(),
            at: correction.at.to_string(),
            reason: correction.reason.clone(),
        }
    }
}
