//! Weighs what was seen for and against each cause.
//!
//! A file a kind of cause. A weight of 5 is a detector made for this very cause, 3 a figure that hardly anything else
//! moves, 1 to 2 what fits among other things. Clues of one cause depend on each other, so the second counts six tenths
//! of itself, the third six tenths of that, and so on; what speaks against counts in full. The weights were chosen on
//! simulated days (`examples/bad_days`, tuning seeds) and judged on others; they are no standard.

mod common;
mod instrument;
mod machine;
mod people;

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
            self.supports(seen.clue(Sign::Found(kind), Some(finding.from), points));
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

    /// What it comes to.
    fn points(&self) -> f64 {
        let mut weights: Vec<f64> = self.supports.iter().map(|clue| clue.points).collect();
        weights.sort_by(|a, b| b.total_cmp(a));
        let supports: f64 = weights.iter().zip(0..).map(|(points, place)| points * FADING.powi(place)).sum();
        supports - self.opposes.iter().map(|clue| clue.points).sum::<f64>()
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

fn size(deviation: &Deviation) -> f64 {
    (deviation.z.abs() / (2.0 * super::deviation::STANDS_OUT)).clamp(0.75, MOST_FOR_SIZE)
}

/// A second machine belongs to the same case from this share of the first one's points on.
const BELONGS: f64 = 0.5;

/// Every cause that anything speaks for, the heaviest first; one case a cause.
pub(crate) fn weigh(day: &[Seen<'_>]) -> Vec<Case> {
    let mut cases: Vec<Case> = common::weigh(day);
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
        if other.machines.iter().all(|machine| first.machines.contains(machine)) {
            continue;
        }
        first.machines.extend(other.machines);
        first.supports.extend(other.supports);
        first.opposes.extend(other.opposes);
    }
    Some(first)
}

#[cfg(test)]
mod tests {
    use model::{Channel, Phase, Span};

    use super::*;
    use crate::day::view::tests::record;
    use crate::day::{Courses, DayRecord, MachineDay};
    use crate::good::tests::finding;

    /// What is weighed on a day of Alder after five batches like `record(_, 45, -1)`, changed by `change`.
    fn weighed(today: Vec<DayRecord>, change: impl Fn(DayRecord) -> DayRecord) -> Vec<Case> {
        let past = (1..=5).map(|day| change(record(day, 45.0, -1.0))).collect();
        let days = [MachineDay::new("alder".parse().unwrap(), today, past, 10)];
        weigh(&Seen::all(&days))
    }

    fn points(cases: &[Case], cause: Cause) -> Option<f64> {
        cases.iter().find(|case| case.cause == cause).map(|case| case.points)
    }

    /// Its jacket goes up and down by `by` about its mean, once in four minutes.
    fn stirred(mut record: DayRecord, by: f64) -> DayRecord {
        let (from, to) = record.span(Phase::Working).unwrap();
        let level = |channel| record.courses.values(channel, from, to)[0];
        let (chocolate, jacket) = (level(Channel::Chocolate), level(Channel::Jacket));
        let at = |step: i64| from + Span::from_mins(2 * step);
        let side = |step: i64| if step % 2 == 0 { by } else { -by };
        let held: Vec<_> = (0..30).map(|step| (at(step), Some(chocolate))).collect();
        let moved: Vec<_> = (0..30).map(|step| (at(step), Some(jacket + side(step)))).collect();
        record.courses = Courses::default().with(Channel::Chocolate, &held).with(Channel::Jacket, &moved);
        record
    }

    #[test]
    fn a_jacket_that_stands_still_where_it_was_always_stirred_is_the_control() {
        let today = |by: f64| vec![stirred(record(8, 45.0, -1.0), by)];
        let of = |by: f64| points(&weighed(today(by), |past| stirred(past, 1.0)), Cause::Control);
        assert_eq!(of(1.0), None);
        assert_eq!(of(0.5), None, "half of its swing is still a swing");
        assert_eq!(of(0.1), Some(4.0));
    }

    #[test]
    fn a_swing_as_ever_takes_the_weight_from_a_finding_of_hunting() {
        let swings = |mut record: DayRecord, by: f64| {
            let (from, to) = record.span(Phase::Working).unwrap();
            let at = |step: i64| from + Span::from_mins(2 * step);
            let side = |step: i64| 31.5 + if step % 2 == 0 { by } else { -by };
            let moved: Vec<_> =
                (0..((to - from).as_millis() / 120_000)).map(|s| (at(s), Some(side(s)))).collect();
            record.courses = Courses::default().with(Channel::Chocolate, &moved);
            record
        };
        let hunted = |by: f64| {
            let mut today = swings(record(8, 45.0, -1.0), by);
            today.findings.push(finding(&today.batch, FindingKind::Hunting));
            points(&weighed(vec![today], |past| swings(past, 0.4)), Cause::Control).unwrap()
        };
        assert!(hunted(0.4) < crate::day::UNUSUAL, "it swings as it always did: {}", hunted(0.4));
        assert!(crate::day::UNUSUAL <= hunted(1.2), "{}", hunted(1.2));
    }

    #[test]
    fn what_follows_trouble_on_the_same_machine_counts_half() {
        let late = || {
            let mut late = record(9, 45.0, -1.0);
            late.batch.measures.cooling_minutes = Some(150.0);
            late
        };
        let mut first = record(8, 45.0, -1.0);
        first.findings.push(finding(&first.batch, FindingKind::HeaterStuck));
        let alone = points(&weighed(vec![late()], |past| past), Cause::People).unwrap();
        let behind = weighed(vec![first, late()], |past| past);
        assert_eq!(points(&behind, Cause::People), Some(alone / 2.0));
        let people = behind.iter().find(|case| case.cause == Cause::People).unwrap();
        assert_eq!(people.opposes[0].sign, Sign::Followed);
    }
}
