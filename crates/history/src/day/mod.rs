//! What was different today: the batches of one day against each machine's own past.
//!
//! Figures of each batch are held against the median and spread of the machine's own good batches of the same couverture
//! ([`Figure`], [`Deviation`]); findings and events stand beside them. What stands out is weighed for and against each
//! [`Cause`], and the causes come out ranked, each with its evidence, what speaks against it, what is missing and which
//! machines it is about ([`diagnose`]).
//!
//! **Invariant:** a cause is ranked by evidence that can be shown. Nothing here is a verdict about temper; a day on which
//! nothing stands out is called that and not good.

mod cause;
mod courses;
mod deviation;
mod diagnosis;
mod figure;
mod first;
mod sign;
mod view;
mod weigh;

use std::collections::{BTreeMap, BTreeSet};

use model::{Batch, CouvertureId, Event, Finding, FindingKind, MachineId, Phase, Timestamp};

pub use self::cause::Cause;
pub use self::courses::{Courses, STEP};
pub use self::deviation::{Deviation, Way};
pub use self::diagnosis::{Case, Diagnosis, Likelihood, Odd, Reach, UNUSUAL, compared, diagnose};
pub use self::figure::{Figure, Least};
pub use self::first::Moved;
pub use self::sign::{Clue, Missing, Sign};

/// A batch with everything that was known while it ran.
#[derive(Debug, Clone, PartialEq)]
pub struct DayRecord {
    /// The batch.
    pub batch: Batch,
    /// Its findings.
    pub findings: Vec<Finding>,
    /// What people told, in the order of time.
    pub events: Vec<Event>,
    /// What its channels did.
    pub courses: Courses,
}

/// One machine's day.
#[derive(Debug, Clone, PartialEq)]
pub struct MachineDay {
    /// Which machine.
    pub machine: MachineId,
    /// Its batches of the day, in the order of time.
    pub today: Vec<DayRecord>,
    /// Earlier batches that are worth comparing with, any couverture.
    pub past: Vec<DayRecord>,
    /// Earlier batches, good or bad, without their courses: has a figure been there before?
    all: Vec<DayRecord>,
    /// In how many earlier batches, good or bad, each kind of finding came.
    seen_before: BTreeMap<FindingKind, usize>,
    /// How many earlier batches there are.
    earlier: usize,
}

/// This much of a distance counts as the same distance.
const AS_FAR: f64 = 0.7;

impl MachineDay {
    /// A machine's day and its `earlier` batches in any order, good or bad; the newest `most` of each couverture count.
    pub fn new(
        machine: MachineId,
        today: Vec<DayRecord>,
        earlier: Vec<DayRecord>,
        most: usize,
    ) -> MachineDay {
        let mut by_couverture: BTreeMap<CouvertureId, Vec<DayRecord>> = BTreeMap::new();
        for record in earlier.into_iter().filter(|record| record.batch.end.is_some()) {
            by_couverture.entry(record.batch.couverture.clone()).or_default().push(record);
        }
        let mut day = MachineDay {
            machine,
            today,
            past: Vec::new(),
            all: Vec::new(),
            seen_before: BTreeMap::new(),
            earlier: 0,
        };
        for mut records in by_couverture.into_values() {
            records.sort_by_key(|record| std::cmp::Reverse(record.batch.start));
            records.truncate(2 * most);
            day.remember(&records);
            let bare = |record: &DayRecord| DayRecord { courses: Courses::default(), ..record.clone() };
            day.all.extend(records.iter().map(bare));
            day.past.extend(worth_comparing(&records, most));
        }
        day
    }

    /// How often each kind of finding came in earlier batches, whatever became of them.
    fn remember(&mut self, records: &[DayRecord]) {
        self.earlier += records.len();
        for record in records {
            let kinds: BTreeSet<FindingKind> = record
                .findings
                .iter()
                .map(|finding| finding.kind)
                // What has stood for weeks is no less worth a word for it.
                .filter(|kind| !kind.outlives_batch())
                .collect();
            for kind in kinds {
                *self.seen_before.entry(kind).or_default() += 1;
            }
        }
    }

    /// In what share of the earlier batches of the same couverture a figure stood as far out.
    pub(crate) fn share_as_far(&self, deviation: &Deviation, couverture: &CouvertureId) -> f64 {
        let same = self.all.iter().filter(|record| record.batch.couverture == *couverture);
        let known: Vec<f64> = same.filter_map(|record| deviation.figure.of(record)).collect();
        let far = |value: &&f64| AS_FAR <= (**value - deviation.usual) / (deviation.value - deviation.usual);
        if known.is_empty() { 0.0 } else { known.iter().filter(far).count() as f64 / known.len() as f64 }
    }

    /// In what share of the earlier batches a finding of this kind came; nothing is known of a machine without a past.
    pub(crate) fn share_before(&self, kind: FindingKind) -> f64 {
        let seen = self.seen_before.get(&kind).copied().unwrap_or(0);
        if self.earlier == 0 { 0.0 } else { seen as f64 / self.earlier as f64 }
    }
}

/// The good ones; where they are too few, those whose course ran as usual whatever their tests said; where those are too
/// few, all that were cooled and worked: medians bear some bad ones among them.
fn worth_comparing(records: &[DayRecord], most: usize) -> Vec<DayRecord> {
    let is_good = |record: &DayRecord| crate::is_good(&record.batch, &record.findings);
    let ran = |record: &DayRecord| crate::ran_as_usual(&record.batch, &record.findings);
    let has_worked = |record: &DayRecord| {
        record.batch.measures.cooling_minutes.is_some() && record.batch.first(Phase::Working).is_some()
    };
    let levels: [&dyn Fn(&DayRecord) -> bool; 3] = [&is_good, &ran, &has_worked];
    let enough = |level: &&&dyn Fn(&DayRecord) -> bool| {
        crate::FEWEST_BATCHES <= records.iter().filter(|record| level(record)).count()
    };
    let level = *levels.iter().find(enough).unwrap_or(&levels[2]);
    let mut kept: Vec<DayRecord> = records.iter().filter(|record| level(record)).cloned().collect();
    kept.truncate(most);
    kept
}

impl DayRecord {
    /// From the first moment of a phase to its last; what is still open ends with what is known.
    pub fn span(&self, phase: Phase) -> Option<(Timestamp, Timestamp)> {
        let of_it = || self.batch.phases.iter().filter(|span| span.phase == phase);
        let (first, last) = (of_it().next()?, of_it().next_back()?);
        Some((first.from, last.to.unwrap_or_else(|| self.known_to())))
    }

    /// Where it is laid over the others: the start of cooling, or of working where nothing was cooled.
    pub fn anchor(&self) -> Timestamp {
        let start = |phase| self.batch.first(phase).map(|span| span.from);
        start(Phase::Cooling).or_else(|| start(Phase::Working)).unwrap_or(self.batch.start)
    }

    /// From the anchor to the end of working, or as far as is known.
    pub(crate) fn in_use(&self) -> Option<(Timestamp, Timestamp)> {
        let from = self.batch.first(Phase::Cooling).or_else(|| self.batch.first(Phase::Working))?.from;
        let to = self.span(Phase::Working).map_or_else(|| self.known_to(), |(_, to)| to);
        (from < to).then_some((from, to))
    }

    /// The newest moment that anything speaks of.
    pub(crate) fn known_to(&self) -> Timestamp {
        let newest = model::Channel::ALL
            .into_iter()
            .filter_map(|channel| self.courses.of(channel).last().map(|(at, _)| *at + STEP))
            .max();
        self.batch.end.or(newest).unwrap_or(self.batch.start)
    }
}
