//! The day's answer: what stands out, where, since when, and the causes in their order.
//!
//! The order of thought is the trade's (common practice, no source): is the data believable, one machine or all, since when, what
//! moved first, does the size fit, and which cheap test would confirm it. A single explanation must fit everything that
//! stands out; what the first cause leaves unexplained is named, and a second cause with it.

use std::collections::BTreeSet;

use model::{BatchId, FindingKind, MachineId, Timestamp};

use super::view::Seen;
use super::weigh::weigh;
use super::{Cause, Clue, DayRecord, Deviation, MachineDay, Missing, Moved, Sign, first};
use crate::{FEWEST_BATCHES, HistoryError};

/// Below this weight nothing is called unusual: it is what ordinary days come to.
pub const UNUSUAL: f64 = 3.5;

/// A cause this far ahead of the next one is more than one among others.
const CLEAR_LEAD: f64 = 1.5;

/// How probable a cause is, in a word. No number: the weights are no probabilities.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Likelihood {
    /// Little speaks for it.
    Unlikely,
    /// It fits some of what was seen.
    Possible,
    /// It fits well.
    Likely,
    /// It fits well, and nothing else comes near.
    MostLikely,
}

/// A cause with everything for and against it.
#[derive(Debug, Clone, PartialEq)]
pub struct Case {
    /// Which.
    pub cause: Cause,
    /// On which machines.
    pub machines: Vec<MachineId>,
    /// Its weight.
    pub points: f64,
    /// The same in a word.
    pub likelihood: Likelihood,
    /// What speaks for it, the heaviest first.
    pub supports: Vec<Clue>,
    /// What speaks against it, the heaviest first.
    pub opposes: Vec<Clue>,
    /// What would have helped to tell.
    pub missing: Vec<Missing>,
}

/// Something that stands out.
#[derive(Debug, Clone, PartialEq)]
pub struct Odd {
    /// On which machine.
    pub machine: MachineId,
    /// In which batch.
    pub batch: BatchId,
    /// Since when, as far as can be told.
    pub since: Option<Timestamp>,
    /// What.
    pub sign: Sign,
}

/// How many machines are concerned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reach {
    /// Machines on which something stands out.
    pub odd: usize,
    /// Machines that could be compared.
    pub compared: usize,
    /// Machines with a batch on this day.
    pub ran: usize,
}

/// What was different on a day.
#[derive(Debug, Clone, PartialEq)]
pub struct Diagnosis {
    /// Causes that anything speaks for, the heaviest first.
    pub cases: Vec<Case>,
    /// Is the first of them heavy enough to call the day unusual?
    pub is_unusual: bool,
    /// What stands out, the earliest first.
    pub odd: Vec<Odd>,
    /// What the first cause does not explain.
    pub unexplained: Vec<Odd>,
    /// Channels that left their usual course on the machines of the first cause, the earliest first.
    pub moved: Vec<Moved>,
    /// One machine or all.
    pub reach: Reach,
    /// Machines whose past is too short to compare with.
    pub too_new: Vec<MachineId>,
    /// Machines with too few good batches, so that others stand among what they are compared with.
    pub not_only_good: Vec<MachineId>,
}

impl Diagnosis {
    /// Does another cause come near the first one?
    pub fn is_contested(&self) -> bool {
        let [first, next, ..] = self.cases.as_slice() else { return false };
        Likelihood::Possible <= next.likelihood && first.points - next.points < CLEAR_LEAD
    }
}

/// Works out what was different. `day` holds each machine's batches of the day and its earlier good ones.
///
/// # Errors
/// When polars runs out of memory.
pub fn diagnose(day: &[MachineDay]) -> Result<Diagnosis, HistoryError> {
    let seen = Seen::all(day);
    let mut cases = weigh(&seen);
    name_likelihoods(&mut cases);
    let is_unusual = cases.first().is_some_and(|first| UNUSUAL <= first.points);
    let mut odd: Vec<Odd> = seen.iter().flat_map(odd_of).collect();
    odd.sort_by_key(|odd| odd.since);
    let unexplained = match cases.first().filter(|_| is_unusual) {
        Some(first) => odd.iter().filter(|odd| !explains(first, odd)).cloned().collect(),
        None => odd.clone(),
    };
    let mut moved = Vec::new();
    if let Some(first) = cases.first().filter(|_| is_unusual) {
        for seen in seen.iter().filter(|seen| first.machines.contains(seen.machine)) {
            moved.extend(first::moves_of(seen)?);
        }
    }
    moved.sort_by_key(|moved| moved.at);
    let machines = |all: &mut dyn Iterator<Item = &MachineId>| all.collect::<BTreeSet<_>>().len();
    let is_comparable = |seen: &&Seen<'_>| FEWEST_BATCHES <= seen.past.len();
    let reach = Reach {
        odd: machines(&mut odd.iter().map(|odd| &odd.machine)),
        compared: machines(&mut seen.iter().filter(is_comparable).map(|seen| seen.machine)),
        ran: machines(&mut seen.iter().map(|seen| seen.machine)),
    };
    let mut too_new: Vec<MachineId> =
        seen.iter().filter(|seen| !is_comparable(seen)).map(|seen| seen.machine.clone()).collect();
    too_new.dedup();
    let is_good = |past: &&DayRecord| crate::is_good(&past.batch, &past.findings);
    let has_others = |seen: &&Seen<'_>| is_comparable(seen) && !seen.past.iter().all(is_good);
    let mut not_only_good: Vec<MachineId> =
        seen.iter().filter(has_others).map(|seen| seen.machine.clone()).collect();
    not_only_good.dedup();
    Ok(Diagnosis { cases, is_unusual, odd, unexplained, moved, reach, too_new, not_only_good })
}

/// Every figure of every batch of the day that could be held against the past, whether it stands out or not.
pub fn compared(day: &[MachineDay]) -> Vec<(MachineId, BatchId, Deviation)> {
    let mut all = Vec::new();
    for seen in Seen::all(day) {
        let of_batch =
            |deviation: &Deviation| (seen.machine.clone(), seen.record.batch.id.clone(), *deviation);
        all.extend(seen.deviations().iter().map(of_batch));
    }
    all
}

fn name_likelihoods(cases: &mut [Case]) {
    let points: Vec<f64> = cases.iter().map(|case| case.points).collect();
    for (place, case) in cases.iter_mut().enumerate() {
        let next = points.get(place + 1).copied().unwrap_or(0.0);
        case.likelihood = match case.points {
            p if place == 0 && UNUSUAL + CLEAR_LEAD <= p && CLEAR_LEAD <= p - next => Likelihood::MostLikely,
            p if UNUSUAL <= p => Likelihood::Likely,
            p if UNUSUAL / 2.0 <= p => Likelihood::Possible,
            _ => Likelihood::Unlikely,
        };
    }
}

/// Figures that stand out, and findings that tell of trouble.
fn odd_of(seen: &Seen<'_>) -> Vec<Odd> {
    let odd = |sign: Sign, since: Option<Timestamp>| Odd {
        machine: seen.machine.clone(),
        batch: seen.record.batch.id.clone(),
        since,
        sign,
    };
    let figures = seen.odd().map(|off: &Deviation| odd(Sign::Off(*off), seen.since(off.figure)));
    let findings = seen
        .record
        .findings
        .iter()
        .filter(|finding| finding.superseded_by.is_none() && is_trouble(finding.kind))
        .filter(|finding| seen.finding(finding.kind).is_some())
        .map(|finding| odd(seen.found_sign(finding), Some(finding.from)));
    let tests = seen.test(true).map(|at| odd(Sign::TestFailed, Some(at)));
    figures.chain(findings).chain(tests).collect()
}

/// Prompts are no trouble.
fn is_trouble(kind: FindingKind) -> bool {
    !matches!(kind, FindingKind::TestDue | FindingKind::LongHold | FindingKind::CommonCause)
}

/// A cause explains what it was weighed by, and everything that followed on the machines that it is about.
fn explains(case: &Case, odd: &Odd) -> bool {
    let began = case.supports.iter().filter_map(|clue| clue.since).min();
    let follows = match (began, odd.since) {
        (Some(began), Some(since)) => began <= since,
        (None, _) | (_, None) => true,
    };
    case.machines.contains(&odd.machine) && follows
}
