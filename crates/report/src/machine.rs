//! A machine as it stands, as other programs see it.

use std::collections::BTreeMap;

use model::{Channel, Lane};
use serde::Serialize;

use crate::{BatchDto, EventDto, FindingDto};

/// One machine as it stands.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MachineDto {
    /// As topics name it.
    pub id: String,
    /// As people call it.
    pub name: String,
    /// `kettle`, `wheel`, `continuous` or `bench`.
    pub style: String,
    /// The contract's word.
    pub phase: &'static str,
    /// Since when.
    pub phase_since: String,
    /// How far its readings have been worked through.
    pub seen_to: String,
    /// Newest value of each channel that has reported.
    pub latest: BTreeMap<&'static str, LatestDto>,
    /// Slope of the chocolate over the last minutes.
    pub slope_c_per_min: Option<f64>,
    /// When it will be ready.
    pub forecast: Option<ForecastDto>,
    /// The batch that is in it.
    pub batch: Option<BatchDto>,
    /// What is open, the most urgent first.
    pub open_findings: Vec<FindingDto>,
    /// Newest temper test of this batch.
    pub last_test: Option<EventDto>,
}

/// The newest value of a channel.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LatestDto {
    /// When it was measured.
    pub at: String,
    /// `null` if the newest reading is missing.
    pub value: Option<f64>,
    /// The unit of `value`; empty for the stirrer.
    pub unit: &'static str,
}

/// When a machine will be ready.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ForecastDto {
    /// When the working range should be reached.
    pub at: String,
    /// Earlier or later by this much, nine times in ten.
    pub give_or_take_minutes: f64,
}

impl MachineDto {
    /// A lane, with what the plant file says of its machine.
    pub fn new(name: &str, style: &str, lane: &Lane) -> MachineDto {
        let latest = Channel::ALL.into_iter().filter_map(|channel| {
            let latest = lane.latest(channel)?;
            let shape = LatestDto { at: latest.at.to_string(), value: latest.value, unit: channel.unit() };
            Some((channel.as_str(), shape))
        });
        MachineDto {
            id: lane.machine.to_string(),
            name: name.to_owned(),
            style: style.to_owned(),
            phase: lane.phase.as_str(),
            phase_since: lane.phase_since.to_string(),
            seen_to: lane.seen_to.to_string(),
            latest: latest.collect(),
            slope_c_per_min: lane.slope_c_per_min,
            forecast: lane.forecast.map(|forecast| ForecastDto {
                at: forecast.at.to_string(),
                give_or_take_minutes: forecast.give_or_take.as_mins_f64(),
            }),
            batch: lane.batch.as_ref().map(BatchDto::from),
            open_findings: lane.open.iter().map(FindingDto::from).collect(),
            last_test: lane.last_test.as_ref().map(EventDto::from),
        }
    }
}
