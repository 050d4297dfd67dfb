//! The analysis document: everything that recorded streams say, in one JSON object.
//!
//! Keys and their order are the contract's (section 7); ours stand behind them. It is written from plain facts, not
//! from the engine's types, so that this crate need not know who worked them out.

use std::collections::BTreeMap;

use model::{Batch, Channel, Event, Finding, MachineId, Timestamp};
use serde::Serialize;

use crate::{BatchDto, FindingDto};

/// Name and version of the document.
pub const SCHEMA: &str = "halfdegree.analysis/1";

/// What an analysis found, before it is put into a shape.
#[derive(Debug, Clone)]
pub struct Analysed<'a> {
    /// Name of the plant.
    pub plant: &'a str,
    /// First and last moment that a reading or event speaks of.
    pub span: Option<(Timestamp, Timestamp)>,
    /// How much came in.
    pub intake: IntakeDto,
    /// In the order of the plant file.
    pub machines: Vec<AnalysedMachine<'a>>,
    /// Findings of the plant as a whole.
    pub plant_findings: &'a [Finding],
}

/// What an analysis found about one machine.
#[derive(Debug, Clone)]
pub struct AnalysedMachine<'a> {
    /// Which machine.
    pub id: &'a MachineId,
    /// As people call it.
    pub name: &'a str,
    /// Share of the recording's time of which each channel is known.
    pub coverage: &'a [(Channel, f64)],
    /// In the order of their start.
    pub batches: &'a [Batch],
    /// In the order in which they were raised.
    pub findings: &'a [Finding],
    /// What people reported; `None` where it is not at hand.
    pub events: Option<&'a [Event]>,
}

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AnalysisDocument {
    /// [`SCHEMA`].
    pub schema: &'static str,
    /// Name of the plant.
    pub plant: String,
    /// First moment that a reading or event speaks of; `null` if there is none.
    pub from: Option<String>,
    /// Last such moment.
    pub to: Option<String>,
    /// How much came in.
    pub intake: IntakeDto,
    /// In the order of the plant file.
    pub machines: Vec<MachineAnalysisDto>,
    /// Findings of the plant as a whole.
    pub plant_findings: Vec<FindingDto>,
}

/// How much came in.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
pub struct IntakeDto {
    /// Messages read.
    pub messages: u64,
    /// Readings, each machine, channel and time once.
    pub readings: u64,
    /// Readings that had been there already.
    pub duplicates: u64,
    /// Lines and payloads that could not be read.
    pub rejected: u64,
}

/// What the streams say of one machine.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MachineAnalysisDto {
    /// As topics name it.
    pub id: String,
    /// Share of the time of which each channel is known.
    pub coverage: BTreeMap<&'static str, f64>,
    /// In the order of their start.
    pub batches: Vec<BatchDto>,
    /// In the order in which they were raised.
    pub findings: Vec<FindingDto>,
    /// As people call it.
    pub name: String,
}

impl From<&Analysed<'_>> for AnalysisDocument {
    fn from(analysed: &Analysed<'_>) -> AnalysisDocument {
        AnalysisDocument {
            schema: SCHEMA,
            plant: analysed.plant.to_owned(),
            from: analysed.span.map(|(from, _)| from.to_string()),
            to: analysed.span.map(|(_, to)| to.to_string()),
            intake: analysed.intake,
            machines: analysed.machines.iter().map(MachineAnalysisDto::from).collect(),
            plant_findings: analysed.plant_findings.iter().map(FindingDto::from).collect(),
        }
    }
}

impl From<&AnalysedMachine<'_>> for MachineAnalysisDto {
    fn from(machine: &AnalysedMachine<'_>) -> MachineAnalysisDto {
        let share = |(channel, share): &(Channel, f64)| (channel.as_str(), (share * 1e4).round() / 1e4);
        MachineAnalysisDto {
            id: machine.id.to_string(),
            coverage: machine.coverage.iter().map(share).collect(),
            batches: machine.batches.iter().map(BatchDto::from).collect(),
            findings: machine.findings.iter().map(FindingDto::from).collect(),
            name: machine.name.to_owned(),
        }
    }
}

#[cfg(test)]
mod tests;
