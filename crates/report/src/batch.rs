//! A batch as other programs see it.

use model::{Batch, Event, Finding, Measures, PhaseSpan, TauAgainst};
use serde::Serialize;

use crate::{CorrectionsDto, EventDto, FindingDto, KeptDto};

/// A batch, in the order of keys of the contract.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BatchDto {
    /// Machine and start in UTC minutes.
    pub id: String,
    /// What was in it.
    pub couverture: String,
    /// Of which lot, if told.
    pub lot: Option<String>,
    /// The contract's word.
    pub method: &'static str,
    /// Start of the rise into the melt range.
    pub start: String,
    /// `null` while it goes on.
    pub end: Option<String>,
    /// Without gaps, in order.
    pub phases: Vec<PhaseDto>,
    /// Its figures.
    pub measures: MeasuresDto,
    /// `in-temper`, `doubtful`, `off-temper` or `unproven`.
    pub standing: &'static str,
    /// Why it stands so.
    pub reasons: Vec<String>,
    /// The machine that held it.
    pub machine: String,
    /// How much, if told, kg.
    pub mass_kg: Option<f64>,
}

/// A phase and when it was.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PhaseDto {
    /// The contract's word.
    pub phase: &'static str,
    /// Its first moment.
    pub from: String,
    /// The moment after its last; `null` while it goes on.
    pub to: Option<String>,
    /// How much speaks for it: `low`, `medium` or `high`.
    pub confidence: &'static str,
}

/// The figures of a batch; what could not be measured is `null`.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
#[expect(
    missing_docs,
    reason = "the contract, section 7, and `model::Measures` say what each is; the names carry the units"
)]
pub struct MeasuresDto {
    pub soak_max_c: Option<f64>,
    pub cooling_minutes: Option<f64>,
    pub cooling_tau_min: Option<f64>,
    pub lowest_c: Option<f64>,
    pub seed_dip_c: Option<f64>,
    pub settled_c: Option<f64>,
    pub working_minutes: Option<f64>,
    pub working_mean_c: Option<f64>,
    pub working_sd_c: Option<f64>,
    pub drift_c_per_h: Option<f64>,
    pub above_loss_c_min: Option<f64>,
    pub cooling_tau_against: Option<&'static str>,
    pub unknown_minutes: Option<f64>,
}

/// A batch with everything that belongs to it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BatchReportDto {
    /// The batch itself.
    #[serde(flatten)]
    pub batch: BatchDto,
    /// The statement in words, a paragraph each.
    pub statement: Vec<String>,
    /// Its findings, in the order in which they were raised.
    pub findings: Vec<FindingDto>,
    /// What people reported, in the order of time.
    pub events: Vec<EventDto>,
    /// Decisions, what is in question, lots.
    #[serde(flatten)]
    pub kept: KeptDto,
    /// What people said of its phases, where they did: `phases` above are as they said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub corrections: Option<CorrectionsDto>,
}

impl BatchReportDto {
    /// Gathers a batch and what belongs to it.
    pub fn new(
        batch: &Batch,
        statement: Vec<String>,
        findings: &[Finding],
        events: &[Event],
    ) -> BatchReportDto {
        BatchReportDto {
            batch: BatchDto::from(batch),
            statement,
            findings: findings.iter().map(FindingDto::from).collect(),
            events: events.iter().map(EventDto::from).collect(),
            kept: KeptDto::default(),
            corrections: None,
        }
    }

    /// With what people keep of it.
    #[must_use]
    pub fn kept(self, kept: KeptDto) -> BatchReportDto {
        BatchReportDto { kept, ..self }
    }

    /// With what people said of its phases.
    #[must_use]
    pub fn corrected(self, corrections: Option<CorrectionsDto>) -> BatchReportDto {
        BatchReportDto { corrections, ..self }
    }
}

impl From<&Batch> for BatchDto {
    fn from(batch: &Batch) -> BatchDto {
        BatchDto {
            id: batch.id.to_string(),
            couverture: batch.couverture.to_string(),
            lot: batch.lot.clone(),
            method: batch.method.as_str(),
            start: batch.start.to_string(),
            end: batch.end.map(|end| end.to_string()),
            phases: batch.phases.iter().map(PhaseDto::from).collect(),
            measures: MeasuresDto::from(&batch.measures),
            standing: batch.standing.as_str(),
            reasons: batch.reasons.clone(),
            machine: batch.machine.to_string(),
            mass_kg: batch.mass_kg,
        }
    }
}

impl From<&PhaseSpan> for PhaseDto {
    fn from(span: &PhaseSpan) -> PhaseDto {
        PhaseDto {
            phase: span.phase.as_str(),
            from: span.from.to_string(),
            to: span.to.map(|to| to.to_string()),
            confidence: span.confidence.as_str(),
        }
    }
}

impl From<&Measures> for MeasuresDto {
    fn from(measures: &Measures) -> MeasuresDto {
        let known = |value: Option<f64>| value.filter(|value| value.is_finite()).map(rounded);
        MeasuresDto {
            soak_max_c: known(measures.soak_max_c),
            cooling_minutes: known(measures.cooling_minutes),
            cooling_tau_min: known(measures.cooling_tau_min),
            lowest_c: known(measures.lowest_c),
            seed_dip_c: known(measures.seed_dip_c),
            settled_c: known(measures.settled_c),
            working_minutes: known(measures.working_minutes),
            working_mean_c: known(measures.working_mean_c),
            working_sd_c: known(measures.working_sd_c),
            drift_c_per_h: known(measures.drift_c_per_h),
            above_loss_c_min: known(measures.above_loss_c_min),
            cooling_tau_against: measures.cooling_tau_against.map(|against| match against {
                TauAgainst::Jacket => "jacket",
                TauAgainst::FittedAsymptote => "fitted-asymptote",
            }),
            unknown_minutes: known(measures.unknown_minutes),
        }
    }
}

/// To four decimals: finer than any probe, and free of the digits that binary fractions bring along.
fn rounded(value: f64) -> f64 {
    (value * 1e4).round() / 1e4
}
