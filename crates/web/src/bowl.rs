//! A bowl on the bench as it stands: what was filled in, what was measured since, what was done.
//!
//! Readings come from the store, which sees what has just been put on disk. Events come from the records, which are written every few
//! seconds; what was entered here meanwhile is remembered until they have it, so that the page after an entry knows of it.

use std::sync::{Mutex, PoisonError};

use handwork::{Bowl, Judged};
use model::{Channel, CouvertureId, Event, EventKind, MachineId, Method, Span, Timestamp};
use plant::{Couverture, Family, Limits, Machine};
use records::EventQuery;

use crate::app::App;
use crate::problem::Problem;

/// A bowl is used up within hours; what was filled in before, and never ended, is forgotten.
const FORGOTTEN: Span = Span::from_hours(24);
/// A bowl has a few dozen entries; the newest count.
const MOST_EVENTS: usize = 200;
/// Entries of a minute or two of the whole site.
const REMEMBERED: usize = 64;

/// Entries that the records may not have yet.
#[derive(Default)]
pub(crate) struct JustEntered(Mutex<Vec<Event>>);

impl JustEntered {
    pub(crate) fn note(&self, event: Event) {
        let mut events = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if events.len() == REMEMBERED {
            events.remove(0);
        }
        events.push(event);
    }

    fn of(&self, machine: &MachineId) -> Vec<Event> {
        let events = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        events.iter().filter(|event| event.machine == *machine).cloned().collect()
    }
}

/// What is in the bowl.
#[derive(Debug, Clone)]
pub(crate) struct Filled {
    pub at: Timestamp,
    pub couverture: CouvertureId,
    pub method: Method,
    pub mass_kg: Option<f64>,
    pub lot: Option<String>,
}

/// A bowl as it stands.
#[derive(Debug, Clone)]
pub(crate) struct BowlNow {
    pub machine: Machine,
    /// What is in it; `None` while it is empty.
    pub filled: Option<Filled>,
    pub family: Family,
    pub limits: Limits,
    /// Since it was filled, the oldest first.
    pub readings: Vec<(Timestamp, f64)>,
    /// Since it was filled, the oldest first.
    pub events: Vec<Event>,
    /// The end of the last bowl, while there is no other.
    pub ended_at: Option<Timestamp>,
}

impl BowlNow {
    /// Reads how the bowl stands.
    pub(crate) async fn of(app: &App, machine: &Machine) -> Result<BowlNow, Problem> {
        let now = app.now();
        let query = EventQuery {
            machine: Some(machine.id.clone()),
            from: Some(now - FORGOTTEN),
            limit: MOST_EVENTS,
            ..EventQuery::default()
        };
        let mut events = app.events(query).await?;
        for event in app.just_entered.of(&machine.id) {
            if !events.contains(&event) {
                events.push(event);
            }
        }
        events.retain(|event| event.at <= now);
        events.sort_by_key(|event| event.at);
        let begun =
            events.iter().rposition(|event| matches!(event.kind, EventKind::Charge { .. } | EventKind::End));
        let filled = begun.and_then(|place| filled(machine, &events[place]));
        let ended_at = match (&filled, begun) {
            (None, Some(place)) => Some(events[place].at),
            (Some(_), _) | (None, None) => None,
        };
        let events =
            begun.filter(|_| filled.is_some()).map_or_else(Vec::new, |place| events.split_off(place));
        let couverture = filled.as_ref().map_or(&machine.couverture, |filled| &filled.couverture);
        let limits = app.state.plant.limits(machine, couverture);
        let known = app
            .state
            .plant
            .couverture(couverture)
            .or_else(|| app.state.plant.couverture(&machine.couverture));
        let readings = match &filled {
            Some(filled) => {
                let to = now + Span::from_millis(1);
                let series = app.series(&machine.id, Channel::Chocolate, filled.at, to).await?;
                series.into_iter().filter_map(|(at, value)| Some((at, value?))).collect()
            }
            None => Vec::new(),
        };
        Ok(BowlNow {
            machine: machine.clone(),
            family: known.map_or(Family::Dark, |known: &Couverture| known.family),
            filled,
            limits,
            readings,
            events,
            ended_at,
        })
    }

    /// As the next step is asked for.
    pub(crate) fn bowl(&self, now: Timestamp) -> Bowl<'_> {
        let newest = |is: fn(&EventKind) -> bool| self.events.iter().rev().find(|event| is(&event.kind));
        let seed = newest(|kind| matches!(kind, EventKind::Seed { .. }));
        let top_up = newest(|kind| matches!(kind, EventKind::TopUp { .. })).map(|event| event.at);
        let judged = newest(|kind| matches!(kind, EventKind::TemperTest(_))).and_then(|event| {
            let EventKind::TemperTest(test) = &event.kind else { return None };
            Some(Judged { at: event.at, worst: test.worst() })
        });
        Bowl {
            family: self.family,
            limits: &self.limits,
            method: self.filled.as_ref().map_or(self.machine.method, |filled| filled.method),
            readings: &self.readings,
            seeded_at: seed.map(|event| event.at),
            // After a top-up it is another charge.
            judged: judged.filter(|judged| top_up.is_none_or(|at| at <= judged.at)),
            now,
        }
    }
}

/// What a charge put into the bowl; what it does not say is as the plant file says.
fn filled(machine: &Machine, event: &Event) -> Option<Filled> {
    let EventKind::Charge { couverture, lot, mass_kg, method } = &event.kind else { return None };
    Some(Filled {
        at: event.at,
        couverture: couverture.clone().unwrap_or_else(|| machine.couverture.clone()),
        method: method.unwrap_or(machine.method),
        mass_kg: *mass_kg,
        lot: lot.clone(),
    })
}
