//! What was different today: the batches of one day against each machine's own past (domain brief 6.3).
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

use std::collections::BTreeMap;

use model::{Batch, CouvertureId, Event, Finding, MachineId, Phase, Timestamp};

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
    /// Earlier good batches, any couverture.
    pub past: Vec<DayRecord>,
}

/// What earlier batches of a machine are compared with: the good ones of each couverture; where they are too few, those
/// whose course ran as usual whatever their tests said. `records` in any order; the newest `most` of each couverture stay.
pub fn usual_past(records: Vec<DayRecord>, most: usize) -> Vec<DayRecord> {
    let mut by_couverture: BTreeMap<CouvertureId, Vec<DayRecord>> = BTreeMap::new();
    for record in records.into_iter().filter(|record| record.batch.end.is_some()) {
        by_couverture.entry(record.batch.couverture.clone()).or_default().push(record);
    }
    let of_couverture = |mut records: Vec<DayRecord>| {
        records.retain(|record| crate::ran_as_usual(&record.batch, &record.findings));
        let good = records.iter().filter(|record| crate::is_good(&record.batch, &record.findings)).count();
        if crate::FEWEST_BATCHES <= good {
            records.retain(|record| crate::is_good(&record.batch, &record.findings));
        }
        records.sort_by_key(|record| std::cmp::Reverse(record.batch.start));
        records.truncate(most);
        records
    };
    by_couverture.into_values().flat_map(of_couverture).collect()
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
    fn known_to(&self) -> Timestamp {
        let newest = model::Channel::ALL
            .into_iter()
            .filter_map(|channel| self.courses.of(channel).last().map(|(at, _)| *at + STEP))
            .max();
        self.batch.end.or(newest).unwrap_or(self.batch.start)
    }
}
