//! What concerns the plant as a whole: the same trouble on several machines at once.

use model::{FindingKind, Span, Timestamp};

use super::{Condition, Excuse, Weight};

const WITHIN: Span = Span::from_mins(30);
const MACHINES: usize = 3;

/// `common-cause`: within 30 min the same kind on at least three machines. More than half of four or more, the contract's other case, is
/// three at the least. `conditions` are those of each machine.
pub fn plant_conditions(conditions: &[&[Condition]]) -> Vec<Condition> {
    let mut found: Vec<Condition> = Vec::new();
    for kind in FindingKind::ALL {
        let mut members: Vec<(usize, &Condition)> = conditions
            .iter()
            .enumerate()
            .flat_map(|(machine, all)| all.iter().filter(|c| c.kind == *kind).map(move |c| (machine, c)))
            .collect();
        members.sort_by_key(|(_, c)| counted_from(c));
        found.extend(of_kind(&members));
    }
    found.sort_by_key(|c| c.from);
    found
}

/// `slow-cooling` is counted from the start of cooling, everything else from when it was met.
fn counted_from(condition: &Condition) -> Timestamp {
    if condition.kind == FindingKind::SlowCooling { condition.from } else { condition.due }
}

fn of_kind(members: &[(usize, &Condition)]) -> Vec<Condition> {
    let mut found: Vec<Condition> = Vec::new();
    for (place, (_, first)) in members.iter().enumerate() {
        let start = counted_from(first);
        let near: Vec<&(usize, &Condition)> =
            members[place..].iter().take_while(|(_, c)| counted_from(c) - start <= WITHIN).collect();
        let machines = |sure_only: bool| {
            let mut all: Vec<usize> =
                near.iter().filter(|(_, c)| !sure_only || c.is_sure()).map(|(machine, _)| *machine).collect();
            all.sort_unstable();
            all.dedup();
            all.len()
        };
        if machines(false) < MACHINES {
            continue;
        }
        let why = (machines(true) < MACHINES).then_some(Excuse::Members);
        let due = near.iter().map(|(_, c)| c.due).max().unwrap_or(start);
        let to = near.iter().map(|(_, c)| c.to).max().unwrap_or(start);
        let worst = machines(false) as f64;
        let one = Condition::new(FindingKind::CommonCause, (start, to), due, worst).unless(why);
        match found.last_mut() {
            Some(open) if one.from <= open.to => {
                if !open.is_sure() && one.is_sure() {
                    open.weight = Weight::Sure;
                    (open.due, open.latest) = (one.due, one.latest);
                }
                open.to = open.to.max(to);
            }
            Some(_) | None => found.push(one),
        }
    }
    found
}
