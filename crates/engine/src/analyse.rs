//! A whole recording at once: the same engine over the same arrivals, then the batches as they look with everything known.
//!
//! Findings come from the replay and never change afterwards. Phases and measures use every reading (contract, section 5): where some came too
//! late to be watched, the batches are worked out again from tidy readings.

use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;

use frames::{FrameError, ReadingHeap, Rows, TidyReadings};
use model::{Arrival, Batch, Channel, Content, Event, Finding, FindingId, MachineId, Span, Timestamp};
use plant::{Machine, Plant};

use crate::engine::{Changes, Engine};
use crate::machine::{MachineWatch, Setting};
use crate::sorter::is_of_no_clock;
use crate::standing::standing_of;

/// Reads a recording, arrival by arrival.
#[derive(Debug)]
pub struct Analyst {
    plant: Arc<Plant>,
    engine: Engine,
    kept: BTreeMap<MachineId, Kept>,
    measured: Stretch,
    /// Events too, and what a broker had kept.
    told: Stretch,
    ended: Vec<Batch>,
    findings: BTreeMap<FindingId, Finding>,
}

/// From when to when something is known; empty at first.
#[derive(Debug, Clone, Copy, Default)]
struct Stretch(Option<(Timestamp, Timestamp)>);

impl Stretch {
    fn reach(&mut self, at: Timestamp) {
        self.0 = Some(self.0.map_or((at, at), |(from, to)| (from.min(at), to.max(at))));
    }
}

/// What came of one machine.
#[derive(Debug, Default)]
struct Kept {
    heap: ReadingHeap,
    /// What comes from a clock that nobody had set.
    of_no_clock: ReadingHeap,
    events: Vec<Event>,
    came_late: bool,
}

/// What a recording says.
#[derive(Debug, Clone, PartialEq)]
pub struct Analysis {
    /// First and last moment of which a reading speaks. What a broker had kept counts only where there is nothing else, and so do events: one that
    /// names a wrong day does not stretch what is known.
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
            measured: Stretch::default(),
            told: Stretch::default(),
            ended: Vec::new(),
            findings: BTreeMap::new(),
        }
    }

    /// Takes the next arrival, in the order in which they came.
    pub fn push(&mut self, arrival: &Arrival) {
        let at = arrival.at();
        self.told.reach(at);
        let is_of_no_clock = is_of_no_clock(at - arrival.arrived);
        if !arrival.retained && !is_of_no_clock && matches!(arrival.content, Content::Reading(_)) {
            self.measured.reach(at);
        }
        let kept = self.kept.entry(arrival.machine().clone()).or_default();
        match &arrival.content {
            Content::Reading(reading) => {
                let heap = if is_of_no_clock { &mut kept.of_no_clock } else { &mut kept.heap };
                heap.push(reading.channel, reading.at, reading.value);
            }
            Content::Event(event) => kept.events.push(event.clone()),
        }
        self.engine.apply(arrival);
        self.note_changes();
    }

    fn note_changes(&mut self) {
        // Every batch is judged when the recording is closed.
        let Changes { ended, findings, late, told: _ } = self.engine.take_changes();
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
        let span = self.measured.0.or(self.told.0);
        let mut analysis = Analysis {
            span,
            readings: 0,
            duplicates: 0,
            machines: Vec::new(),
            plant_findings: of_the_plant(&self.findings),
        };
        for machine in &self.plant.machines {
            let Kept { heap, of_no_clock, events, came_late } =
                self.kept.remove(&machine.id).unwrap_or_default();
            let (mut tidy, mut other) = (heap.tidy()?, of_no_clock.tidy()?);
            analysis.readings += tidy.rows.len() + other.rows.len();
            analysis.duplicates += tidy.duplicates + other.duplicates;
            let has_chocolate = |tidy: &TidyReadings| tidy.rows.iter().any(|row| row.1 == Channel::Chocolate);
            if !has_chocolate(&tidy) && has_chocolate(&other) {
                // Its clock was never set, or the recording came in by another one: then these are its times.
                std::mem::swap(&mut tidy, &mut other);
            }
            let mut findings: Vec<Finding> = self
                .findings
                .values()
                .filter(|finding| finding.machine.as_ref() == Some(&machine.id))
                .cloned()
                .collect();
            findings.sort_by_key(|finding| finding.raised_at);
            let mut batches = if came_late {
                let batches = rework_tidy(&self.plant, machine, &tidy, &events);
                findings.iter_mut().for_each(|finding| assign(finding, &batches));
                batches
            } else {
                self.ended.iter().filter(|batch| batch.machine == machine.id).cloned().collect()
            };
            judge(&mut batches, &events, &findings);
            let coverage = span.map_or_else(Vec::new, |span| coverage(&tidy, span));
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
    // What was raised of a batch before it was known that it had ended a while ago is still its.
    let was_of_one = finding.batch.is_some();
    let before = |batch: &&Batch| was_of_one && batch.start <= finding.raised_at;
    let batch = batches.iter().rfind(holds).or_else(|| batches.iter().rfind(before));
    finding.batch = batch.map(|batch| batch.id.clone());
}

/// What people told counts for the batch in which it happened, whenever they told it.
fn judge(batches: &mut [Batch], events: &[Event], findings: &[Finding]) {
    let starts: Vec<Timestamp> = batches.iter().map(|batch| batch.start).collect();
    let next = starts.iter().skip(1).copied().map(Some).chain([None]);
    for (batch, next) in batches.iter_mut().zip(next) {
        (batch.standing, batch.reasons) = standing_of(batch, next, events, findings);
    }
}

/// The same as [`rework`] from the readings of a recording.
pub(crate) fn rework_tidy(
    plant: &Plant,
    machine: &Machine,
    tidy: &TidyReadings,
    events: &[Event],
) -> Vec<Batch> {
    let mut reworker = Reworker::new(plant, machine, events);
    for &(at, channel, value) in &tidy.rows {
        reworker.take_events(at);
        reworker.watch.apply_at_once(&reworker.setting, (at, channel, value));
    }
    reworker.finish()
}

/// Works out the batches of one machine from what the store holds of it and from events in whatever order they came, with everything known.
/// Findings are not raised anew.
pub fn rework(plant: &Plant, machine: &Machine, rows: &Rows, events: &[Event]) -> Vec<Batch> {
    let mut reworker = Reworker::new(plant, machine, events);
    let mut row = 0;
    while row < rows.len() {
        let at = rows.at(row);
        reworker.take_events(at);
        let next = reworker.events.front().map_or(rows.len(), |event| rows.first_from(event.at, row));
        let Reworker { watch, setting, .. } = &mut reworker;
        watch.look_at_clock(at);
        let taken = watch.take_stretch(setting, rows, row..next, &mut Vec::new());
        if taken == 0 {
            rows.readings(row)
                .for_each(|(channel, value)| watch.apply_at_once(setting, (at, channel, value)));
        }
        row += taken.max(1);
    }
    reworker.finish()
}

/// One machine gone through again, with its events in the order in which they happened.
struct Reworker<'a> {
    setting: Setting<'a>,
    watch: MachineWatch,
    events: VecDeque<&'a Event>,
}

impl<'a> Reworker<'a> {
    fn new(plant: &'a Plant, machine: &'a Machine, events: &'a [Event]) -> Reworker<'a> {
        let setting = Setting { plant, machine };
        let mut events: Vec<&Event> = events.iter().collect();
        events.sort_by_key(|event| event.at);
        Reworker { watch: MachineWatch::new(&setting), setting, events: events.into() }
    }

    /// What happened up to `at` has its turn before a reading of then.
    fn take_events(&mut self, at: Timestamp) {
        while let Some(event) = self.events.pop_front_if(|event| event.at <= at) {
            let content = Content::Event(event.clone());
            self.watch.apply(&self.setting, &Arrival { arrived: event.at, retained: false, content });
        }
    }

    fn finish(mut self) -> Vec<Batch> {
        self.take_events(Timestamp::from_millis(i64::MAX));
        self.watch.finish(&self.setting);
        let mut batches = self.watch.take_ended();
        batches.extend(self.watch.open_batch(&self.setting));
        batches
    }
}

/// A pause of this many usual intervals, or of a minute if that is longer, is a gap (contract, `silent`).
const GAP_INTERVALS: f64 = 5.0;
const GAP_SECONDS: f64 = 60.0;

/// How much of the recording's time each channel is known for. Set-point and stirrer hold between messages.
fn coverage(tidy: &TidyReadings, (from, to): (Timestamp, Timestamp)) -> Vec<(Channel, f64)> {
    let whole = (to - from).as_secs_f64();
    let mut times: BTreeMap<Channel, Vec<Timestamp>> = BTreeMap::new();
    for &(at, channel, value) in &tidy.rows {
        if value.is_some() && from <= at {
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

#[cfg(test)]
mod tests {
    use frames::ABSENT;
    use model::{EventKind, Reading};

    use super::*;

    const PLANT: &str = r#"[plant]
name = "Tern Street works"
time_zone = "Europe/Lisbon"
[mqtt]
url = "embedded"
[[couverture]]
id = "dark-64"
family = "dark"
[[machine]]
id = "alder"
style = "kettle"
couverture = "dark-64"
method = "seed"
"#;

    /// Nine hours with a spike, a gap and a missing reading; chocolate each second, jacket each third.
    fn day() -> Vec<(i64, Option<i32>, Option<i32>)> {
        let chocolate = |minute: f64| match minute {
            _ if minute < 70.0 => 24.0 + 0.32 * minute,
            _ if minute < 120.0 => 46.0,
            _ => (20.0 + 26.0 * (-(minute - 120.0) / 55.0).exp()).max(31.5),
        };
        let row = |second: i64| {
            let value = chocolate(second as f64 / 60.0) + 0.01 * (second % 7) as f64;
            let thousandths = (value * 100.0).round() as i32 * 10;
            let spike = if second == 20_000 { 9_000 } else { 0 };
            let shown = Some(thousandths + spike).filter(|_| second != 25_000);
            (second * 1000, shown, (second % 3 == 0).then_some(thousandths + 1_000))
        };
        (0..9 * 3600).filter(|second| !(15_000..15_200).contains(second)).map(row).collect()
    }

    #[test]
    fn a_kept_reading_and_a_wrong_day_do_not_stretch_what_is_known() {
        let mut analyst = Analyst::new(Arc::new(plant::parse_plant(PLANT).unwrap()));
        let (at, machine) = (Timestamp::from_millis, || "alder".parse().unwrap());
        let reading = |millis: i64| {
            Content::Reading(Reading {
                machine: machine(),
                channel: Channel::Chocolate,
                at: at(millis),
                value: Some(31.5),
            })
        };
        let day = 24 * 3_600_000;
        analyst.push(&Arrival { arrived: at(2 * day), retained: true, content: reading(day) });
        for millis in (2 * day..2 * day + 600_000).step_by(5_000) {
            analyst.push(&Arrival { arrived: at(millis), retained: false, content: reading(millis) });
        }
        let (kind, raw) = (EventKind::End, String::new());
        let wrong_day = Event { machine: machine(), at: at(40 * day), by: None, kind, raw };
        let content = Content::Event(wrong_day);
        analyst.push(&Arrival { arrived: at(2 * day + 600_000), retained: false, content });
        let analysis = analyst.finish().unwrap();
        assert_eq!(analysis.span, Some((at(2 * day), at(2 * day + 595_000))));
        assert_eq!(analysis.machines[0].coverage, [(Channel::Chocolate, 1.0)]);
        assert_eq!(analysis.readings, 121);
    }

    #[test]
    fn batches_from_the_store_are_those_of_a_recording() {
        let plant = plant::parse_plant(PLANT).unwrap();
        let event = |second: i64, kind| Event {
            machine: "alder".parse().unwrap(),
            at: Timestamp::from_millis(second * 1000),
            by: None,
            kind,
            raw: String::new(),
        };
        let seed = EventKind::Seed { mass_kg: Some(4.0), temperature: None, lot: None };
        let events = [event(31_000, EventKind::End), event(9_500, seed)];
        let (mut heap, day) = (ReadingHeap::default(), day());
        for &(at, chocolate, jacket) in &day {
            let value = |thousandths: i32| f64::from(thousandths) / 1000.0;
            heap.push(Channel::Chocolate, Timestamp::from_millis(at), chocolate.map(value));
            if let Some(jacket) = jacket {
                heap.push(Channel::Jacket, Timestamp::from_millis(at), Some(value(jacket)));
            }
        }
        let mut columns: [Vec<i32>; Channel::ALL.len()] = Default::default();
        columns[0] = day.iter().map(|(_, chocolate, _)| chocolate.unwrap_or(ABSENT)).collect();
        columns[1] = day.iter().map(|(_, _, jacket)| jacket.unwrap_or(ABSENT)).collect();
        let missing = day.iter().map(|(_, chocolate, _)| i32::from(chocolate.is_none())).collect();
        let rows = Rows::new(day.iter().map(|(at, ..)| *at).collect(), missing, columns).unwrap();
        let machine = &plant.machines[0];
        let batches = rework(&plant, machine, &rows, &events);
        assert_eq!(batches, rework_tidy(&plant, machine, &heap.tidy().unwrap(), &events));
        assert_eq!((batches.len(), batches[0].end), (1, Some(Timestamp::from_millis(31_000_000))));
    }
}
