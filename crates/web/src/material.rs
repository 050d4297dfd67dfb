//! What went into machines and what came of it: events read as additions and cleans, for lots and for milk.

use std::collections::HashMap;

use history::lots::{Addition, Way};
use history::milk::{Clean, Milk};
use model::{CouvertureId, Event, EventKind, MachineId, Timestamp};
use plant::{Family, Plant};

/// Kinds of event that tell what a machine holds.
pub(crate) const KINDS: [&str; 5] = ["charge", "seed", "top-up", "note", "end"];

/// What was put in, with the last `end` told of its machine before that was charged again.
pub(crate) fn additions(events: &[Event]) -> Vec<Addition> {
    let mut order: Vec<usize> = (0..events.len()).collect();
    order.sort_by_key(|place| std::cmp::Reverse(events[*place].at));
    let mut ended: HashMap<&MachineId, Timestamp> = HashMap::new();
    let mut added = Vec::new();
    for place in order {
        let event = &events[place];
        if event.kind == EventKind::End {
            ended.entry(&event.machine).or_insert(event.at);
        }
        if let Some(addition) = addition(event) {
            added.push((place, Addition { ended_at: ended.get(&event.machine).copied(), ..addition }));
        }
        if matches!(event.kind, EventKind::Charge { .. }) {
            ended.remove(&event.machine);
        }
    }
    added.sort_by_key(|(place, _)| *place);
    added.into_iter().map(|(_, addition)| addition).collect()
}

/// Is it something that was put in?
pub(crate) fn is_addition(event: &Event) -> bool {
    addition(event).is_some()
}

fn addition(event: &Event) -> Option<Addition> {
    let (way, lot, mass_kg, couverture) = match &event.kind {
        EventKind::Charge { couverture, lot, mass_kg, .. } => (Way::Charge, lot, mass_kg, couverture.clone()),
        EventKind::Seed { mass_kg, lot, .. } => (Way::Seed, lot, mass_kg, None),
        EventKind::TopUp { mass_kg, lot, .. } => (Way::TopUp, lot, mass_kg, None),
        EventKind::TemperTest(_) | EventKind::Reference { .. } | EventKind::Note { .. } | EventKind::End => {
            return None;
        }
    };
    let further = wire::further(event);
    Some(Addition {
        machine: event.machine.clone(),
        at: event.at,
        way,
        lot: lot.clone(),
        mass_kg: *mass_kg,
        couverture: couverture.or(further.couverture),
        is_rework: further.is_rework,
        ended_at: None,
    })
}

/// Cleans that somebody has signed.
pub(crate) fn cleans(events: &[Event]) -> Vec<Clean> {
    let clean = |event: &Event| {
        let is_note = matches!(&event.kind, EventKind::Note { .. });
        let by = event.by.clone().filter(|by| !by.trim().is_empty())?;
        (is_note && wire::further(event).is_clean).then(|| Clean {
            machine: event.machine.clone(),
            at: event.at,
            by,
        })
    };
    events.iter().filter_map(clean).collect()
}

/// Does that couverture bring milk along? One that the plant file does not know may.
pub(crate) fn milk_of(plant: &Plant, couverture: &CouvertureId) -> Milk {
    match plant.couverture(couverture).map(|known| known.family) {
        Some(Family::Dark) => Milk::Without,
        Some(Family::Milk | Family::White) | None => Milk::With,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The charge of minute 0 ended twice before the next one of minute 30, which has not ended, and nothing of it counts for another machine.
    #[test]
    fn an_end_is_of_what_was_filled_in_before_it() {
        let event = |machine: &str, minute: i64, kind: EventKind| Event {
            machine: machine.parse().unwrap(),
            at: Timestamp::from_millis(minute * 60_000),
            by: None,
            kind,
            raw: String::new(),
        };
        let charge = || EventKind::Charge { couverture: None, lot: None, mass_kg: None, method: None };
        let seed = EventKind::Seed { mass_kg: None, temperature: None, lot: None };
        let told = [
            event("alder", 0, charge()),
            event("birch", 5, charge()),
            event("alder", 10, EventKind::End),
            event("alder", 15, seed),
            event("alder", 20, EventKind::End),
            event("alder", 30, charge()),
        ];
        let ended: Vec<_> = additions(&told).iter().map(|addition| addition.ended_at).collect();
        let at = |minute: i64| Some(Timestamp::from_millis(minute * 60_000));
        assert_eq!(ended, [at(20), None, at(20), None]);
    }
}
