//! What went into machines and what came of it: events read as additions and cleans, for lots and for milk.

use history::lots::{Addition, Way};
use history::milk::{Clean, Milk};
use model::{CouvertureId, Event, EventKind, Timestamp};
use plant::{Family, Plant};

/// Kinds of event that tell what a machine holds.
pub(crate) const KINDS: [&str; 5] = ["charge", "seed", "top-up", "note", "end"];

/// What was put in.
pub(crate) fn additions(events: &[Event]) -> Vec<Addition> {
    let with_end = |event: &Event| Some(Addition { ended_at: ended_at(event, events), ..addition(event)? });
    events.iter().filter_map(with_end).collect()
}

/// The last `end` told of what was in the machine with that event, before it was charged again.
fn ended_at(of: &Event, events: &[Event]) -> Option<Timestamp> {
    let later = || events.iter().filter(|event| event.machine == of.machine && of.at < event.at);
    let is_charge = |event: &&Event| matches!(event.kind, EventKind::Charge { .. });
    let charged = later().filter(is_charge).map(|event| event.at).min();
    let ends = later().filter(|event| event.kind == EventKind::End).map(|event| event.at);
    ends.filter(|end| charged.is_none_or(|charged| *end < charged)).max()
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
