//! A finding as other programs see it.

use std::collections::BTreeMap;

use model::{Evidence, EvidenceValue, Finding};
use serde::Serialize;

/// A finding, in the order of keys of the contract.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FindingDto {
    /// Its id.
    pub id: String,
    /// The batch that was in the machine.
    pub batch: Option<String>,
    /// The contract's word.
    pub kind: &'static str,
    /// `low`, `medium` or `high`.
    pub priority: &'static str,
    /// When the trouble began.
    pub from: String,
    /// When it was over.
    pub to: Option<String>,
    /// When a live watch raised it.
    pub raised_at: String,
    /// What is the matter, in one sentence.
    pub says: String,
    /// What convinced the detector, by name.
    pub evidence: BTreeMap<String, ValueDto>,
    /// What to do, in one sentence.
    pub advice: String,
    /// The machine; `null` for a finding of the plant.
    pub machine: Option<String>,
    /// The worse finding that took this one over.
    pub superseded_by: Option<String>,
}

/// A number, a text, or a time as text.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub enum ValueDto {
    /// In the unit that its name ends with; `null` if it is not finite.
    Number(f64),
    /// A word, a sentence, or an RFC 3339 time.
    Text(String),
}

impl From<&Finding> for FindingDto {
    fn from(finding: &Finding) -> FindingDto {
        let value = |Evidence { name, value }: &Evidence| (name.clone(), ValueDto::from(value));
        FindingDto {
            id: finding.id.to_string(),
            batch: finding.batch.as_ref().map(ToString::to_string),
            kind: finding.kind.as_str(),
            priority: finding.priority.as_str(),
            from: finding.from.to_string(),
            to: finding.to.map(|to| to.to_string()),
            raised_at: finding.raised_at.to_string(),
            says: finding.says.clone(),
            evidence: finding.evidence.iter().map(value).collect(),
            advice: finding.advice.clone(),
            machine: finding.machine.as_ref().map(ToString::to_string),
            superseded_by: finding.superseded_by.as_ref().map(ToString::to_string),
        }
    }
}

impl From<&EvidenceValue> for ValueDto {
    fn from(value: &EvidenceValue) -> ValueDto {
        match value {
            EvidenceValue::Number(number) => ValueDto::Number(*number),
            EvidenceValue::Text(text) => ValueDto::Text(text.clone()),
            EvidenceValue::Time(at) => ValueDto::Text(at.to_string()),
        }
    }
}
