//! What concerns the plant as a whole: the same trouble on several machines at once.

use model::{FindingKind, Phase, Span, Timestamp};

use super::{Condition, Weight};
use crate::truth::{MachineTruth, Truth};

const WITHIN: Span = Span::from_mins(30);
const MACHINES: usize = 3;

/// `common-cause`: within 30 min the same kind on at least three machines, or on more than half of four or more that are
/// not idle. `conditions` are those of each machine, in the order of `truth`.
pub fn plant_conditions(truth: &Truth, conditions: &[&[Condition]]) -> Vec<Condition> {
    let mut found: Vec<Condition> = Vec::new();
    for kind in FindingKind::ALL {
        let mut members: Vec<(usize, &Condition)> = conditions
            .iter()
            .enumerate()
            .flat_map(|(machine, all)| all.iter().filter(|c| c.kind == *kind).map(move |c| (machine, c)))
            .collect();
        members.sort_by_key(|(_, c)| counted_from(c));
        found.extend(of_kind(truth, &members));
    }
    found.sort_by_key(|c| c.from);
    found
}

/// `slow-cooling` is counted from the start of cooling, everything else from when it was met.
fn counted_from(condition: &Condition) -> Timestamp {
    if condition.kind == FindingKind::SlowCooling { condition.from } else { condition.due }
}

fn of_kind(truth: &Truth, members: &[(usize, &Condition)]) -> Vec<Condition> {
    let mut found: Vec<Condition> = Vec::new();
    for (place, (_, first)) in members.iter().enumerate() {
        let start = counted_from(first);
        let near: Vec<&(usize, &Condition)> =
            members[place..].iter().take_while(|(_, c)| counted_from(c) - start <= WITHIN).collect();
        let machines = |sure_only: bool| {
            let mut all: Vec<usize> = near
                .iter()
                .filter(|(_, c)| !sure_only || c.weight == Weight::Sure)
                .map(|(machine, _)| *machine)
                .collect();
            all.sort_unstable();
            all.dedup();
            all.len()
        };
        let busy = truth.machines.iter().filter(|m| busy_at(m, start)).count();
        let enough = |n: usize| n >= MACHINES || (busy >= 4 && 2 * n > busy);
        if !enough(machines(false)) {
            continue;
        }
        let weight = if enough(machines(true)) { Weight::Sure } else { Weight::Borderline };
        let due = near.iter().map(|(_, c)| c.due).max().unwrap_or(start);
        let to = near.iter().map(|(_, c)| c.to).max().unwrap_or(start);
        let one = Condition {
            kind: FindingKind::CommonCause,
            from: start,
            to,
            due,
            latest: due,
            worst: machines(false) as f64,
            weight,
        };
        match found.last_mut() {
            Some(open) if one.from <= open.to => {
                if open.weight == Weight::Borderline && weight == Weight::Sure {
                    open.weight = Weight::Sure;
                    (open.due, open.latest) = (one.due, one.latest);
                }
                open.to = open.to.max(to);
            }
            _ => found.push(one),
        }
    }
    found
}

fn busy_at(machine: &MachineTruth, at: Timestamp) -> bool {
    let spans = machine.batches.iter().flat_map(|b| &b.phases);
    spans.into_iter().any(|p| p.phase != Phase::Idle && p.from <= at && p.to.is_none_or(|to| at < to))
}
