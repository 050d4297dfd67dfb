//! What a light tower or a display beside a machine is told.

use model::{Lane, Timestamp};
use serde::Serialize;

use crate::FindingDto;

/// The payload of the retained topic `<root>/<machine>/standing`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StandingDto {
    /// As topics name it.
    pub machine: String,
    /// When this was said. What is much older is no longer known: the service or the broker is away.
    pub at: String,
    /// The batch that is in it.
    pub batch: Option<String>,
    /// The contract's word.
    pub phase: &'static str,
    /// What may be done with the batch; `null` where there is none.
    pub standing: Option<&'static str>,
    /// Why it stands so, in words.
    pub reasons: Vec<String>,
    /// What is open, the most urgent first.
    pub open_findings: Vec<FindingDto>,
}

impl StandingDto {
    /// A lane as it stood `at`.
    pub fn new(lane: &Lane, at: Timestamp) -> StandingDto {
        let batch = lane.batch.as_ref();
        StandingDto {
            machine: lane.machine.to_string(),
            at: at.to_string(),
            batch: batch.map(|batch| batch.id.to_string()),
            phase: lane.phase.as_str(),
            standing: batch.map(|batch| batch.standing.as_str()),
            reasons: batch.map(|batch| batch.reasons.clone()).unwrap_or_default(),
            open_findings: lane.open.iter().map(FindingDto::from).collect(),
        }
    }

    /// Does it say anything else than `earlier` did, the moment aside?
    pub fn differs_from(&self, earlier: &StandingDto) -> bool {
        *self != StandingDto { at: self.at.clone(), ..earlier.clone() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample;
    use expect_test::expect;

    #[test]
    fn a_display_is_told_what_may_be_done_and_why() {
        let lane = Lane {
            machine: sample::alder(),
            seen_to: sample::at("13:00"),
            latest: [None; model::Channel::ALL.len()],
            slope_c_per_min: None,
            ten_minutes_ago_c: None,
            phase: model::Phase::Working,
            phase_since: sample::at("07:40"),
            batch: Some(sample::batch()),
            forecast: None,
            open: Vec::new(),
            last_test: None,
            test_due: None,
        };
        let told = StandingDto::new(&lane, sample::at("13:00"));
        assert!(!StandingDto::new(&lane, sample::at("13:05")).differs_from(&told), "later is not other");
        let other = Lane { phase: model::Phase::Idle, ..lane };
        assert!(StandingDto::new(&other, sample::at("13:05")).differs_from(&told));
        expect![[r#"{"machine":"alder","at":"2026-03-02T13:00:00Z","batch":"alder-2026-03-02T04:30","phase":"working","standing":"unproven","reasons":["no temper test"],"open_findings":[]}"#]].assert_eq(&serde_json::to_string(&told).unwrap());
    }
}
