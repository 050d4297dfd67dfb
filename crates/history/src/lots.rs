//! What is in a machine, by lots: worked out from what people told of charges, seed and top-ups.
//!
//! *What is assumed*, and said wherever a share is shown: what is added is mixed in at once and evenly; a charge goes into an empty machine;
//! nothing is known of what was drawn off. Drawing off an even mix changes no share then and there, but whatever is added later is a larger
//! part of what is left. So the share of a later addition is **at least** what is worked out here, and that of an earlier one at most.
//!
//! A charge that never became a batch, because somebody told its `end` before it was melted, goes into none.
//!
//! A batch of which nobody told a charge is taken to hold what was left of the batch before: for tracing, one lot too many is the safer
//! mistake. Where a mass is missing no share is worked out, and the lot stands there all the same.

use model::{Batch, BatchId, CouvertureId, MachineId, Phase, Timestamp};

/// How something came into the machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Way {
    /// Filled in before the melt.
    Charge,
    /// Stirred in to bring it into temper.
    Seed,
    /// Added while it was worked.
    TopUp,
}

impl Way {
    /// The contract's word.
    pub fn as_str(self) -> &'static str {
        match self {
            Way::Charge => "charge",
            Way::Seed => "seed",
            Way::TopUp => "top-up",
        }
    }
}

/// Something that was put into a machine.
#[derive(Debug, Clone, PartialEq)]
pub struct Addition {
    /// Into which.
    pub machine: MachineId,
    /// When.
    pub at: Timestamp,
    /// How.
    pub way: Way,
    /// Of which lot, if told.
    pub lot: Option<String>,
    /// How much, if told.
    pub mass_kg: Option<f64>,
    /// Of which couverture, if told.
    pub couverture: Option<CouvertureId>,
    /// Was it the site's own product, melted again?
    pub is_rework: bool,
    /// The last `end` that was told before the machine was charged again.
    pub ended_at: Option<Timestamp>,
}

/// One lot in a machine.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// Which; `None` where nobody told.
    pub lot: Option<String>,
    /// Was it the site's own product, melted again?
    pub is_rework: bool,
    /// In which ways it came, in their order.
    pub ways: Vec<Way>,
    /// How much was added of it; `None` if one of its masses is not known.
    pub mass_kg: Option<f64>,
    /// Its part of everything, from 0 to 1; `None` if a mass is not known.
    pub share: Option<f64>,
}

/// What a machine held from one addition to the next.
#[derive(Debug, Clone, PartialEq)]
pub struct Content {
    /// From when.
    pub from: Timestamp,
    /// Until when; `None` while it goes on.
    pub to: Option<Timestamp>,
    /// Lots, in the order in which they came.
    pub parts: Vec<Part>,
}

/// What a batch was made of.
#[derive(Debug, Clone, PartialEq)]
pub struct BatchContent {
    /// Which batch.
    pub batch: BatchId,
    /// In which machine.
    pub machine: MachineId,
    /// From addition to addition, the oldest first; empty where nothing was told.
    pub contents: Vec<Content>,
    /// Nobody told a charge: what was left of the batch before is taken to be in it.
    pub is_carried: bool,
    /// The batch before it in the machine, of which something may have been left.
    pub before: Option<BatchId>,
}

/// Where a lot went.
#[derive(Debug, Clone, PartialEq)]
pub struct Use {
    /// Into which batch.
    pub batch: BatchId,
    /// In which machine.
    pub machine: MachineId,
    /// Product of that time may hold it.
    pub from: Timestamp,
    /// `None` while it goes on.
    pub to: Option<Timestamp>,
    /// Its largest share in that time.
    pub share: Option<f64>,
    /// How much of it was added.
    pub mass_kg: Option<f64>,
    /// In which ways it came.
    pub ways: Vec<Way>,
    /// Was it the site's own product, melted again?
    pub is_rework: bool,
    /// It is there only as what was left of the batch before.
    pub is_carried: bool,
}

/// What each of these batches of one machine was made of. Batches and additions may come in any order; additions of other machines count
/// for nothing.
pub fn contents(batches: &[Batch], additions: &[Addition]) -> Vec<BatchContent> {
    let mut batches: Vec<&Batch> = batches.iter().collect();
    batches.sort_by_key(|batch| batch.start);
    let mut additions: Vec<&Addition> = additions.iter().collect();
    additions.sort_by_key(|addition| addition.at);
    let mut left: Vec<Part> = Vec::new();
    let mut told: Vec<BatchContent> = Vec::new();
    for (place, batch) in batches.iter().enumerate() {
        let into: Vec<&Addition> = additions
            .iter()
            .copied()
            .filter(|addition| {
                addition.machine == batch.machine && goes_into(addition, &batches) == Some(place)
            })
            .collect();
        let is_charged = into.iter().any(|addition| addition.way == Way::Charge);
        let parts = if is_charged { Vec::new() } else { std::mem::take(&mut left) };
        let is_carried = !is_charged && !parts.is_empty();
        let contents = of_batch(batch, parts, &into);
        left = contents.last().map(|last| last.parts.clone()).unwrap_or_default();
        told.push(BatchContent {
            batch: batch.id.clone(),
            machine: batch.machine.clone(),
            contents,
            is_carried,
            before: told.last().map(|before: &BatchContent| before.batch.clone()),
        });
    }
    told
}

/// The batch that an addition goes into; `None` while that one has not begun.
pub fn batch_of(addition: &Addition, batches: &[Batch]) -> Option<BatchId> {
    let mut batches: Vec<&Batch> = batches.iter().filter(|batch| batch.machine == addition.machine).collect();
    batches.sort_by_key(|batch| batch.start);
    goes_into(addition, &batches).map(|place| batches[place].id.clone())
}

/// The place of the batch that an addition goes into; `None` while that batch has not begun. A charge that comes while one is worked is the
/// next one's.
fn goes_into(addition: &Addition, batches: &[&Batch]) -> Option<usize> {
    let next = batches.partition_point(|batch| batch.start <= addition.at);
    let before = next.checked_sub(1).map(|current| batches[current]);
    // The `end` of the batch before takes nothing out that was filled in for the next one.
    let is_of_before =
        |ended: Timestamp| before.and_then(|before| before.end).is_some_and(|end| ended <= end);
    let taken_out = addition.ended_at.filter(|ended| !is_of_before(*ended));
    let upcoming = (next < batches.len()).then_some(next);
    let upcoming = upcoming.filter(|place| taken_out.is_none_or(|ended| batches[*place].start <= ended));
    let (Some(batch), Some(current)) = (before, next.checked_sub(1)) else { return upcoming };
    if batch.end.is_some_and(|end| end <= addition.at) {
        return upcoming;
    }
    match addition.way {
        Way::Seed | Way::TopUp => Some(current),
        Way::Charge => match phase_at(batch, addition.at) {
            Some(Phase::Settling | Phase::Working | Phase::Rewarming | Phase::Idle) => upcoming,
            Some(Phase::Melting | Phase::Soak | Phase::Cooling) | None => Some(current),
        },
    }
}

fn phase_at(batch: &Batch, at: Timestamp) -> Option<Phase> {
    batch.phases.iter().rev().find(|span| span.from <= at).map(|span| span.phase)
}

/// A batch that began with `parts`, from addition to addition.
fn of_batch(batch: &Batch, mut parts: Vec<Part>, into: &[&Addition]) -> Vec<Content> {
    let mut contents: Vec<Content> = Vec::new();
    if !parts.is_empty() {
        contents.push(Content { from: batch.start, to: batch.end, parts: parts.clone() });
    }
    for addition in into {
        add(&mut parts, addition);
        let from = addition.at.max(batch.start);
        match contents.last_mut() {
            Some(last) if last.from == from => last.parts = parts.clone(),
            Some(last) => {
                last.to = Some(from);
                contents.push(Content { from, to: batch.end, parts: parts.clone() });
            }
            None => contents.push(Content { from, to: batch.end, parts: parts.clone() }),
        }
    }
    contents
}

fn add(parts: &mut Vec<Part>, addition: &Addition) {
    let Addition { lot, mass_kg, is_rework, way, .. } = addition;
    match parts.iter_mut().find(|part| part.lot == *lot && part.is_rework == *is_rework) {
        Some(part) => {
            part.mass_kg = part.mass_kg.zip(*mass_kg).map(|(before, more)| before + more);
            if !part.ways.contains(way) {
                part.ways.push(*way);
            }
        }
        None => parts.push(Part {
            lot: lot.clone(),
            is_rework: *is_rework,
            ways: vec![*way],
            mass_kg: *mass_kg,
            share: None,
        }),
    }
    let whole: Option<f64> = parts.iter().map(|part| part.mass_kg).sum();
    let alone = parts.len() == 1;
    for part in parts {
        part.share = match (whole, part.mass_kg) {
            (Some(whole), Some(mass)) if 0.0 < whole => Some(mass / whole),
            (Some(_) | None, Some(_) | None) => alone.then_some(1.0),
        };
    }
}

/// Where the lot went, the latest first: one use a batch, from its first moment there to the end of that batch.
pub fn uses_of(lot: &str, contents: &[BatchContent]) -> Vec<Use> {
    let mut uses: Vec<Use> = contents.iter().filter_map(|content| use_in(lot, content)).collect();
    uses.sort_by_key(|used| std::cmp::Reverse(used.from));
    uses
}

fn use_in(lot: &str, content: &BatchContent) -> Option<Use> {
    let parts = content.contents.iter().flat_map(|span| span.parts.iter().map(move |part| (span, part)));
    let of_it: Vec<(&Content, &Part)> = parts.filter(|(_, part)| part.lot.as_deref() == Some(lot)).collect();
    let ((first, _), (last, part)) = (of_it.first()?, of_it.last()?);
    let shares: Option<Vec<f64>> = of_it.iter().map(|(_, part)| part.share).collect();
    Some(Use {
        batch: content.batch.clone(),
        machine: content.machine.clone(),
        from: first.from,
        to: last.to,
        share: shares.and_then(|shares| shares.into_iter().max_by(f64::total_cmp)),
        mass_kg: part.mass_kg,
        ways: part.ways.clone(),
        is_rework: part.is_rework,
        is_carried: content.is_carried,
    })
}

/// Every lot that was told, with the time of its newest addition, the newest first.
pub fn lots(additions: &[Addition]) -> Vec<(String, Timestamp)> {
    let mut newest: std::collections::BTreeMap<&str, Timestamp> = std::collections::BTreeMap::new();
    for addition in additions {
        if let Some(lot) = &addition.lot {
            let at = newest.entry(lot).or_insert(addition.at);
            *at = addition.at.max(*at);
        }
    }
    let mut lots: Vec<(String, Timestamp)> =
        newest.into_iter().map(|(lot, at)| (lot.to_owned(), at)).collect();
    lots.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    lots
}

#[cfg(test)]
mod tests;
