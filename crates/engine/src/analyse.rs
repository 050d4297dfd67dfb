//! A whole recording at once: the same engine over the same arrivals, then the batches as they look with everything known.
//!
//! Findings come from the replay and never change afterwards. Phases and measures use every reading (contract, section 5): where some came too
//! late to be watched, the batches are worked out again from tidy readings.

use std::collections::BTreeMap;
use std::sync::Arc;

use frames::{FrameError, ReadingHeap, TidyReadings};
use model::{
    Arrival, Batch, Channel, Content, Event, Finding, FindingId, MachineId, Reading, Span, Timestamp,
};
use plant::{Machine, Plant};

use crate::engine::{Changes, Engine};
use crate::machine::{MachineWatch, Setting};

/// Reads a recording, arrival by arrival.
#[derive(Debug)]
pub struct Analyst {
    plant: Arc<Plant>,
    engine: Engine,
    kept: BTreeMap<MachineId, Kept>,
    span: Option<(Timestamp, Timestamp)>,
    ended: Vec<Batch>,
    findings: BTreeMap<FindingId, Finding>,
}

/// What came of one machine.
#[derive(Debug, Default)]
struct Kept {
    heap: ReadingHeap,
    events: Vec<Event>,
    came_late: bool,
}

/// What a recording says.
#[derive(Debug, Clone, PartialEq)]
pub struct Analysis {
    /// First and last moment that a reading or event speaks of.
    pub span: Option<(Timestamp, Timestamp)>,
    /// Readings, each channel and time once.
    pub readings: usize,
    /// Readings that had been there already.
    pub duplicates: usize,
    /// One a machine, in the order of the plant file.
    pub machines: Vec<MachineAnalysis>,
    /// Findings of the plant as a whole.
    pub plant_findings: Vec<Finding>,
}

/// What a recording says of one machine.
#[derive(Debug, Clone, PartialEq)]
pub struct MachineAnalysis {
    /// Which machine.
    pub id: MachineId,
    /// Share of the recording's time of which each channel that reported at all is known.
    pub coverage: Vec<(Channel, f64)>,
    /// In the order of their start.
    pub batches: Vec<Batch>,
    /// In the order in which they were raised.
    pub findings: Vec<Finding>,
    /// What people reported, in the order in which it came.
    pub events: Vec<Event>,
}

impl Analyst {
    /// One who has read nothing.
    pub fn new(plant: Arc<Plant>) -> Analyst {
        Analyst {
            engine: Engine::new(plant.clone()),
            plant,
            kept: BTreeMap::new(),
            span: None,
            ended: Vec::new(),
            findings: BTreeMap::new(),
        }
    }

    /// Takes the next arrival, in the order in which they came.
    pub fn push(&mut self, arrival: &Arrival) {
        let at = arrival.at();
        self.span = Some(self.span.map_or((at, at), |(from, to)| (from.min(at), to.max(at))));
        let kept = self.kept.entry(arrival.machine().clone()).or_default();
        match &arrival.content {
            Content::Reading(reading) => kept.heap.push(reading.channel, reading.at, reading.value),
            Content::Event(event) => kept.events.push(event.clone()),
        }
        self.engine.apply(arrival);
        self.note_changes();
    }

    fn note_changes(&mut self) {
        let Changes { ended, findings, late } = self.engine.take_changes();
        self.ended.extend(ended);
        self.findings.extend(findings.into_iter().map(|finding| (finding.id.clone(), finding)));
        for (machine, _) in late {
            self.kept.entry(machine).or_default().came_late = true;
        }
    }

    /// Closes the recording.
    ///
    /// # Errors
    /// When the readings of a machine do not fit into memory.
    pub fn finish(mut self) -> Result<Analysis, FrameError> {
        self.engine.finish();
        self.note_changes();
        self.ended.extend(self.engine.open_batches());
        let mut analysis = Analysis {
            span: self.span,
            readings: 0,
            duplicates: 0,
            machines: Vec::new(),
            plant_findings: of_the_plant(&self.findings),
        };
        for machine in &self.plant.machines {
            let Kept { heap, events, came_late } = self.kept.remove(&machine.id).unwrap_or_default();
            let tidy = heap.tidy()?;
            analysis.readings += tidy.rows.len();
            analysis.duplicates += tidy.duplicates;
            let mut findings: Vec<Finding> = self
                .findings
                .values()
                .filter(|finding| finding.machine.as_ref() == Some(&machine.id))
                .cloned()
                .collect();
            findings.sort_by_key(|finding| finding.raised_at);
            let batches = if came_late {
                let batches = rework(&self.plant, machine, &tidy, &events);
                findings.iter_mut().for_each(|finding| assign(finding, &batches));
                batches
            } else {
                self.ended.iter().filter(|batch| batch.machine == machine.id).cloned().collect()
            };
            let coverage = self.span.map_or_else(Vec::new, |span| coverage(&tidy, span));
            analysis.machines.push(MachineAnalysis {
                id: machine.id.clone(),
                coverage,
                batches,
                findings,
                events,
            });
        }
        Ok(analysis)
    }
}

/// What no machine has for itself, in the order in which it was raised.
fn of_the_plant(findings: &BTreeMap<FindingId, Finding>) -> Vec<Finding> {
    let mut findings: Vec<Finding> =
        findings.values().filter(|finding| finding.machine.is_none()).cloned().collect();
    findings.sort_by_key(|finding| finding.raised_at);
    findings
}

/// A batch that was worked out again may have another start, and so another id.
fn assign(finding: &mut Finding, batches: &[Batch]) {
    let holds = |batch: &&Batch| {
        batch.start <= finding.raised_at && batch.end.is_none_or(|end| finding.raised_at < end)
    };
    finding.batch = batches.iter().rfind(holds).map(|batch| batch.id.clone());
}

/// Works out the batches of one machine from readings and events in whatever order they came, with everything known. Findings are
/// not raised anew.
pub fn rework(plant: &Plant, machine: &Machine, tidy: &TidyReadings, events: &[Event]) -> Vec<Batch> {
    let setting = Setting { plant, machine };
    let mut watch = MachineWatch::new(&setting);
    let mut events: Vec<&Event> = events.iter().collect();
    events.sort_by_key(|event| event.at);
    let mut events = events.into_iter().peekable();
    let arrival = |arrived, content| Arrival { arrived, retained: false, content };
    for &(at, channel, value) in &tidy.rows {
        while let Some(event) = events.next_if(|event| event.at <= at) {
            watch.apply(&setting, &arrival(event.at, Content::Event(event.clone())));
        }
        let reading = Reading { machine: machine.id.clone(), channel, at, value };
        watch.apply(&setting, &arrival(at, Content::Reading(reading)));
    }
    for event in events {
        watch.apply(&setting, &arrival(event.at, Content::Event(event.clone())));
    }
    watch.finish(&setting);
    let mut batches = watch.take_ended();
    batches.extend(watch.open_batch(&setting));
    batches
}

/// A pause of this many usual intervals, or of a minute if that is longer, is a gap (contract, `silent`).
const GAP_INTERVALS: f64 = 5.0;
const GAP_SECONDS: f64 = 60.0;

/// How much of the recording's time each channel is known for. Set-point and stirrer hold between messages.
fn coverage(tidy: &TidyReadings, (from, to): (Timestamp, Timestamp)) -> Vec<(Channel, f64)> {
    let whole = (to - from).as_secs_f64();
    let mut times: BTreeMap<Channel, Vec<Timestamp>> = BTreeMap::new();
    for &(at, channel, value) in &tidy.rows {
        if value.is_some() {
            times.entry(channel).or_default().push(at);
        }
    }
    let share = |(channel, times): (Channel, Vec<Timestamp>)| {
        let known = match channel {
            Channel::Setpoint | Channel::Stirrer => (to - times[0]).as_secs_f64(),
            Channel::Chocolate | Channel::Jacket | Channel::Room | Channel::Humidity | Channel::Motor => {
                known_seconds(&times, from, to)
            }
        };
        (channel, if whole > 0.0 { (known / whole).clamp(0.0, 1.0) } else { 1.0 })
    };
    times.into_iter().map(share).collect()
}

fn known_seconds(times: &[Timestamp], from: Timestamp, to: Timestamp) -> f64 {
    let steps: Vec<f64> = times.windows(2).map(|pair| (pair[1] - pair[0]).as_secs_f64()).collect();
    let usual = maths::statistics::median(&steps).unwrap_or(0.0);
    let gap = GAP_SECONDS.max(GAP_INTERVALS * usual);
    let known = |step: f64| if step > gap { usual } else { step };
    let ends = [times[0] - from, to - times[times.len() - 1]].map(Span::as_secs_f64);
    steps.iter().chain(&ends).copied().map(known).sum()
}
