//! Weighs what was seen for and against each cause.
//!
//! A file a kind of cause. A weight of 5 is a detector made for this very cause, 3 a figure that hardly anything else
//! moves, 1 to 2 what fits among other things. Clues of one cause depend on each other, so the second counts six tenths
//! of itself, the third six tenths of that, and so on; what speaks against counts in full. The weights were chosen on
//! simulated days (`examples/bad_days`, tuning seeds) and judged on others; they are no standard.

mod common;
mod excused;
mod instrument;
mod machine;
mod people;
mod shared;
mod silence;

use std::collections::BTreeMap;

use model::{FindingKind, MachineId};

use super::view::Seen;
use super::{Case, Cause, Clue, Deviation, Figure, Likelihood, Missing, Sign, Way};

/// The next clue of the same cause counts so much of itself.
const FADING: f64 = 0.6;

/// A figure that stands out twice as far weighs more, but not without end.
const MOST_FOR_SIZE: f64 = 1.5;

/// What speaks for and against one cause so far.
pub(crate) struct Weighing {
    cause: Cause,
    machines: Vec<MachineId>,
    supports: Vec<Clue>,
    /// Counts where something else supports.
    leaning: Vec<Clue>,
    opposes: Vec<Clue>,
    missing: Vec<Missing>,
}

impl Weighing {
    fn new(cause: Cause) -> Weighing {
        Weighing {
            cause,
            machines: Vec::new(),
            supports: Vec::new(),
            leaning: Vec::new(),
            opposes: Vec::new(),
            missing: Vec::new(),
        }
    }

    /// The cause on one machine.
    fn on(cause: Cause, seen: &Seen<'_>) -> Weighing {
        Weighing { machines: vec![seen.machine.clone()], ..Weighing::new(cause) }
    }

    /// It is about this machine, too.
    fn concerns(&mut self, machine: &MachineId) {
        if !self.machines.contains(machine) {
            self.machines.push(machine.clone());
        }
    }

    fn supports(&mut self, clue: Clue) {
        self.supports.push(clue);
    }

    fn opposes(&mut self, clue: Clue) {
        self.opposes.push(clue);
    }

    /// For, if there is such a finding.
    fn finding(&mut self, seen: &Seen<'_>, kind: FindingKind, points: f64) -> bool {
        let finding = seen.finding(kind);
        if let Some(finding) = finding {
            let points = points * seen.rarity(kind);
            self.supports(seen.clue(seen.found_sign(finding), Some(finding.from), points));
        }
        finding.is_some()
    }

    /// For, if the figure stands out to that side; the further, the more. One that nearly does counts in part, beside others.
    fn figure(&mut self, seen: &Seen<'_>, figure: Figure, way: Way, points: f64) -> bool {
        let Some((deviation, part)) = seen.leaning(figure, way) else { return false };
        let points = points * part * size(deviation) * seen.rarity_of(deviation);
        let clue = seen.clue(Sign::Off(*deviation), seen.since(figure), points);
        let stands_out = deviation.way().is_some();
        if 0.0 < points {
            if stands_out { self.supports.push(clue) } else { self.leaning.push(clue) }
        }
        stands_out
    }

    /// Against, if the figure is as usual.
    fn unless_usual(&mut self, seen: &Seen<'_>, figure: Figure, points: f64) {
        if let Some(deviation) = seen.usual(figure) {
            self.opposes(seen.clue(Sign::AsUsual(*deviation), None, points));
        }
    }

    /// For, if the figure is as usual.
    fn as_usual(&mut self, seen: &Seen<'_>, figure: Figure, points: f64) {
        if let Some(deviation) = seen.usual(figure) {
            self.supports(seen.clue(Sign::AsUsual(*deviation), None, points));
        }
    }

    fn several(&mut self, machines: usize, of: usize, figure: Option<Figure>, points: f64) {
        let sign = Sign::Several { machines, of, figure };
        self.supports(Clue { machine: None, batch: None, since: None, sign, points });
    }

    fn lacks(&mut self, missing: Missing, is_missing: bool) {
        if is_missing && !self.missing.contains(&missing) {
            self.missing.push(missing);
        }
    }

    /// What of its support hangs on the clues of which `part` takes a part away.
    fn share(&self, part: impl Fn(&Clue) -> f64) -> f64 {
        let all = faded(self.supports.iter().map(|clue| clue.points));
        all - faded(self.supports.iter().map(|clue| clue.points * (1.0 - part(clue))))
    }

    /// Against, if it weighs anything.
    fn opposes_if(&mut self, clue: Clue) {
        if 0.0 < clue.points {
            self.opposes(clue);
        }
    }

    /// What it comes to.
    fn points(&self) -> f64 {
        let against: f64 = self.opposes.iter().map(|clue| clue.points).sum();
        faded(self.supports.iter().map(|clue| clue.points)) - against
    }

    fn into_case(mut self) -> Option<Case> {
        if !self.supports.is_empty() {
            self.supports.append(&mut self.leaning);
        }
        let points = self.points();
        self.supports.sort_by(|a, b| b.points.total_cmp(&a.points));
        self.opposes.sort_by(|a, b| b.points.total_cmp(&a.points));
        let Weighing { cause, machines, supports, leaning: _, opposes, missing } = self;
        let has_reason = !supports.is_empty() && 0.0 < points;
        has_reason.then_some(Case {
            cause,
            machines,
            points,
            likelihood: Likelihood::Possible,
            supports,
            opposes,
            missing,
        })
    }
}

/// The heaviest in full, each next one less.
fn faded(points: impl Iterator<Item = f64>) -> f64 {
    let mut weights: Vec<f64> = points.collect();
    weights.sort_by(|a, b| b.total_cmp(a));
    weights.iter().zip(0..).map(|(points, place)| points * FADING.powi(place)).sum()
}

fn size(deviation: &Deviation) -> f64 {
    (deviation.z.abs() / (2.0 * super::deviation::STANDS_OUT)).clamp(0.75, MOST_FOR_SIZE)
}

/// A second machine belongs to the same case from this share of the first one's points on.
const BELONGS: f64 = 0.5;

/// Every cause that anything speaks for, the heaviest first; one case a cause.
pub(crate) fn weigh(day: &[Seen<'_>]) -> Vec<Case> {
    let mut cases: Vec<Case> = common::weigh(day);
    cases.extend(shared::weigh(day));
    let mut troubled: BTreeMap<&MachineId, Cause> = BTreeMap::new();
    for seen in day {
        let mut of_batch = machine::weigh(seen, day);
        of_batch.extend(instrument::weigh(seen, day));
        of_batch.extend(people::weigh(seen, day));
        if let Some(first) = troubled.get(seen.machine) {
            of_batch.iter_mut().filter(|case| case.cause != *first).for_each(|case| follows(case, seen));
        } else if let Some(first) = of_batch.iter().max_by(|a, b| a.points.total_cmp(&b.points))
            && super::UNUSUAL <= first.points
        {
            troubled.insert(seen.machine, first.cause);
        }
        cases.extend(of_batch);
    }
    let mut by_cause: BTreeMap<Cause, Vec<Case>> = BTreeMap::new();
    for case in cases {
        by_cause.entry(case.cause).or_default().push(case);
    }
    let mut joined: Vec<Case> = by_cause.into_values().filter_map(join).collect();
    joined.sort_by(|a, b| b.points.total_cmp(&a.points));
    joined
}

/// What is odd about a batch that follows one in trouble, on the same machine and day, is mostly its consequence: half of it counts.
fn follows(case: &mut Case, seen: &Seen<'_>) {
    let points = case.points / 2.0;
    case.opposes.push(seen.clue(Sign::Followed, Some(seen.record.batch.start), points));
    case.opposes.sort_by(|a, b| b.points.total_cmp(&a.points));
    case.points -= points;
}

/// The heaviest case of a cause, with the machines that show it nearly as well.
fn join(mut cases: Vec<Case>) -> Option<Case> {
    cases.sort_by(|a, b| b.points.total_cmp(&a.points));
    let mut cases = cases.into_iter();
    let mut first = cases.next()?;
    for other in cases.filter(|other| first.points * BELONGS <= other.points).collect::<Vec<_>>() {
        let more: Vec<MachineId> =
            other.machines.into_iter().filter(|machine| !first.machines.contains(machine)).collect();
        if more.is_empty() {
            continue;
        }
        first.machines.extend(more);
        first.supports.extend(other.supports);
        first.opposes.extend(other.opposes);
    }
    Some(first)
}

#[cfg(test)]
mod tests;
